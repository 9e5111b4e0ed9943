"""The page of insights: what finished jobs teach. It only shows, until a person of the office takes weights over here, or
hands a limit over to the pages of limits."""

from flask import flash, redirect, render_template, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import IntegerField, StringField
from wtforms.validators import DataRequired, InputRequired, Length, StopValidation

from webapp.access import actor, database, signed_in, workshop_to_read, workshop_to_write
from webapp.office import insights_charts
from webapp.store import insights, limits, people, projection, sheet, weights
from webapp.store.insights_jobs import read_jobs
from webapp.store.insights_learning import STRENGTH
from webapp.store.insights_limits import Proposal
from webapp.store.insights_tolerance import FEWEST_NORMAL, NORMAL
from webapp.store.judging import book
from webapp.store.refusals import Refusal

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


class WeightsForm(FlaskForm):
    """`repairs` and `newest` say what was looked at; when either is another by now, it is shown anew."""

    strength = IntegerField("Strength", [InputRequired("Look at the weights first."), check_range])
    repairs = IntegerField("Repairs", [InputRequired("Look at the weights first.")])
    newest = IntegerField("Newest version", [InputRequired("Look at the weights first.")])
    note = StringField("Why, for the history", [DataRequired("Write why."), Length(max=400)])


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
    return render_insights(form, form.strength.data if is_fine else STRENGTH, 200 if is_fine else 422)


def render_insights(form: StrengthForm, strength: int, status: int, taking: WeightsForm | None = None) -> tuple[str, int]:
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        own_profiles = {row.profile: row.name for row in limits.list_newest(workshop)}
        found = insights.read_insights(workshop, strength)
        versions = weights.list_versions(workshop)
        names_of_people = {person.id: person.name for person in people.list_people(workshop)}
    newest = versions[0].version if versions else 0
    taking = taking or WeightsForm(formdata=None)
    taking.strength.data, taking.repairs.data, taking.newest.data = strength, found.confirmed, newest
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
        versions=versions,
        in_use=read_shares(versions),
        people=names_of_people,
        taking=taking,
    )
    return page, status


def read_shares(versions: list) -> dict[str, float]:
    """The share of each fault by the newest version; empty while there is none."""
    kept = limits.pack_weights(0, versions[0].weights)["weights"] if versions else {}
    return {fault: weight / sum(kept.values()) for fault, weight in kept.items()}


@signed_in("office")
def accept_weights() -> Response | tuple[str, int]:
    taking = WeightsForm()
    strength = taking.strength.data if taking.strength.data and LEAST <= taking.strength.data <= MOST else STRENGTH
    form = StrengthForm(formdata=None, strength=strength)
    if not taking.validate_on_submit():
        return render_insights(form, strength, 422, taking)
    seen = taking.repairs.data, taking.newest.data
    try:
        with workshop_to_write() as workshop:
            row = weights.accept(workshop, read_jobs(workshop).rows, strength, seen, taking.note.data, actor().person_id)
    except Refusal as refusal:
        taking.note.errors = [refusal.problems[0]["text"]]
        return render_insights(form, strength, refusal.status, taking)
    flash(f"Version {row.version} of the weights is in use for new jobs. Cases that are open stay with what they name.")
    return redirect(url_for("office.show_insights", _anchor="weights-head"), 303)
