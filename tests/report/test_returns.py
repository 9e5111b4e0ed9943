"""Injector return drawn: one scale for before and after, the outside cylinder told by shape and word."""

import re

from webapp.report.returns import lay_out_returns


def verdict(rates: list, cylinders: list, phase: str = "before") -> dict:
    detail = {"rates": rates, "cylinders": cylinders}
    return {"quantity": "injector_return", "phase": phase, "detail": detail, "limit_text": "each at most 2 times the others"}


def ends(row: dict) -> list[float]:
    return [float(end) for end in re.findall(r"H([\d.]+)V", row["svg"])]


def test_before_and_after_are_drawn_on_one_scale():
    before, after = lay_out_returns([verdict([20, 116], [2]), verdict([20, 22], [], "after_repair")])
    assert ends(before)[0] == ends(after)[0]
    assert ends(before)[1] > 4 * ends(before)[0] - 3 * 120, "bars are as long as the flow"
    assert "cylinder 2 116 mL/min, outside" in before["caption"]
    assert before["svg"].count("fill=") == 1
    assert after["svg"].count("fill=") == 0
    assert after["caption"].startswith("Injector return after the repair: cylinder 1 20 mL/min")


def test_only_the_last_reading_of_a_phase_is_drawn():
    rows = lay_out_returns([verdict([20, 116], [2]), verdict([20, 21], [])])
    assert len(rows) == 1
    assert "21 mL/min" in rows[0]["caption"]


def test_what_cannot_be_drawn_is_left_out():
    assert lay_out_returns([]) == []
    assert lay_out_returns([{**verdict([], []), "detail": {}}]) == []
    assert lay_out_returns([verdict([1e300], [])]) == []


def test_no_flow_at_all_is_drawn():
    assert "0 mL/min" in lay_out_returns([verdict([0, 0], [])])[0]["caption"]
