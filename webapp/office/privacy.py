"""What is held on a customer or a vehicle: shown, handed out, erased; and how long finished cases are kept."""

from flask import Response as File
from flask import flash, redirect, render_template, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import IntegerField, SelectMultipleField, StringField
from wtforms.validators import DataRequired, Length, NumberRange, Optional

from webapp.access import actor, database, signed_in, workshop_to_read, workshop_to_write
from webapp.store import archive, cases, erasure, projection, retention
from webapp.store.filters import Wanted
from webapp.store.refusals import Conflict, NotFound
from webapp.store.scope import Workshop

MOST_FOUND = 100
LONGEST_SEARCH = 200
Page = str | tuple[str, int] | Response


class EraseForm(FlaskForm):
    cases = SelectMultipleField("Cases", [DataRequired("Tick the cases to erase.")], validate_choice=False)
    reason = StringField(
        "Why, and who asked for it (without naming the customer)", [DataRequired("Write why."), Length(max=400)]
    )


class MonthsForm(FlaskForm):
    months = IntegerField(
        "Months after the last change (empty: cases are kept for good)",
        [Optional(), NumberRange(1, retention.MOST_MONTHS, f"Write 1 to {retention.MOST_MONTHS}, or leave it empty.")],
    )


def search_for(workshop: Workshop, text: str) -> list:
    """Duplicates too: they hold as much."""
    return cases.list_cases(workshop, text=text, wanted=Wanted(merged=True), limit=MOST_FOUND).cases if text.strip() else []


def read_search() -> str:
    return request.values.get("q", "")[:LONGEST_SEARCH]


def render_privacy(
    status: int = 200, erase_form: EraseForm | None = None, months_form: MonthsForm | None = None, **more
) -> Page:
    text = read_search()
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        kept = workshop.row().retention_months
        found, due = search_for(workshop, text), retention.list_due(workshop, kept)
    page = render_template(
        "office/privacy.html", text=text, found=found, due=due, kept=kept, most=MOST_FOUND,
        erase_form=erase_form or EraseForm(formdata=None), months_form=months_form or MonthsForm(formdata=None, months=kept),
        **more,
    )  # fmt: skip
    return page, status


@signed_in("office")
def show_privacy() -> Page:
    """Query: `q` registration, VIN or name to look for."""
    return render_privacy()


@signed_in("office")
def export_privacy() -> Response:
    """Query: `q`. A zip of the archives of all cases found."""
    with workshop_to_read() as workshop:
        found = search_for(workshop, read_search())
        if not found:
            raise NotFound("No case holds these words. Go back and look for a registration, a VIN or a name.")
        shelf = database().photos
        files = {f"{row.id}.zip": archive.write_archive(workshop, shelf, row.id, {}) for row in found}
    headers = {"Content-Disposition": 'attachment; filename="personal-data.zip"', "Cache-Control": "private, no-store"}
    return File(archive.pack_zip(files), content_type="application/zip", headers=headers)


@signed_in("office", proved=True)
def erase() -> Page:
    form = EraseForm()
    if not form.validate_on_submit():
        return render_privacy(422, erase_form=form)
    done = 0
    for case_id in dict.fromkeys(form.cases.data):
        try:
            with workshop_to_write() as workshop:
                erasure.erase_case(workshop, case_id, actor().person_id, form.reason.data)
            done += 1
        except Conflict:
            flash(f"Nothing personal was left in case {case_id}.")
    erasure.drop_photos(database(), actor().workshop_id)
    flash(f"{done} {'case' if done == 1 else 'cases'} erased. Phones drop them when they next have a signal.")
    return redirect(url_for("office.show_privacy"), 303)


@signed_in("office", proved=True)
def set_retention() -> Page:
    """Without `go` only shows what the setting would erase."""
    form = MonthsForm()
    if not form.validate_on_submit():
        return render_privacy(422, months_form=form)
    months = form.months.data
    if "go" not in request.form:
        with workshop_to_read() as workshop:
            would = retention.list_due(workshop, months)
        return render_privacy(months_form=form, asked=True, would=would)
    with workshop_to_write() as workshop:
        retention.set_months(workshop, months)
    flash(f"Finished cases are kept for {months} months." if months else "Finished cases are kept for good.")
    return redirect(url_for("office.show_privacy"), 303)


@signed_in("office", proved=True)
def erase_due() -> Page:
    done = retention.apply(database(), actor().workshop_id, actor().person_id)
    flash(f"{done} {'case' if done == 1 else 'cases'} erased.")
    return redirect(url_for("office.show_privacy"), 303)
