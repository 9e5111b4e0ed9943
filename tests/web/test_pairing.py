"""Pairing a phone: once, in time, by the right code, and not too often."""

import pytest

from tests.actors import Phone
from tests.conftest import everything, invite, own_workshop
from webapp.store import devices, people
from webapp.store.devices import LETTERS
from webapp.store.models import Device, Pairing
from webapp.store.moments import now, shift
from webapp.store.scope import new_id


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
        secret = devices.make_pairing(workshop, people.list_people(workshop)[0].id).secret
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
        invitation = devices.make_pairing(workshop, people.list_people(workshop)[0].id)
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
        for pairing in session.query(Pairing).filter(Pairing.used_at.is_(None)):
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
