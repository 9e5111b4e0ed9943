"""Signing in: right and wrong passwords alike in what they tell, tries counted, sessions that really end."""

import logging
import time

import pytest

from tests.actors import PASSWORD, Desk, Phone
from tests.conftest import everything, invite, own_workshop
from webapp.account.routes import REFUSED
from webapp.store import attempts, entrance, people
from webapp.store.models import Attempt, SignIn
from webapp.store.moments import now, shift


def test_it_works_and_leads_to_where_one_wanted(nobody):
    answer = nobody.sign_in("office@own", address="/account/sign-in?next=/office/people")
    assert (answer.status_code, answer.location) == (303, "/office/people")
    assert nobody.get("/office/people").status_code == 200


def test_the_login_is_not_case_sensitive(nobody):
    assert nobody.sign_in(" Office@OWN ").status_code == 303


@pytest.mark.parametrize(
    "target", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:x", "/a\nb", ""]
)
def test_it_never_leads_to_another_address(nobody, target):
    answer = nobody.client.post(
        "/account/sign-in", query_string={"next": target},
        data={"login": "office@own", "password": PASSWORD, "csrf_token": nobody.token()},
    )  # fmt: skip
    assert answer.location == "/office/"


def test_without_a_sign_in_the_office_asks_for_one(nobody):
    answer = nobody.get("/office/?q=x")
    assert (answer.status_code, answer.location) == (302, "/account/sign-in?next=/office/?q%3Dx")


def test_wrong_password_and_unknown_login_look_the_same(app, nobody):
    wrong, unknown = nobody.sign_in("office@own", "wrong"), Desk(app).sign_in("stranger", "wrong")
    assert wrong.status_code == unknown.status_code == 403
    assert REFUSED in wrong.text
    assert REFUSED in unknown.text


def test_an_unknown_login_costs_the_same_work(app, nobody, monkeypatch):
    checked = []
    monkeypatch.setattr(entrance, "is_password", lambda kept, password: checked.append(kept) or False)
    nobody.sign_in("office@own", "wrong")
    Desk(app).sign_in("stranger", "wrong")
    assert len(checked) == 2


def test_a_person_without_a_password_cannot_sign_in(app, nobody, database):
    with database.writing() as session:
        people.add_person(own_workshop(session), name="Phone Only", role="technician", login="phone-only")
    assert nobody.sign_in("phone-only", "").status_code == 422
    assert Desk(app).sign_in("phone-only", "None").status_code == 403


def test_tries_are_counted_in_the_database(app, nobody):
    answers = [nobody.sign_in("office@own", "wrong") for _ in range(11)]
    assert [answer.status_code for answer in answers] == [403] * 10 + [429]
    assert int(answers[-1].headers["Retry-After"]) > 0
    assert Desk(app).sign_in("office@own").status_code == 429
    assert Desk(app).sign_in("technician@own").status_code == 303


def test_a_stranger_elsewhere_does_not_lock_the_account(nobody):
    form = {"login": "office@own", "password": "wrong", "csrf_token": nobody.token()}
    for _ in range(12):
        nobody.client.post("/account/sign-in", data=form, environ_base={"REMOTE_ADDR": "203.0.113.9"})
    assert nobody.sign_in("office@own").status_code == 303


def exhaust(database, *rows: tuple[attempts.Allowance, str]) -> None:
    """As if strangers had used up these allowances just now."""
    with everything(database) as session:
        for allowance, who in rows:
            for window in (0, 1):
                at = int(time.time() // allowance.window_s) + window
                session.merge(Attempt(key=f"{allowance.name}:{who}", window=at, count=allowance.tries))


def test_strangers_everywhere_cannot_lock_out_a_browser_that_is_known(app, office, database):
    account = entrance.digest("office@own")
    exhaust(
        database, (attempts.SIGN_IN_ACCOUNT, account), (attempts.SIGN_IN_ALL, ""), (attempts.SIGN_IN_ADDRESS, "127.0.0.1")
    )
    assert Desk(app).sign_in("office@own").status_code == 429
    office.post("/account/sign-out")
    assert office.sign_in("office@own").status_code == 303


def test_a_known_browser_has_tries_enough_but_not_for_guessing(office):
    office.post("/account/sign-out")
    answers = [office.sign_in("office@own", "wrong").status_code for _ in range(11)]
    assert answers == [403] * 10 + [429]


def test_the_mark_of_a_browser_is_good_for_its_own_account_only(app, office, database):
    exhaust(database, (attempts.SIGN_IN_ALL, ""))
    office.post("/account/sign-out")
    assert office.sign_in("technician@own").status_code == 429
    stranger = Desk(app)
    stranger.client.set_cookie("railcase-known", "WyJ4IiwieSJd.forged")
    assert stranger.sign_in("office@own").status_code == 429


def test_signing_in_again_ends_the_sign_in_before(app, office):
    copy = app.test_client()
    copy.set_cookie("railcase", office.client.get_cookie("railcase").value)
    assert office.sign_in("office@own").status_code == 303
    assert office.get("/office/").status_code == 200
    assert copy.get("/office/").status_code == 302


def test_one_sees_and_ends_ones_other_sign_ins(app, office):
    other, colleague = Desk(app, "office@own"), Desk(app, "technician@own")
    page = office.get("/account/sign-ins").text
    assert page.count("This browser") == 1
    assert page.count("Last used") == 1
    office.post("/account/sign-ins/end-others")
    assert [desk.get("/office/").status_code for desk in (office, other, colleague)] == [200, 302, 200]


def grow_stale(database) -> None:
    with everything(database) as session:
        for row in session.query(SignIn):
            row.proved_at = shift(now(), -entrance.PROOF_LIFE_S - 1)


def test_the_password_is_asked_for_again_and_the_form_goes_on(office, database):
    grow_stale(database)
    form = {"name": "New Hand", "role": "technician", "login": "hand@own", "password": "some plain words"}
    held = office.post("/office/people", **form)
    assert held.status_code == 403
    assert 'name="name" value="New Hand"' in held.text
    assert "some plain words" not in held.text, "no password is sent back"
    assert office.post("/office/people", **form, own_password="wrong").status_code == 403
    assert "New Hand" not in office.get("/office/people").text
    assert office.post("/office/people", **form, own_password=PASSWORD).status_code == 303
    assert office.post("/office/people", name="Next Hand", role="apprentice").status_code == 303, "proved for a while"


def test_the_own_password_cannot_be_guessed_at_the_desk(office, database):
    grow_stale(database)
    answers = [office.post("/office/people", name="x", own_password="wrong").status_code for _ in range(11)]
    assert answers == [403] * 10 + [429]


def test_a_foreign_form_is_not_carried_through_by_asking(office, database):
    grow_stale(database)
    answer = office.client.post("/office/people", data={"name": "Planted", "role": "office"})
    assert answer.status_code == 400
    assert "Planted" not in answer.text


def test_a_form_outlives_lunch(office, monkeypatch):
    token = office.token("/account/password")
    later = time.time() + 5 * 3600
    monkeypatch.setattr("itsdangerous.timed.time.time", lambda: later)
    answer = office.client.post("/account/sign-ins/end-others", data={"csrf_token": token})
    assert answer.status_code == 303


def test_no_secret_reaches_the_log(app, database, nobody, caplog, capfd):
    caplog.set_level(logging.DEBUG)
    nobody.sign_in("office@own", "wrong guess of a password")
    nobody.sign_in("office@own")
    code = invite(database, "own", "technician")
    phone = Phone(app, code)
    phone.sync([])
    phone.post_sync([{"broken": True}])
    cookie = nobody.client.get_cookie("railcase").value
    written = caplog.text + "".join(capfd.readouterr())
    for secret in ("wrong guess of a password", PASSWORD, cookie, code, phone.token, phone.token.split(".")[1], "k" * 40):
        assert secret not in written


def test_a_success_forgets_the_tries(app):
    for _ in range(3):
        desk = Desk(app)
        assert [desk.sign_in("office@own", "wrong").status_code for _ in range(4)] == [403] * 4
        assert desk.sign_in("office@own").status_code == 303


def cookie(answer):
    return next(value for name, value in answer.headers if name == "Set-Cookie" and "railcase=" in value)


def test_the_cookie_is_closed_to_scripts_and_other_sites(nobody):
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= set(cookie(nobody.sign_in("office@own")).split("; "))


def test_the_session_is_a_new_one_after_signing_in(nobody):
    nobody.get("/account/sign-in")
    with nobody.client.session_transaction() as session:
        session["planted"] = "by someone else"
    nobody.sign_in("office@own")
    with nobody.client.session_transaction() as session:
        assert "planted" not in session


def test_a_copied_cookie_is_dead_after_sign_out(app, office):
    copy = app.test_client()
    stolen = office.client.get_cookie("railcase").value
    copy.set_cookie("railcase", stolen)
    assert copy.get("/office/").status_code == 200
    assert office.post("/account/sign-out").status_code == 303
    copy.set_cookie("railcase", stolen)
    assert copy.get("/office/").status_code == 302
    assert office.get("/office/").status_code == 302


def test_signing_out_needs_a_post(office):
    assert office.get("/account/sign-out").status_code == 405
    assert office.get("/office/").status_code == 200


def test_a_person_who_is_out_is_out_at_once(app, database):
    desk = Desk(app, "technician@own")
    with database.writing() as session:
        workshop = own_workshop(session)
        person = next(row for row in people.list_people(workshop) if row.role == "technician")
        person.active = False
    assert desk.get("/office/").status_code == 302


@pytest.mark.parametrize(
    ("column", "seconds"), [("seen_at", entrance.IDLE_LIMIT_S), ("created_at", entrance.SIGN_IN_LIMIT_S)]
)
def test_a_sign_in_ends_by_itself(office, database, column, seconds):
    with everything(database) as session:
        setattr(session.query(SignIn).one(), column, shift(now(), -seconds - 1))
    assert office.get("/office/").status_code == 302


def test_only_hashes_of_sign_ins_are_stored(office, database):
    with office.client.session_transaction() as session:
        secret = session["_user_id"]
    with everything(database) as session:
        assert session.query(SignIn).one().secret_hash == entrance.digest(secret) != secret


def test_one_may_change_ones_password(app, office):
    new = {"password": "other plain words", "again": "other plain words"}
    assert office.post("/account/password", current="wrong", **new).status_code == 422
    assert office.post("/account/password", current=PASSWORD, password="short", again="short").status_code == 422
    assert office.post("/account/password", current=PASSWORD, password="a" * 12 + "bcdef", again="x").status_code == 422
    assert office.post("/account/password", current=PASSWORD, **new).status_code == 303
    assert office.get("/office/").status_code == 302
    assert Desk(app).sign_in("office@own").status_code == 403
    assert Desk(app).sign_in("office@own", "other plain words").status_code == 303
