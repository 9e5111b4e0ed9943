"""The workshop's own limits: versions that stay, what they build on, what they would do to cases, files."""

import json

import pytest

from tests.conftest import BOTH, own_workshop
from webapp.store import cases, limit_effects, limit_files, limits, people, projection
from webapp.store.limit_files import BadFile
from webapp.store.refusals import Conflict, Refusal
from webapp.store.scope import find_workshop

DATABASES = BOTH


def office_of(workshop) -> tuple[str, str]:
    person = next(row for row in people.list_people(workshop) if row.role == "office")
    return person.id, person.name


def add(database, name="Vans 2.0", kind="family", base="generic") -> str:
    with database.writing() as session:
        workshop = own_workshop(session)
        return limits.add_profile(workshop, name, kind, base, office_of(workshop)[0]).profile


def low(quantity: str, value: float, note: str = "Seen on sound engines") -> dict:
    return {quantity: {**limits.library_limits()[quantity], "low": value, "basis": "judgement", "note": note}}


def publish(database, profile: str, seen: int, changes: dict) -> str:
    with database.writing() as session:
        workshop = own_workshop(session)
        row = limits.publish(workshop, profile, seen, changes, "for the test", *office_of(workshop))
        return limits.make_key(row.profile, row.version)


def measure(phone, key: str, bar: float, quantity: str = "crank_pressure") -> str:
    """A case under a profile, with one reading, sent."""
    answer = phone.sync([*phone.opening(), phone.entry("limits_set", {"profile": key}), phone.reading(quantity, bar)])
    assert [row["status"] for row in answer["results"]] == ["stored"] * 4, answer
    return phone.case


def verdict(database, case: str) -> str:
    with database.reading() as session:
        return cases.get_case(own_workshop(session), case).assessment["verdicts"][0]["verdict"]


def test_a_case_is_judged_under_the_version_it_names(database, technician):
    profile = add(database)
    assert (profile, publish(database, profile, 1, low("crank_pressure", 250))) == ("vans-2-0", "vans-2-0.2")
    case = measure(technician, "vans-2-0.2", 270)
    assert verdict(database, case) == "pass"
    technician.sync([technician.entry("limits_set", {"profile": "vans-2-0.1"})])
    assert verdict(database, case) == "fail"
    with database.reading() as session:
        assert cases.get_case(own_workshop(session), case).assessment["limits"] == {
            "profile": "vans-2-0.1", "version": 1, "weights": None,
        }  # fmt: skip


def test_what_was_reported_stays_when_limits_change(database, technician):
    profile = add(database)
    case = measure(technician, "vans-2-0.1", 290)
    told = {"text": "Pressure is there", "limits": {"profile": "vans-2-0.1", "version": 1},
            "verdicts": [{"reading": "x", "verdict": "pass"}]}  # fmt: skip
    technician.sync([technician.entry("concluded", told)])
    with database.reading() as session:
        before = cases.get_case(own_workshop(session), case)
    publish(database, profile, 1, low("crank_pressure", 320))
    with database.writing() as session:
        projection.rebuild(own_workshop(session))
    with database.reading() as session:
        workshop = own_workshop(session)
        after = cases.get_case(workshop, case)
        other = limit_effects.compare_under(workshop, after.document, after.assessment, "vans-2-0.2")
    assert (after.document, after.assessment) == (before.document, before.assessment)
    assert after.assessment["verdicts"][0]["verdict"] == "pass"
    assert [row["after"]["verdict"] for row in other["verdicts"]] == ["fail"]


def test_a_version_keeps_what_held_when_it_was_published(database):
    family = add(database)
    vehicle = add(database, "The red one", "vehicle", family)
    publish(database, family, 1, low("crank_pressure", 250))
    with database.reading() as session:
        workshop = own_workshop(session)
        assert limits.read_whole(limits.get_version(workshop, vehicle))["crank_pressure"]["low"] == 285
    publish(database, vehicle, 1, low("spring_pressure", 50))
    publish(database, family, 2, low("crank_pressure", 240))
    with database.reading() as session:
        workshop = own_workshop(session)
        row = limits.get_version(workshop, vehicle)
        assert (row.version, row.base) == (2, "vans-2-0.2")
        whole = limits.read_whole(row)
        assert (whole["crank_pressure"]["low"], whole["spring_pressure"]["low"]) == (250, 50)
        assert list(json.loads(row.own)) == ["spring_pressure"]


def test_a_limit_goes_back_to_what_it_builds_on(database):
    profile = add(database)
    publish(database, profile, 1, low("crank_pressure", 250))
    publish(database, profile, 2, {"crank_pressure": None})
    with database.reading() as session:
        row = limits.get_version(own_workshop(session), profile)
        assert (json.loads(row.own), limits.read_whole(row)) == ({}, limits.library_limits())


def test_the_second_of_two_editors_overwrites_nothing(database):
    profile = add(database)
    publish(database, profile, 1, low("crank_pressure", 250))
    with pytest.raises(Conflict, match="Version 2 was published meanwhile"):
        publish(database, profile, 1, low("crank_pressure", 200))
    with database.reading() as session:
        rows = limits.list_versions(own_workshop(session), profile)
        assert [(row.version, limits.read_whole(row)["crank_pressure"]["low"]) for row in rows] == [(2, 250), (1, 285)]


def test_each_limit_says_who_answers_for_it_and_since_when(database):
    profile = add(database)
    publish(database, profile, 1, low("crank_pressure", 250))
    with database.reading() as session:
        row = limits.read_whole(limits.get_version(own_workshop(session), profile))["crank_pressure"]
    assert (row["checked_by"], len(row["checked_on"]), row["note"]) == ("office of own", 10, "Seen on sound engines")


BAD_CHANGES = [
    ("nothing new", {}, "changes nothing"),
    ("unknown quantity", {"colour": None}, "not a limit known here"),
    ("sides swapped", low("spring_pressure", 200), "not below high"),
    ("impossible", low("crank_pressure", -50), "lies outside the possible"),
    ("a sheet without its title", {"crank_pressure": {**low("crank_pressure", 1)["crank_pressure"],
      "basis": "maker's sheet"}}, "needs a source"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "changes", "told"), BAD_CHANGES, ids=[row[0] for row in BAD_CHANGES])
def test_bad_changes_are_refused_by_name(database, name, changes, told):
    profile = add(database)
    with pytest.raises(Refusal, match=told):
        publish(database, profile, 1, changes)


def test_a_base_is_more_general(database):
    family = add(database)
    for kind in ("family", "workshop"):
        with pytest.raises(Refusal, match="more general"):
            add(database, f"another {kind}", kind, family)
    with pytest.raises(Conflict, match="there is a profile of this name"):
        add(database, "VANS 2.0")


def test_what_would_change_is_shown_before(database, technician):
    profile = add(database)
    case = measure(technician, "vans-2-0.1", 290)
    for bar, changed in ((310, [case]), (280, [])):
        with database.reading() as session:
            workshop = own_workshop(session)
            made = limits.draft(workshop, limits.get_version(workshop, profile), low("crank_pressure", bar))
            effects = limit_effects.list_effects(workshop, made)
        assert ([row["row"].id for row in effects.cases], effects.tried) == (changed, 1)
    publish(database, profile, 1, low("crank_pressure", 310))
    with database.reading() as session:
        assert [row.id for row in limit_effects.list_behind(own_workshop(session), profile, 2)] == [case]


def test_other_workshops_know_nothing_of_it(database, technician, other_workshop):
    publish(database, add(database), 1, low("crank_pressure", 250))
    answer = other_workshop.sync([*other_workshop.opening(), other_workshop.entry("limits_set", {"profile": "vans-2-0.2"})])
    assert answer["results"][2]["problems"][0]["field"] == "body.profile"
    with database.reading() as session:
        assert limits.list_versions(find_workshop(session, "other")) == []


def export(database, profile: str) -> str:
    with database.reading() as session:
        return limit_files.write_csv(limits.get_version(own_workshop(session), profile))


def test_an_export_taken_in_again_changes_nothing(database):
    profile = add(database)
    publish(database, profile, 1, low("crank_pressure", 250, "=1+1 is a note, not a formula"))
    with database.reading() as session:
        row = limits.get_version(own_workshop(session), profile)
        whole = limits.read_whole(row)
        for text in (limit_files.write_csv(row), limit_files.write_json(row)):
            assert limit_files.read_file(text.encode(), whole) == {}
        assert "'=1+1" in limit_files.write_csv(row)
        from_library = limit_files.read_file(limit_files.write_csv(row).encode(), limits.library_limits())
    assert from_library["crank_pressure"] == whole["crank_pressure"]


def test_a_spreadsheet_with_semicolons_and_decimal_commas():
    text = "\ufeffquantity;unit;high;note\r\ncrank_rise_time;s;1,25;our own\r\n"
    changes = limit_files.read_file(text.encode(), limits.library_limits())
    assert [(name, row["high"], row["note"]) for name, row in changes.items()] == [("crank_rise_time", 1.25, "our own")]


BAD_FILES = [
    ("no number", "quantity,unit,low\ncrank_pressure,bar,abc\n", "row 2, column low: 'abc' is no number"),
    ("decimal comma", 'quantity,unit,low\ncrank_pressure,bar,"2,5"\n', "has a point"),
    ("unknown quantity", "quantity,unit,low\n\ncolour,bar,1\n", "row 3, column quantity: 'colour' is not a quantity"),
    ("twice", "quantity,unit,low\ncrank_pressure,bar,1\ncrank_pressure,bar,2\n", "row 3, column quantity"),
    ("other unit", "quantity,unit,low\ncrank_pressure,psi,4000\n", "row 2, column unit: 'psi' must be"),
    ("unknown column", "quantity,unit,colour\ncrank_pressure,bar,1\n", "row 1, column colour"),
    ("missing column", "quantity,low\ncrank_pressure,1\n", "row 1, column unit: this column is missing"),
    ("too many cells", "quantity,unit\ncrank_pressure,bar,1\n", "row 2, column 3"),
    ("infinite", "quantity,unit,low\ncrank_pressure,bar,inf\n", "row 2, column low"),
    ("swapped", "quantity,unit,low\nspring_pressure,bar,200\n", "row 2, column low: low 200 is not below high 100"),
    ("no source", "quantity,unit,basis\ncrank_pressure,bar,measured\n", "row 2, column source"),
    ("no date", "quantity,unit,checked_on\ncrank_pressure,bar,tomorrow\n", "row 2, column checked_on"),
    ("not text", b"\xff\xfe\x00", "not UTF-8"),
    ("nothing", "", "row 1, column quantity"),
    ("no limit", "quantity,unit\n", "holds no limit"),
    ("not JSON", "{", "not readable as JSON"),
    ("other JSON", '{"format": "x"}', "railcase-limits/1"),
    ("bad row", json.dumps({"format": "railcase-limits/1", "limits": [3]}), "limits[0]: is not an object"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "text", "told"), BAD_FILES, ids=[row[0] for row in BAD_FILES])
def test_a_bad_file_is_refused_by_row_and_column(name, text, told):
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(BadFile) as refused:
        limit_files.read_file(data, limits.library_limits())
    assert told in " ".join(problem["text"] for problem in refused.value.problems)
