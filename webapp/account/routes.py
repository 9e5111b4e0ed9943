"""Sign in, sign out here and elsewhere, change one's own password."""

from flask import Blueprint, flash, redirect, render_template, request, session, url_for
from flask_login import current_user, login_user, logout_user
from werkzeug.wrappers import Response

from webapp.access import (
    actor,
    client_address,
    database,
    is_own_password,
    public,
    signed_in,
    workshop_to_read,
    workshop_to_write,
)
from webapp.account.browsers import describe_browser, known_browser, remember_browser
from webapp.account.desk import Desk
from webapp.account.forms import PasswordForm, SignInForm
from webapp.store import attempts, entrance, people
from webapp.store.entrance import Actor
from webapp.store.refusals import Refusal, TooManyTries

blueprint = Blueprint("account", __name__, url_prefix="/account")
Answer = Response | str | tuple[str, int] | tuple[str, int, dict[str, str]]
REFUSED = "Login or password is wrong. Check both, or ask the office."


def local_path(target: str | None) -> str:
    """Where to go after signing in: only a path of this server, never another address."""
    is_local = target and target.startswith("/") and not target.startswith("//") and target.isprintable()
    return target if target and is_local and "\\" not in target else url_for("office.list_cases")


def begin(login: str, password: str) -> Desk | None:
    """Count a try, check the password and begin a sign-in; None when it is wrong. *Refuses* after too many tries."""
    account = entrance.digest(login.strip().casefold())
    tried = account, client_address(), known_browser(account)
    with database().writing() as db:
        attempts.count_sign_in(db, *tried)
    with database().reading() as db:
        person = entrance.check_password(db, login, password)
    if person is None:
        return None
    with database().writing() as db:
        secret = entrance.begin_sign_in(db, person, describe_browser())
        attempts.forget_sign_in(db, *tried)
    return Desk(secret, Actor(person.id, person.name, person.role, person.workshop_id, ""))


@blueprint.route("/sign-in", methods=["GET", "POST"])
@public
def sign_in() -> Answer:
    form = SignInForm()
    if not form.validate_on_submit():
        return render_template("account/sign_in.html", form=form), 422 if form.errors else 200
    try:
        desk = begin(form.login.data, form.password.data)
    except TooManyTries as refusal:
        form.login.errors = [refusal.problems[0]["text"]]
        return render_template("account/sign_in.html", form=form), 429, {"Retry-After": str(refusal.retry_after_s)}
    if desk is None:
        form.password.errors = [REFUSED]
        return render_template("account/sign_in.html", form=form), 403
    end_this_sign_in()
    session.clear()  # whatever the browser brought along is void from here on
    login_user(desk)
    response = redirect(local_path(request.args.get("next")), 303)
    remember_browser(response, entrance.digest(form.login.data.strip().casefold()))
    return response


def end_this_sign_in() -> None:
    if current_user.is_authenticated:
        with database().writing() as db:
            entrance.end_sign_in(db, current_user.get_id())


@blueprint.post("/sign-out")
@signed_in()
def sign_out() -> Response:
    end_this_sign_in()
    logout_user()
    session.clear()
    return redirect(url_for("account.sign_in"), 303)


@blueprint.get("/sign-ins")
@signed_in()
def list_sign_ins() -> Answer:
    with workshop_to_read() as workshop:
        rows = entrance.list_sign_ins(workshop, actor().person_id)
    return render_template("account/sign_ins.html", rows=rows, own=entrance.digest(current_user.get_id()))


@blueprint.post("/sign-ins/end-others")
@signed_in()
def end_others() -> Response:
    with workshop_to_write() as workshop:
        entrance.end_other_sign_ins(workshop, actor().person_id, current_user.get_id())
    flash("All other browsers are signed out.")
    return redirect(url_for("account.list_sign_ins"), 303)


@blueprint.route("/password", methods=["GET", "POST"])
@signed_in()
def password() -> Answer:
    form = PasswordForm()
    if form.validate_on_submit() and is_changed(form):
        session.clear()
        flash("The password is changed. Sign in with the new one; all other browsers are signed out too.")
        return redirect(url_for("account.sign_in"), 303)
    return render_template("account/password.html", form=form), 422 if form.errors else 200


def is_changed(form: PasswordForm) -> bool:
    if not is_own_password(form.current.data):
        form.current.errors = ["This is not the password that you use now."]
        return False
    try:
        with workshop_to_write() as workshop:
            people.set_password(workshop, actor().person_id, form.password.data)
    except Refusal as refusal:
        form.password.errors = [refusal.problems[0]["text"]]
        return False
    return True
