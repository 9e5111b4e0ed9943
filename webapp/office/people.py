"""People of the workshop, looked after by the office."""

from flask import flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from webapp.access import signed_in, workshop_to_read, workshop_to_write
from webapp.office.forms import NewPasswordForm, PersonForm, RoleForm
from webapp.store import people
from webapp.store.refusals import Refusal

Page = str | tuple[str, int] | Response


def render_list(form: PersonForm, status: int = 200) -> tuple[str, int]:
    with workshop_to_read() as workshop:
        rows = people.list_people(workshop)
    return render_template("office/people.html", people=rows, form=form), status


@signed_in("office")
def list_people() -> Page:
    return render_list(PersonForm())


@signed_in("office", proved=True)
def add_person() -> Page:
    form = PersonForm()
    if not form.validate_on_submit():
        return render_list(form, 422)
    if bool(form.login.data) != bool(form.password.data):
        form.login.errors = ["Give both login and password, or neither."]
        return render_list(form, 422)
    try:
        with workshop_to_write() as workshop:
            people.add_person(
                workshop,
                name=form.name.data,
                role=form.role.data,
                login=form.login.data or None,
                password=form.password.data or None,
            )
    except Refusal as refusal:
        field = form[refusal.problems[0]["field"]]
        field.errors = [refusal.problems[0]["text"]]
        return render_list(form, refusal.status)
    flash(f"{form.name.data} is added.")
    return redirect(url_for("office.list_people"), 303)


def render_person(person_id: str, status: int = 200, **forms) -> tuple[str, int]:
    with workshop_to_read() as workshop:
        person = people.get_person(workshop, person_id)
    role_form = forms.get("role_form") or RoleForm(formdata=None, role=person.role)
    page = render_template(
        "office/person.html",
        person=person,
        role_form=role_form,
        password_form=forms.get("password_form") or NewPasswordForm(formdata=None),
    )
    return page, status


@signed_in("office")
def show_person(person_id: str) -> Page:
    return render_person(person_id)


def back_to(person_id: str, told: str) -> Response:
    flash(told)
    return redirect(url_for("office.show_person", person_id=person_id), 303)


@signed_in("office", proved=True)
def change_role(person_id: str) -> Page:
    form = RoleForm()
    if not form.validate_on_submit():
        return render_person(person_id, 422, role_form=form)
    with workshop_to_write() as workshop:
        people.change_role(workshop, person_id, form.role.data)
    return back_to(person_id, "The role is changed.")


@signed_in("office", proved=True)
def set_password(person_id: str) -> Page:
    form = NewPasswordForm()
    if not form.validate_on_submit():
        return render_person(person_id, 422, password_form=form)
    try:
        with workshop_to_write() as workshop:
            people.set_password(workshop, person_id, form.password.data)
    except Refusal as refusal:
        form.password.errors = [refusal.problems[0]["text"]]
        return render_person(person_id, refusal.status, password_form=form)
    return back_to(person_id, "The password is set; every browser of this person is signed out.")


@signed_in("office")
def sign_out(person_id: str) -> Page:
    with workshop_to_write() as workshop:
        people.end_sign_ins(workshop, person_id)
    return back_to(person_id, "Every browser of this person is signed out. Phones stay paired.")


@signed_in("office", proved=True)
def set_active(person_id: str) -> Page:
    active = request.form.get("active")
    if active not in ("yes", "no"):
        raise Refusal("not_a_choice", "active", f"active: {str(active)[:20]!r} is not known; send yes or no")
    with workshop_to_write() as workshop:
        people.set_active(workshop, person_id, active == "yes")
    return back_to(
        person_id,
        "The person is let in."
        if active == "yes"
        else "The person is out: signed out everywhere, and the phones are turned away.",
    )
