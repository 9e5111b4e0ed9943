"""Pairing a phone: once, in time, by the right code, and not too often."""

import pytest

from tests.actors import Phone
from tests.conftest import BOTH, everything, invite, own_workshop
from webapp.store import devices, pairings, people
from webapp.store.models import Device, Pairing
from webapp.store.moments import now, shift
from webapp.store.pairings import LETTERS
from webapp.store.refusals import Conflict
from webapp.store.scope import new_id

DATABASES = BOTH


def pair(app, code="BCDF-GHJK", /, **other):
    message = {"code": code, "device_name": "phone", "install": new_id()} | other
    return app.test_client().post("/api/v1/pair", json=message)


def test_it_works_with_the_typed_code(technician):
    assert technician.paired.status_code == 201
    told = technician.paired.json
    assert told["device"] == {"id": technician.install, "name": "phone in the van"}
    assert told["person"]["role"] == "technician"
    assert told["workshop"]["name"] == "own"
    assert technician.sync([])["people"]


def test_it_works_with_the_secret_of_the_picture(app, database):
    with database.writing() as session:
        workshop = own_workshop(session)
        secret = pairings.invite(workshop, people.list_people(workshop)[0].id).secret
    assert pair(app, secret).status_code == 201


@pytest.mark.parametrize("spoil", [str.lower, lambda code: code.replace("-", ""), lambda code: f" {code} "])
def test_the_code_may_be_typed_carelessly(app, database, spoil):
    assert pair(app, spoil(invite(database, "own", "technician"))).status_code == 201


def test_codes_are_long_enough_and_hard_to_misread(database):
    code = invite(database, "own", "office").replace("-", "")
    assert len(code) == 8
    assert set(code) <= set(LETTERS)
    assert len(set(LETTERS)) == 20
    assert not set(LETTERS) & set("AEIOUY01")


def test_nothing_secret_is_stored(app, database):
    with database.writing() as session:
        workshop = own_workshop(session)
        invitation = pairings.invite(workshop, people.list_people(workshop)[0].id)
    token = pair(app, invitation.secret).json["token"]
    with database.engine.connect() as connection:
        rows = str(connection.exec_driver_sql("select * from pairings").all())
        rows += str(connection.exec_driver_sql("select * from devices").all())
    code = invitation.code.replace("-", "")
    for secret in (invitation.secret, code, code[3:], token.split(".")[1]):
        assert secret not in rows


def test_a_code_is_good_once(app, database):
    code = invite(database, "own", "technician")
    assert [pair(app, code).status_code for _ in range(2)] == [201, 403]


def refuse_all_alike(app, codes):
    answers = [pair(app, code) for code in codes]
    assert {answer.status_code for answer in answers} == {403}
    assert len({answer.text for answer in answers}) == 1


def test_wrong_used_and_old_codes_get_one_same_answer(app, database):
    used, old = invite(database, "own", "technician"), invite(database, "own", "apprentice")
    pair(app, used)
    with everything(database) as session:
        for pairing in session.query(Pairing).filter(Pairing.asked_at.is_(None)):
            pairing.expires_at = shift(now(), -1)
    refuse_all_alike(app, ["BCDF-GHJK", used, old, "x" * 43])


def test_five_wrong_tries_end_a_pairing(app, database):
    code = invite(database, "own", "technician")
    wrong = code[:-1] + ("B" if code[-1] != "B" else "C")
    for _ in range(4):
        assert pair(app, wrong).status_code == 403
    with everything(database) as session:
        assert session.query(Pairing).one().tries == 4
    pair(app, wrong)
    assert pair(app, code).status_code == 403


def test_an_address_may_not_go_on_guessing(app):
    answers = [pair(app, "BCDF-GHJK") for _ in range(11)]
    assert [answer.status_code for answer in answers] == [403] * 10 + [429]
    assert 0 < int(answers[-1].headers["Retry-After"]) <= 601


def test_a_person_who_is_out_cannot_be_paired(app, database):
    code = invite(database, "own", "apprentice")
    with database.writing() as session:
        workshop = own_workshop(session)
        person = next(row for row in people.list_people(workshop) if row.role == "apprentice")
        people.set_active(workshop, person.id, False)
    assert pair(app, code).status_code == 403


def test_pairing_again_voids_the_old_token(app, database, technician):
    again = Phone(app, invite(database, "own", "technician"), install=technician.install)
    assert again.sync([])
    assert technician.post_sync([]).status_code == 401
    with everything(database) as session:
        assert session.query(Device).count() == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [({"device_name": ""}, "device_name"), ({"install": "X"}, "install"), ({"extra": 1}, "extra"), ({"code": 5}, "code")],
)
def test_bad_input_names_the_field(app, change, field):
    answer = pair(app, **change)
    assert answer.status_code == 422
    assert [problem["field"] for problem in answer.json["error"]] == [field]


def ask(app, database, role: str = "technician", install: str | None = None) -> Phone:
    """A phone that has asked and waits for the office."""
    with database.writing() as session:
        workshop = own_workshop(session)
        person = next(row for row in people.list_people(workshop) if row.role == role)
        code = pairings.invite(workshop, person.id).code
    return Phone(app, code, "phone in the van", install)


def decide(database, verb, phone: Phone) -> None:
    with database.writing() as session:
        verb(own_workshop(session), next(row.id for row in session_rows(session) if row.install == phone.install))


def session_rows(session):
    return [pairing for pairing, _ in pairings.list_waiting(own_workshop(session))]


def test_a_new_phone_waits_and_is_told_nothing_but_a_number(app, database):
    phone = ask(app, database)
    told = phone.paired.json
    assert phone.paired.status_code == 201
    assert (told["status"], told["person"], told["workshop"]) == ("waiting", None, None)
    assert phone.look().json == {key: value for key, value in told.items() if key != "token"}
    assert told["number"].isdecimal()
    assert len(told["number"]) == 4
    for answer in (phone.post_sync([]), phone.put_photo("0" * 64, b"x")):
        assert (answer.status_code, answer.json["error"][0]["code"]) == (401, "unknown_token")


def test_the_offices_word_brings_the_token_alive(app, database):
    phone = ask(app, database)
    decide(database, pairings.confirm, phone)
    told = phone.look().json
    assert (told["status"], told["person"]["role"], told["workshop"]["name"]) == ("paired", "technician", "own")
    assert phone.sync([])


def test_phones_that_wait_at_once_show_different_numbers(app, database, monkeypatch):
    drawn = iter([1, 1, 1, 2, 1, 2, 3])
    monkeypatch.setattr(pairings.secrets, "randbelow", lambda _: next(drawn))
    assert [ask(app, database).paired.json["number"] for _ in range(3)] == ["1001", "1002", "1003"]


def test_a_phone_does_not_wait_for_ever(app, database):
    phone = ask(app, database)
    with everything(database) as session:
        session.query(Pairing).one().asked_at = shift(now(), -pairings.PAIRING_LIFE_S - 1)
    assert phone.look().json["status"] == "expired"
    with database.reading() as session:
        assert pairings.list_waiting(own_workshop(session)) == []


def test_a_person_who_went_out_meanwhile_gets_no_phone(app, database):
    phone = ask(app, database)
    with database.writing() as session:
        workshop = own_workshop(session)
        people.set_active(workshop, session_rows(session)[0].person_id, False)
    with pytest.raises(Conflict):
        decide(database, pairings.confirm, phone)
    assert phone.post_sync([]).status_code == 401


def test_a_token_that_was_never_given_learns_nothing(app, database):
    phone = ask(app, database)
    key, secret = phone.token.split(".")
    for token in ("", "dev_x.y", f"{key}.", f"{key}.{secret[:-1]}", f"dev_.{secret}"):
        phone.token = token
        assert phone.look().status_code == 401


def test_shut_out_means_shut_out_for_looking_too(app, database):
    phone = ask(app, database)
    decide(database, pairings.confirm, phone)
    with database.writing() as session:
        workshop = own_workshop(session)
        devices.revoke_device(workshop, devices.list_devices(workshop)[0][0].key)
    assert (phone.look().status_code, phone.look().json["error"][0]["code"]) == (401, "revoked")


def grow_old(database) -> None:
    with everything(database) as session:
        session.query(Device).one().token_at = shift(now(), -devices.TOKEN_LIFE_S - 1)


def test_an_old_token_is_renewed_and_dies_when_the_new_one_is_used(database, technician):
    assert technician.sync([])["token"] is None
    grow_old(database)
    old, new = technician.token, technician.sync([])["token"]
    assert new
    assert new != old
    technician.token = new
    assert technician.sync([])["token"] is None
    technician.token = old
    assert technician.post_sync([]).status_code == 401


def test_an_answer_that_is_lost_locks_nobody_out(database, technician):
    grow_old(database)
    lost = technician.sync([])["token"]
    second = technician.sync([])["token"]
    assert lost != second
    technician.token = lost
    assert technician.post_sync([]).status_code == 401
    technician.token = second
    assert technician.sync([])


def test_a_phone_that_is_shut_out_cannot_use_a_token_it_was_handed_before(database, technician):
    grow_old(database)
    new = technician.sync([])["token"]
    with database.writing() as session:
        workshop = own_workshop(session)
        devices.revoke_device(workshop, devices.list_devices(workshop)[0][0].key)
    technician.token = new
    assert technician.post_sync([]).status_code == 401


def test_what_was_recorded_before_being_shut_out_goes_in_after_pairing_again(app, database, technician):
    entries = technician.opening()
    with database.writing() as session:
        workshop = own_workshop(session)
        devices.revoke_device(workshop, devices.list_devices(workshop)[0][0].key)
    assert technician.post_sync(entries).status_code == 401
    again = Phone(app, invite(database, "own", "technician"), install=technician.install)
    assert [row["status"] for row in again.sync(entries)["results"]] == ["stored", "stored"]
