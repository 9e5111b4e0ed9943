"""One case at the office: its page, and the notes, outcomes and reopenings that are written at a desk."""

from typing import Any

from flask import Response, flash, redirect, render_template, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from webapp.access import actor, database, public, signed_in, workshop_to_read, workshop_to_write
from webapp.office.forms import (
    AnswerForm,
    AssignForm,
    CommentForm,
    NoteForm,
    OutcomeForm,
    ReopenForm,
    ReviewForm,
    offer,
)
from webapp.office.staff import offer_staff
from webapp.store import cases, photos, sheet

Page = str | tuple[str, int] | AnyResponse


@public
def injury() -> str:
    return render_template("office/injury.html")


FORMS = {
    "note_form": NoteForm,
    "reopen_form": ReopenForm,
    "outcome_form": OutcomeForm,
    "assign_form": AssignForm,
    "comment_form": CommentForm,
    "answer_form": AnswerForm,
    "review_form": ReviewForm,
}


def render_case(case_id: str, status: int = 200, **refused: FlaskForm) -> tuple[str, int]:
    """The page of a case; `refused` are forms that come back with their problems."""
    forms: dict[str, Any] = {name: refused.get(name) or make(formdata=None) for name, make in FORMS.items()}
    with workshop_to_read() as workshop:
        found = sheet.read_sheet(workshop, case_id)
        forms["assign_form"].person.choices = offer_staff(workshop, "Choose")
        forms["comment_form"].to.choices = offer_staff(workshop, "Everybody on this case")
    forms["outcome_form"].fault.choices = offer(sheet.names()["faults"], "Choose")
    return render_template("office/case.html", **found, **forms), status


@signed_in()
def show_case(case_id: str) -> Page:
    return render_case(case_id)


def write_entry(case_id: str, kind: str, body: dict, told: str) -> AnyResponse:
    with workshop_to_write() as workshop:
        cases.write_entry(workshop, case_id, actor().person_id, kind, body)
    flash(told)
    return redirect(url_for("office.show_case", case_id=case_id), 303)


@signed_in("technician", "office")
def add_note(case_id: str) -> Page:
    form = NoteForm()
    if not form.validate_on_submit():
        return render_case(case_id, 422, note_form=form)
    return write_entry(case_id, "note_added", {"text": form.text.data}, "The note is in the log.")


@signed_in("technician", "office")
def confirm_outcome(case_id: str) -> Page:
    form = OutcomeForm()
    form.fault.choices = offer(sheet.names()["faults"], "Choose")
    if not form.validate_on_submit():
        return render_case(case_id, 422, outcome_form=form)
    body = {"fault": form.fault.data, "text": form.text.data}
    return write_entry(case_id, "outcome_confirmed", body, "The outcome is in the log.")


@signed_in("technician", "office")
def reopen(case_id: str) -> Page:
    form = ReopenForm()
    if not form.validate_on_submit():
        return render_case(case_id, 422, reopen_form=form)
    return write_entry(case_id, "reopened", {"reason": form.reason.data}, "The case is open again.")


@signed_in()
def show_photo(sha256: str) -> Response:
    with workshop_to_read() as workshop:
        data, type_ = photos.read_photo(workshop, database().photos, sha256)
    return Response(data, content_type=type_, headers={"Cache-Control": "private, max-age=86400"})
