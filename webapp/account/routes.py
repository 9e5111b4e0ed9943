"""Sign in, sign out, change one's own password."""

from flask import Blueprint, flash, redirect, render_template, request, session, url_for
from flask_login import current_user, login_user, logout_user
from werkzeug.wrappers import Response

from webapp.access import actor, client_address, database, public, signed_in, workshop_to_read, workshop_to_write
from webapp.account.desk import Desk
from webapp.account.forms import PasswordForm, SignInForm
from webapp.store import attempts, entrance, people
from webapp.store.entrance import Actor
from webapp.store.refusals import TooManyTries

blueprint = Blueprint("account", __name__, url_prefix="/account")
Answer = Response | tuple[str, int] | tuple[str, int, dict[str, str]]
REFUSED = "Login or password is wrong. Check both, or ask the office."


def local_path(target: str | None) -> str:
    """Where to go after signing in: only a path of this server, never another address."""
    is_local = target and target.startswith("/") and not target.startswith("//") and target.isprintable()
    return target if target and is_local and "\\" not in target else url_for("office.list_cases")


def count_tries(login: str) -> None:
    """One account from one address is stopped first, so that nobody can lock a colleague out from elsewhere."""
    name = entrance.digest(login.strip().casefold())
    with database().writing() as db:
        attempts.count_try(db, attempts.SIGN_IN_ACCOUNT_ADDRESS, f"{name}:{client_address()}")
        attempts.count_try(db, attempts.SIGN_IN_ACCOUNT, name)
        attempts.count_try(db, attempts.SIGN_IN_ADDRESS, client_address())
        attempts.count_try(db, attempts.SIGN_IN_ALL, "")


def begin(login: str, password: str) -> Desk | None:
    """Check the password and begin a sign-in; None when it is wrong."""
    with database().reading() as db:
        person = entrance.check_password(db, login, password)
    if person is None:
        return None
    with database().writing() as db:
        secret = entrance.begin_sign_in(db, person)
        attempts.forget_tries(
            db, attempts.SIGN_IN_ACCOUNT_ADDRESS, f"{entrance.digest(login.strip().casefold())}:{client_address()}"
        )
    return Desk(secret, Actor(person.id, person.name, person.role, person.workshop_id, ""))


@blueprint.route("/sign-in", methods=["GET", "POST"])
@public
def sign_in() -> Answer:
    form = SignInForm()
    if not form.validate_on_submit():
        return render_template("account/sign_in.html", form=form), 422 if form.errors else 200
    try:
        count_tries(form.login.data)
    except TooManyTries as refusal:
        form.login.errors = [refusal.problems[0]["text"]]
        return render_template("account/sign_in.html", form=form), 429, {"Retry-After": str(refusal.retry_after_s)}
    desk = begin(form.login.data, form.password.data)
    if desk is None:
        form.password.errors = [REFUSED]
        return render_template("account/sign_in.html", form=form), 403
    session.clear()  # whatever the browser brought along is void from here on
    login_user(desk)
    return redirect(local_path(request.args.get("next")), 303)


@blueprint.post("/sign-out")
@signed_in()
def sign_out() -> Response:
    with database().writing() as db:
        entrance.end_sign_in(db, current_user.get_id())
    logout_user()
    session.clear()
    return redirect(url_for("account.sign_in"), 303)


@blueprint.route("/password", methods=["GET", "POST"])
@signed_in()
def password() -> Answer:
    form = PasswordForm()
    if form.validate_on_submit() and is_own_password(form):
        with workshop_to_write() as workshop:
            people.set_password(workshop, actor().person_id, form.password.data)
        session.clear()
        flash("The password is changed. Sign in with the new one; all other browsers are signed out too.")
        return redirect(url_for("account.sign_in"), 303)
    return render_template("account/password.html", form=form), 422 if form.errors else 200


def is_own_password(form: PasswordForm) -> bool:
    with workshop_to_read() as workshop:
        login = people.get_person(workshop, actor().person_id).login or ""
    count_tries(login)
    with database().reading() as db:
        matches = entrance.check_password(db, login, form.current.data) is not None
    if not matches:
        form.current.errors = ["This is not the password that you use now."]
    return matches
