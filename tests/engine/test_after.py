"""What follows the evidence: naming the pump on one's own responsibility, and the standing of the repair."""

import pytest

from tests.engine.scenes import make_case, read
from tests.engine.test_entries import BOOK, entry
from webapp.engine.entries import check_entry, fold_log
from webapp.engine.judge import judge_case, judge_folded

NAMED = entry(50, "concluded", {"fault": "pump_worn", "text": "The pump."})
ANSWERED = entry(40, "gate_overridden", {"reason": "Metal in the tank, seen with the owner (invented)."})
LOW = entry(10, "reading_taken", {"quantity": "crank_pressure", "value": 120})
REPAIR = entry(60, "repair_recorded", {"text": "injector 4 replaced"})


def judge(*log: dict) -> dict:
    assert [problem for row in log for problem in check_entry(row, BOOK)] == []
    return judge_folded(fold_log(list(log), BOOK), BOOK)


def after(number: int, quantity: str, value: object, **more: object) -> dict:
    return entry(number, "reading_taken", {"quantity": quantity, "value": value, "phase": "after_repair", **more})


def test_the_latest_override_counts_and_reopening_takes_it_back() -> None:
    later = entry(41, "gate_overridden", {"reason": "a second opinion"})
    folded = fold_log([later, ANSWERED], BOOK)["gate_override"]
    assert folded == {"reason": "a second opinion", "entry": later["id"], "at": later["at"], "by": "technician"}
    assert fold_log([ANSWERED, entry(42, "reopened", {"reason": "x"})], BOOK)["gate_override"] is None
    assert fold_log([LOW], BOOK)["gate_override"] is None


def test_an_override_changes_neither_the_standing_nor_the_conclusion() -> None:
    plain, overridden = judge(LOW), judge(LOW, ANSWERED)
    assert overridden["pump"].pop("override") == {
        "reason": ANSWERED["body"]["reason"], "by": "technician", "at": ANSWERED["at"],
    }  # fmt: skip
    assert plain["pump"].pop("override") is None
    assert overridden["pump"]["status"] == "open"
    assert overridden["conclusion"] is None
    assert overridden == plain


def test_a_pump_named_without_evidence_is_remarked() -> None:
    found = judge(LOW, NAMED)
    assert found["pump"]["warning"].startswith("The pump was named although evidence is missing: cranking speed, ")
    assert found["pump"]["warning"] in found["notes"]
    for log in ([LOW], [LOW, ANSWERED, NAMED], [LOW, NAMED, entry(51, "reopened", {"reason": "x"})]):
        assert judge(*log)["pump"]["warning"] is None
    other = entry(50, "concluded", {"fault": "air_in_supply"})
    assert judge(LOW, other)["pump"]["warning"] is None


@pytest.mark.parametrize("reason", [None, "", " \n", 7])
def test_an_override_needs_its_reason(reason: object) -> None:
    body = {} if reason is None else {"reason": reason}
    assert [row.field for row in check_entry(entry(1, "gate_overridden", body), BOOK)] == ["body.reason"]


RETESTS = [
    ("nothing repaired", [LOW], "not_due"),
    ("only concluded", [LOW, NAMED], "not_due"),
    ("confirmed without a repair", [LOW, entry(70, "outcome_confirmed", {"fault": None})], "not_due"),
    ("repaired", [LOW, REPAIR], "due"),
    ("one of two read", [REPAIR, after(61, "crank_pressure", 320)], "due"),
    ("both pass", [REPAIR, after(61, "crank_pressure", 320), after(62, "crank_rise_time", 0.8)], "passed"),
    ("one fails, one missing", [REPAIR, after(61, "crank_pressure", 150)], "failed"),
    ("read again and good", [REPAIR, after(61, "crank_pressure", 150), after(62, "crank_pressure", 320),
                             after(63, "crank_rise_time", 0.8)], "passed"),
    ("another reading fails", [REPAIR, after(61, "crank_pressure", 320), after(62, "crank_rise_time", 0.8),
                               after(63, "external_leak", "leak")], "failed"),
    ("hardly possible", [REPAIR, after(61, "crank_pressure", 3200), after(62, "crank_rise_time", 0.8)], "unclear"),
    ("could not be measured", [REPAIR, after(61, "crank_pressure", 320), entry(62, "not_measured", {
        "quantity": "crank_rise_time", "reason": "no signal", "phase": "after_repair"})], "unclear"),
    ("confirmed after a retest", [REPAIR, after(61, "crank_pressure", 320), after(62, "crank_rise_time", 0.8),
                                  entry(70, "outcome_confirmed", {"fault": None})], "passed"),
    ("confirmed without a retest", [REPAIR, entry(70, "outcome_confirmed", {"fault": None})], "unclear"),
    ("opened again", [REPAIR, after(61, "crank_pressure", 150), entry(70, "reopened", {"reason": "x"})], "not_due"),
    ("repaired a second time", [REPAIR, after(61, "crank_pressure", 150),
                                entry(70, "repair_recorded", {"text": "regulator replaced"})], "due"),
]  # fmt: skip


@pytest.mark.parametrize("row", RETESTS, ids=[row[0] for row in RETESTS])
def test_the_standing_of_the_repair(row: tuple) -> None:
    _, log, status = row
    found = judge(*log)["retest"]
    assert found["status"] == status
    assert found["text"].endswith(".")
    assert found["text"].count(".") == 1


def test_an_opened_case_says_that_old_readings_still_count() -> None:
    log = [LOW, REPAIR, after(61, "crank_pressure", 150), entry(70, "reopened", {"reason": "x"})]
    assert "from before it still count" in judge(*log)["retest"]["text"]


def test_a_second_repair_asks_for_all_of_the_retest_again() -> None:
    log = [REPAIR, after(61, "crank_pressure", 150), entry(62, "not_measured", {
        "quantity": "crank_rise_time", "reason": "target not reached", "phase": "after_repair"})]  # fmt: skip
    assert judge(*log)["next"] == []
    found = judge(*log, entry(70, "repair_recorded", {"text": "regulator replaced"}))
    assert found["next"][0]["quantities"] == ["crank_pressure", "crank_rise_time"]
    assert [row["phase"] for row in found["verdicts"]] == ["after_repair"]


def test_a_case_document_without_folding_has_both_keys() -> None:
    found = judge_case(make_case(read("crank_pressure", 292)), BOOK)
    assert found["retest"] == {"status": "not_due", "text": "No retest is due."}
    assert (found["pump"]["override"], found["pump"]["warning"]) == (None, None)
