"""The quick look at an entry never lets through what the schema or the engine would refuse."""

from hypothesis import given
from hypothesis import strategies as some

from webapp.engine.entries import check_entry
from webapp.store import shape
from webapp.store.judging import book
from webapp.store.scope import new_id

GOOD = {"id": new_id(), "case": new_id(), "device": "d", "seq": 1, "clock": 1, "at": "2026-11-24T09:00:00Z", "by": "me",
        "kind": "odd", "body": {}}  # fmt: skip
VALUES = (
    some.none() | some.booleans() | some.integers(-2, 3) | some.sampled_from([10**9, 10**9 + 1, 2**53, 1.0, 1.5])
    | some.text(max_size=3)
    | some.sampled_from([GOOD["id"], GOOD["id"].upper(), GOOD["id"] + "\n", "a" * 64, "a" * 65, "a\n",
      "2026-11-24", "2026-11-24T09:00:00+02:00", "20261124T09:00:00.123456789+00:00", "x" * 41])
    | some.lists(some.none(), max_size=1) | some.dictionaries(some.text(max_size=2), some.none(), max_size=1)
)  # fmt: skip


@given(some.dictionaries(some.sampled_from([*GOOD, "extra"]), VALUES, max_size=3), some.sets(some.sampled_from([*GOOD])))
def test_well_formed_is_no_wider_than_the_schema_and_the_engine(changes, missing):
    kept = {key: value for key, value in GOOD.items() if key not in missing or len(missing) > 2}
    entry = {**kept, **changes}
    if shape.is_well_formed(entry):
        assert shape.ENTRY.validate(entry) == {}
        assert check_entry(entry, book()) == []
    else:
        assert shape.list_schema_problems(entry)


def test_a_good_entry_is_well_formed():
    assert shape.is_well_formed(GOOD)
    assert not any(shape.is_well_formed({**GOOD, key: None}) for key in GOOD)
