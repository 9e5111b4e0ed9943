"""Sync: entries go in once, the bad ones are named, and every phone of the workshop gets what the others wrote."""

import json

import pytest

from tests.actors import Phone
from tests.conftest import BOTH, everything, own_workshop
from webapp.store import cases, devices, judging, limits, people
from webapp.store.log import verify_case
from webapp.store.models import Entry
from webapp.store.scope import new_id

DATABASES = BOTH


def statuses(answer):
    return [result["status"] for result in answer["results"]]


def test_entries_are_stored_and_judged(technician, database):
    answer = technician.sync([*technician.opening(), technician.reading("crank_pressure", 292, unit="bar")])
    assert statuses(answer) == ["stored"] * 3
    with database.reading() as session:
        found = cases.get_case(own_workshop(session), technician.case)
    assert found.row.registration == "AB12 CDE"
    assert found.row.entries == 3
    assert [row["verdict"] for row in found.assessment["verdicts"]] == ["pass"]


def test_sending_twice_changes_nothing(technician, database):
    entries = technician.opening()
    technician.sync(entries)
    with everything(database) as session:
        before = [(row.id, row.feed, row.chain) for row in session.query(Entry)]
    assert statuses(technician.sync(entries)) == ["known", "known"]
    with everything(database) as session:
        assert [(row.id, row.feed, row.chain) for row in session.query(Entry)] == before


def test_the_same_entry_twice_in_one_batch_is_stored_once(technician):
    entry = technician.entry("case_opened", {})
    assert statuses(technician.sync([entry, entry])) == ["stored", "known"]


BAD_ENTRIES = [
    ("unknown quantity", "body.quantity", {"kind": "reading_taken", "body": {"quantity": "nonsense", "value": 1}}),
    ("missing value", "body.value", {"kind": "reading_taken", "body": {"quantity": "crank_pressure"}}),
    ("unknown body key", "body.colour", {"kind": "case_opened", "body": {"colour": "red"}}),
    ("unknown key", "colour", {"colour": "red"}),
    ("id is no uuid", "id", {"id": "1"}),
    ("upper-case case", "case", {"case": new_id().upper()}),
    ("seq is text", "seq", {"seq": "1"}),
    ("clock is negative", "clock", {"clock": -1}),
    ("clock is a fraction", "clock", {"clock": 1.5}),
    ("at is no moment", "at", {"at": "yesterday"}),
    ("body is a list", "body", {"body": []}),
    ("kind is empty", "kind", {"kind": ""}),
    ("by holds a NUL", "by", {"by": "me\0"}),
    ("infinite number", "body", {"kind": "odd", "body": {"x": 1e999}}),
    ("number too large", "body", {"kind": "odd", "body": {"x": 10**400}}),
    ("nested too deep", "body", {"kind": "odd", "body": {"x": [[[[[[[[[[[[[1]]]]]]]]]]]]]}}),
    ("too large", "body", {"kind": "odd", "body": {"x": "y" * 70_000}}),
    ("another device", "device", {"device": new_id()}),
]


@pytest.mark.parametrize(("name", "field", "change"), BAD_ENTRIES, ids=[row[0] for row in BAD_ENTRIES])
def test_a_bad_entry_is_named_and_the_rest_goes_in(technician, name, field, change):
    bad = technician.entry("case_opened", {}) | change
    text = json.dumps({"format": "railcase-sync/1", "app": "0.1.0", "cursor": 0, "entries": [bad, *technician.opening()]})
    text = text.replace("Infinity", "1e999")
    answer = technician.client.post("/api/v1/sync", data=text, headers=technician.headers, content_type="application/json")
    assert answer.status_code == 200, answer.text
    assert statuses(answer.json) == ["refused", "stored", "stored"]
    assert field in [problem["field"] for problem in answer.json["results"][0]["problems"]]
    assert all(problem["text"] for problem in answer.json["results"][0]["problems"])


@pytest.mark.parametrize("bad", [None, 5, "entry", [], {}])
def test_what_is_no_entry_is_refused_by_place(technician, bad):
    answer = technician.sync([bad, technician.entry("case_opened", {})])
    assert statuses(answer) == ["refused", "stored"]
    assert answer["results"][0]["id"] is None


def test_another_content_under_a_known_id_is_refused(technician):
    entry = technician.entry("note_added", {"text": "one"})
    technician.sync([entry])
    answer = technician.sync([entry | {"body": {"text": "two"}}])
    assert [p["code"] for p in answer["results"][0]["problems"]] == ["conflicting_copy"]


def test_an_unknown_kind_is_kept_for_newer_programs(technician, apprentice):
    technician.sync([technician.entry("kind_of_tomorrow", {"x": [1, None, "ä"]})])
    assert apprentice.sync([])["entries"][0]["body"] == {"x": [1, None, "ä"]}


def test_others_get_it_and_the_cursor_moves_on(technician, apprentice):
    entries = technician.opening()
    technician.sync(entries)
    answer = apprentice.sync([])
    assert answer["entries"] == entries
    assert answer["more"] is False
    assert apprentice.sync([], answer["cursor"])["entries"] == []
    more = technician.entry("note_added", {"text": "later"})
    technician.sync([more])
    assert apprentice.sync([], answer["cursor"])["entries"] == [more]


def test_many_entries_come_in_pages_without_a_gap(technician, apprentice):
    sent = [technician.entry("note_added", {"text": str(number)}) for number in range(720)]
    for start in range(0, 720, 180):
        technician.sync(sent[start : start + 180])
    first = apprentice.sync([], 0)
    assert (len(first["entries"]), first["more"]) == (500, True)
    second = apprentice.sync([], first["cursor"])
    assert second["more"] is False
    assert first["entries"] + second["entries"] == sent


def test_a_cursor_from_the_future_starts_anew(technician, apprentice):
    technician.sync(technician.opening())
    assert len(apprentice.sync([], 10_000)["entries"]) == 2


def test_the_other_workshop_sees_nothing_and_may_use_the_same_ids(technician, other_workshop):
    entries = technician.opening()
    technician.sync(entries)
    assert other_workshop.sync([])["entries"] == []
    mine = [entry | {"device": other_workshop.install} for entry in entries]
    assert statuses(other_workshop.sync(mine)) == ["stored", "stored"]
    assert technician.sync([], 0)["entries"] == []


def test_two_devices_make_one_case(technician, apprentice, database):
    technician.sync(technician.opening())
    apprentice.case = technician.case
    apprentice.sync([apprentice.entry("vehicle_set", {"registration": "ZZ99 ZZZ"}, clock=9)])
    with database.reading() as session:
        row = cases.get_case(own_workshop(session), technician.case).row
        assert verify_case(own_workshop(session), technician.case) is None
    assert (row.registration, row.conflicts, row.entries) == ("ZZ99 ZZZ", 1, 3)


def test_the_order_of_arrival_makes_no_difference(technician, apprentice, database):
    entries = [*technician.opening(), technician.reading("crank_pressure", 290), technician.reading("crank_pressure", 120)]
    technician.sync(entries)
    with database.reading() as session:
        forward = cases.get_case(own_workshop(session), technician.case)
    case = new_id()
    turned = [entry | {"id": entry["id"][:-4] + "ffff", "case": case} for entry in entries]
    technician.sync(turned[::-1])
    with database.reading() as session:
        backward = cases.get_case(own_workshop(session), case)
    assert [row["value"] for row in forward.assessment["verdicts"]] == [
        row["value"] for row in backward.assessment["verdicts"]
    ]


def test_a_revoked_phone_is_told_so_and_stores_nothing(technician, database):
    with database.writing() as session:
        workshop = own_workshop(session)
        devices.revoke_device(workshop, devices.list_devices(workshop)[0][0].key)
    answer = technician.post_sync(technician.opening())
    assert answer.status_code == 401
    assert answer.json["error"][0]["code"] == "revoked"


def test_a_person_who_is_out_is_turned_away_at_once(technician, database):
    with database.writing() as session:
        workshop = own_workshop(session)
        person = next(row for row in people.list_people(workshop) if row.role == "technician")
        people.set_active(workshop, person.id, False)
    assert technician.post_sync([]).json["error"][0]["code"] == "revoked"


@pytest.mark.parametrize("token", ["", "dev_", "dev_x.y", "dev_" + "0" * 24 + ".x", "nonsense", "dev_ä.ö"])
def test_an_unknown_token_is_refused(app, token):
    answer = app.test_client().post("/api/v1/sync", json={}, headers={"Authorization": f"Bearer {token}".encode()})
    assert answer.status_code == 401
    assert answer.json["error"][0]["code"] == "unknown_token"


def test_the_right_key_with_a_wrong_secret_is_unknown(technician):
    technician.token = technician.token.split(".")[0] + ".wrong"
    assert technician.post_sync([]).json["error"][0]["code"] == "unknown_token"


BAD_MESSAGES = [
    ("cursor is text", {"cursor": "1"}, "cursor"), ("cursor is negative", {"cursor": -1}, "cursor"),
    ("format is unknown", {"format": "railcase-sync/9"}, "format"), ("entries is no list", {"entries": {}}, "entries"),
    ("app is no plain text", {"app": "\ud800"}, "app"), ("too many entries", {"entries": [{}] * 201}, "entries"),
    ("unknown field", {"colour": 1}, "colour"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "change", "field"), BAD_MESSAGES, ids=[row[0] for row in BAD_MESSAGES])
def test_a_bad_message_names_the_field(technician, name, change, field):
    answer = technician.client.post(
        "/api/v1/sync", headers=technician.headers,
        json={"format": "railcase-sync/1", "app": "0.1.0", "cursor": 0, "entries": []} | change,
    )  # fmt: skip
    assert answer.status_code == 422
    assert {problem["field"] for problem in answer.json["error"]} == {field}


@pytest.mark.parametrize("text", [b"", b"{", b"\xff", b"[" * 100_000, b"NaN", b'{"cursor": NaN}', b"1" * 5000])
def test_what_is_not_json_is_refused(technician, text):
    answer = technician.client.post("/api/v1/sync", data=text, headers=technician.headers, content_type="application/json")
    assert answer.status_code == 422
    assert answer.json["error"]


def test_a_form_is_not_json(technician):
    answer = technician.client.post("/api/v1/sync", data={"cursor": 0}, headers=technician.headers)
    assert (answer.status_code, answer.json["error"][0]["code"]) == (415, "wrong_type")


def test_a_huge_message_is_refused(technician):
    answer = technician.post_sync(["x" * 2_100_000])
    assert answer.status_code == 413
    assert answer.json["error"][0]["text"]


def test_a_case_that_we_fail_to_judge_keeps_its_entries(technician, database, monkeypatch):
    def fail(*_):
        raise ZeroDivisionError

    monkeypatch.setattr(judging, "judge_folded", fail)
    assert statuses(technician.sync(technician.opening())) == ["stored", "stored"]
    with database.reading() as session:
        assert cases.get_case(own_workshop(session), technician.case).row.problem == judging.OUR_FAULT


def test_an_apprentice_cannot_sign_off(apprentice, technician):
    own = apprentice.entry("signed_off", {"check": "crank", "role": "technician"})
    answer = apprentice.sync([*apprentice.opening(), own])
    assert statuses(answer) == ["stored", "stored", "refused"]
    assert answer["results"][2]["problems"][0]["code"] == "not_allowed"
    assert statuses(technician.sync([technician.entry("signed_off", {"check": "crank"}, case=apprentice.case)])) == [
        "stored"
    ]


DECISIONS = [
    ("concluded", {"fault": "pump_worn", "text": "the pump"}, "sign the conclusion"),
    ("outcome_confirmed", {"fault": "pump_worn", "text": "new pump"}, "confirm the outcome"),
    ("reopened", {"reason": "came back"}, "open the case again"),
]


@pytest.mark.parametrize(("kind", "body", "says"), DECISIONS, ids=[row[0] for row in DECISIONS])
def test_an_apprentice_decides_nothing_and_a_technician_may(apprentice, technician, kind, body, says):
    answer = apprentice.sync([*apprentice.opening(), apprentice.entry("repair_recorded", {"text": "hose"}),
                              apprentice.entry(kind, body)])  # fmt: skip
    assert statuses(answer) == ["stored", "stored", "stored", "refused"]
    assert says in answer["results"][3]["problems"][0]["text"]
    assert statuses(technician.sync([technician.entry(kind, body, case=apprentice.case)])) == ["stored"]


def test_an_apprentices_phone_cannot_sign_in_a_technicians_name(apprentice, technician):
    borrowed = technician.sync([])["person"]["id"]
    forged = apprentice.entry("signed_off", {"check": "crank", "role": "technician"}, by=borrowed)
    result = apprentice.sync([*apprentice.opening(), forged])["results"][2]
    assert (result["status"], result["problems"][0]["code"]) == ("refused", "not_allowed")


def test_an_apprentice_cannot_answer_for_the_pump(apprentice, technician, office, database):
    reason = {"reason": "the mentor said so over the phone"}
    answer = apprentice.sync([*apprentice.opening(), apprentice.entry("gate_overridden", reason)])
    assert statuses(answer) == ["stored", "stored", "refused"]
    assert answer["results"][2]["problems"][0]["code"] == "not_allowed"
    assert statuses(technician.sync([technician.entry("gate_overridden", reason, case=apprentice.case)])) == ["stored"]
    with database.reading() as session:
        pump = cases.get_case(own_workshop(session), apprentice.case).assessment["pump"]
    assert (pump["status"], pump["override"]["reason"]) == ("open", reason["reason"])


def test_a_conclusion_that_names_the_pump_too_early_is_kept(technician, database):
    said = technician.entry("concluded", {"fault": "pump_worn", "text": "the pump"})
    assert statuses(technician.sync([*technician.opening(), said]))[-1] == "stored"
    with database.reading() as session:
        found = cases.get_case(own_workshop(session), technician.case)
    assert "although evidence is missing" in found.assessment["pump"]["warning"]
    assert found.document["concluded"]["fault"] == "pump_worn"


def test_two_phones_of_one_person_are_two_devices(app, technician, database):
    assert isinstance(technician, Phone)
    answer = technician.sync([technician.entry("case_opened", {}, device=new_id())])
    assert answer["results"][0]["problems"][0]["code"] == "wrong_device"


def test_odd_text_fits_every_database(technician, database):
    odd = "NUL \0 half \ud800 end"
    technician.sync([
        technician.entry("case_opened", {}, at="2026-11-24\ud80009:00:00Z"),
        technician.entry("vehicle_set", {"registration": odd, "description": odd, "vin": odd}),
        technician.entry("note_added", {"text": odd}),
        technician.entry("concluded", {"fault": odd * 8, "text": odd}),
    ])  # fmt: skip
    with database.engine.connect() as connection:
        for table in ("entries", "cases", "case_documents", "case_words"):
            for row in connection.exec_driver_sql(f"select * from {table}"):
                assert all("\0" not in value and value.encode() for value in row if isinstance(value, str))
    with database.reading() as session:
        assert len(cases.get_case(own_workshop(session), technician.case).row.fault) == 64


def test_a_phone_learns_the_limits_of_its_workshop_and_only_those_it_lacks(technician, database):
    assert technician.post_sync([], limits="").json["limits"] is None
    with database.writing() as session:
        workshop = own_workshop(session)
        limits.add_profile(workshop, "Vans", "family", "generic", people.list_people(workshop)[0].id)
    told = technician.post_sync([], limits="").json["limits"]
    assert [(row["id"], row["base"], row["limits"]) for row in told["profiles"]] == [("vans.1", "generic", [])]
    assert technician.post_sync([], limits=told["mark"]).json["limits"] is None
    assert technician.post_sync([]).json["limits"] is None  # an app that knows nothing of it
    assert technician.post_sync([], limits="x" * 41).status_code == 422
