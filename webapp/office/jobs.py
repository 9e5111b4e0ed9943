"""Jobs that are opened at a desk, and what is asked, answered and countersigned there. Each ends as entries of the case."""

from flask import flash, redirect, render_template, url_for
from werkzeug.wrappers import Response

from webapp.access import actor, signed_in, workshop_to_read, workshop_to_write
from webapp.office.cases import Page, render_case
from webapp.office.forms import AnswerForm, AssignForm, CommentForm, JobForm, ReviewForm, offer
from webapp.office.staff import offer_staff
from webapp.store import jobs, reviews, sheet

VEHICLE = ("description", "registration", "vin")


def back_to_case(case_id: str, told: str) -> Response:
    flash(told)
    return redirect(url_for("office.show_case", case_id=case_id), 303)


def make_job_form() -> JobForm:
    form = JobForm()
    with workshop_to_read() as workshop:
        form.person.choices = offer_staff(workshop, "Choose")
    form.complaints.choices = offer(sheet.names()["complaints"])
    return form


def render_job(form: JobForm, status: int = 200) -> tuple[str, int]:
    return render_template("office/job.html", form=form), status


@signed_in("technician", "office")
def new_job() -> Page:
    return render_job(make_job_form())


@signed_in("technician", "office")
def open_job() -> Page:
    form = make_job_form()
    if not form.validate_on_submit():
        return render_job(form, 422)
    vehicle = {name: (form[name].data or "").strip() for name in VEHICLE}
    with workshop_to_write() as workshop:
        note = (form.note.data or "").strip()
        case_id = jobs.open_job(
            workshop, actor().person_id, form.person.data, vehicle, list(form.complaints.data or []), note
        )
    return back_to_case(case_id, "The job is open. It reaches the phone with its next contact.")


@signed_in("technician", "office")
def assign_job(case_id: str) -> Page:
    form = AssignForm()
    with workshop_to_read() as workshop:
        form.person.choices = offer_staff(workshop, "Choose")
    if not form.validate_on_submit():
        return render_case(case_id, 422, assign_form=form)
    with workshop_to_write() as workshop:
        jobs.assign(workshop, case_id, actor().person_id, form.person.data, (form.note.data or "").strip())
    return back_to_case(case_id, "The job is given out. It reaches the phone with its next contact.")


@signed_in("technician", "office")
def add_comment(case_id: str) -> Page:
    form = CommentForm()
    with workshop_to_read() as workshop:
        form.to.choices = offer_staff(workshop, "Everybody on this case")
    if not form.validate_on_submit():
        return render_case(case_id, 422, comment_form=form)
    text, question = form.text.data.strip(), form.question.data
    with workshop_to_write() as workshop:
        jobs.comment(workshop, case_id, actor().person_id, text, form.to.data, question)
    return back_to_case(case_id, "The question is asked." if question else "The comment is in the log.")


@signed_in("technician", "office")
def give_answer(case_id: str) -> Page:
    form = AnswerForm()
    if not form.validate_on_submit():
        return render_case(case_id, 422, answer_form=form)
    with workshop_to_write() as workshop:
        jobs.answer(workshop, case_id, actor().person_id, form.question.data, form.text.data.strip())
    return back_to_case(case_id, "The answer is in the log.")


@signed_in("office")
def countersign(case_id: str) -> Page:
    form = ReviewForm()
    if not form.validate_on_submit():
        return render_case(case_id, 422, review_form=form)
    with workshop_to_write() as workshop:
        reviews.countersign(workshop, case_id, actor().person_id, form.seen.data, (form.text.data or "").strip())
    return back_to_case(case_id, "The case is countersigned.")
