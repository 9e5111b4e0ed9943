"""The page of insights: what finished jobs teach. It only shows; limits and weights change by a person's hand elsewhere."""

from flask import render_template, request
from flask_wtf import FlaskForm
from wtforms import IntegerField
from wtforms.validators import InputRequired, StopValidation

from webapp.access import actor, database, signed_in, workshop_to_read
from webapp.office import insights_charts
from webapp.store import insights, limits, projection, sheet
from webapp.store.insights_learning import STRENGTH
from webapp.store.insights_limits import Proposal
from webapp.store.insights_tolerance import FEWEST_NORMAL, NORMAL
from webapp.store.judging import book

LEAST, MOST = 1, 1000


def check_range(_form: FlaskForm, field: IntegerField) -> None:
    """Not NumberRange: that stumbles over numbers of hundreds of digits."""
    if field.data is None or not LEAST <= field.data <= MOST:
        field.errors = []
        raise StopValidation(f"Write a whole number from {LEAST} to {MOST}.")


class StrengthForm(FlaskForm):
    """Asks for another look and changes nothing, so it needs no token."""

    class Meta:
        csrf = False

    strength = IntegerField(
        "How many confirmed repairs the weights that come with the program count for",
        [InputRequired(f"Write a whole number from {LEAST} to {MOST}."), check_range],
        default=STRENGTH,
    )


def write_limits(quantity: str, low: float | None, high: float | None) -> str:
    """`at least 285 bar`, `2.50 to 6.00 bar`; empty without any."""
    row = book().quantities[quantity]
    ends = [f"{value:.{row['decimals']}f}" if value is not None else None for value in (low, high)]
    if ends == [None, None]:
        return ""
    words = f"{ends[0]} to {ends[1]}" if None not in ends else f"at least {ends[0]}" if ends[0] else f"at most {ends[1]}"
    return f"{words} {row['unit']}"


def write_p(p: float) -> str:
    return "p below 0.001" if p < 0.001 else f"p = {p:.3f}"


def explain(row: Proposal) -> str:
    """How the proposal came about, or what it waits for."""
    bounds = row.bounds
    if bounds.shapiro_p is None:
        shape = "All read alike, or too few to tell how they are spread." if bounds.size > 1 else ""
    else:
        verdict = "Could be normal" if bounds.method == NORMAL or bounds.needed == FEWEST_NORMAL else "Not normal"
        shape = f"{verdict} (Shapiro-Wilk test, {write_p(bounds.shapiro_p)})."
    if bounds.method is None:
        return f"Nothing is proposed before {bounds.needed} vehicles. {shape}".strip()
    how = "by mean and standard deviation" if bounds.method == NORMAL else "by the order of the readings"
    return f"{shape} Limits {how}."


@signed_in("technician", "office")
def show_insights() -> tuple[str, int]:
    """Query: `strength`, see the form."""
    form = StrengthForm(request.args) if "strength" in request.args else StrengthForm(formdata=None)
    is_fine = "strength" not in request.args or form.validate()
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        own_profiles = {row.profile: row.name for row in limits.list_newest(workshop)}
        found = insights.read_insights(workshop, form.strength.data if is_fine else STRENGTH)
    page = render_template(
        "office/insights.html",
        found=found,
        form=form,
        names=sheet.names(),
        own_profiles=own_profiles,
        charts=insights_charts,
        write_limits=write_limits,
        explain=explain,
        days=insights.BACK_WITHIN_DAYS,
    )
    return page, 200 if is_fine else 422
