"""Cases at the office: the list, one case, and the few entries that are written at a desk."""

from flask import Response, abort, flash, redirect, render_template, request, url_for
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse

from webapp.access import actor, database, public, signed_in, workshop_to_read, workshop_to_write
from webapp.office.forms import NoteForm, OutcomeForm, ReopenForm, offer
from webapp.store import cases, photos, projection, sheet

LONGEST_SEARCH = 200
Page = str | tuple[str, int] | AnyResponse


@public
def injury() -> str:
    return render_template("office/injury.html")


@signed_in()
def list_cases() -> str:
    """Query: `q` words to find, `state`, `after` the mark of the page before."""
    text = request.args.get("q", "")[:LONGEST_SEARCH]
    state = request.args.get("state") or None
    if state not in (None, *cases.STATES):
        abort(404)
    projection.catch_up_quietly(database(), actor().workshop_id)
    with workshop_to_read() as workshop:
        page = cases.list_cases(workshop, text=text, state=state, after=request.args.get("after", "")[:100])
    return render_template("office/cases.html", page=page, text=text, state=state, faults=sheet.names()["faults"])


def render_case(case_id: str, status: int = 200, **forms: FlaskForm) -> tuple[str, int]:
    with workshop_to_read() as workshop:
        found = sheet.read_sheet(workshop, case_id)
    outcome = forms.get("outcome_form") or OutcomeForm()
    outcome.fault.choices = offer(sheet.names()["faults"], "Choose")
    page = render_template(
        "office/case.html",
        **found,
        outcome_form=outcome,
        note_form=forms.get("note_form") or NoteForm(),
        reopen_form=forms.get("reopen_form") or ReopenForm(),
    )
    return page, status


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
