"""Scan answers: the text forms of adapters, what is not supported, refusals; the vectors are rows of cases/scan.json."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.engine.problems import EngineError
from webapp.engine.scan import decode_scan


def values(text: str) -> dict:
    return {row["name"]: row["value"] for row in decode_scan({"text": text})["values"]}


FORMS = [
    "41 23 0B B8", "41230BB8", "41 23 0b b8\r\r>", "7E8 04 41 23 0B B8", "7E80441230BB8", "18DAF110 04 41 23 0B B8",
    "18 DA F1 10 04 41 23 0B B8", "7E8 04 41 23 0B B8 00 00 00", "01 23\r41 23 0B B8\r>", "SEARCHING...\n41 23 0B B8",
    "48 6B 10 41 23 0B B8 5C", "41 0C 03 20 23 0B B8",
]  # fmt: skip


@pytest.mark.parametrize("text", FORMS)
def test_every_form_of_the_same_answer(text: str) -> None:
    found = decode_scan({"text": text})
    assert values(text)["rail_pressure"] == pytest.approx(300.0)
    assert found["warnings"] == []


LONG = ["41 6D 3F 0B B8 0A 8C 5A 0B C2 0A 96 5B", "00D\n0: 41 6D 3F 0B B8 0A\n1: 8C 5A 0B C2 0A 96 5B",
        "7E8 10 0D 41 6D 3F 0B B8 0A\n7E8 21 8C 5A 0B C2 0A 96 5B", "0:416D3F0BB80A\n1:8C5A0BC20A965BAAAA"]  # fmt: skip


@pytest.mark.parametrize("text", LONG)
def test_a_long_answer_in_frames(text: str) -> None:
    wanted = {"commanded_rail_pressure": 300, "rail_pressure": 270, "rail_temperature": 50,
              "commanded_rail_pressure_b": 301, "rail_pressure_b": 271, "rail_temperature_b": 51}  # fmt: skip
    assert values(text) == pytest.approx(wanted)


@given(st.integers(0, 65535))
def test_every_rail_pressure_comes_back(raw: int) -> None:
    assert values(f"41 23 {raw >> 8:02X} {raw & 255:02X}")["rail_pressure"] == pytest.approx(raw * 0.1)


def test_only_supported_parts_of_the_pressure_system_are_given() -> None:
    assert set(values("41 6D 02 0B B8 0A 8C 5A")) == {"rail_pressure"}


def test_support_bits_name_what_there_is() -> None:
    found = decode_scan({"text": "41 20 20 00 00 01\n41 40 40 00 00 00\n41 23 0B B8\n41 22 00 01"})
    assert found["supported"] == ["0x23", "0x40", "0x42"]
    assert found["warnings"] == ["0x22 was answered although the control unit says that it is not supported."]


SAID = [
    ("7F 01 12", "not supported"),
    ("7E8 03 7F 01 22", "not now"),
    ("NO DATA", "No answer"),
    ("41 0C 1A", "cut short: 1 of 2"),
    ("43 01 00 87", "0x43 is not an answer"),
    ("41 99 01", "0x99 is not read here"),
]


@pytest.mark.parametrize(("text", "words"), SAID)
def test_what_is_no_value_is_said(text: str, words: str) -> None:
    found = decode_scan({"text": text})
    assert found["values"] == []
    assert any(words in warning for warning in found["warnings"])


ANSWER = "41 23 0B B8"
REFUSED = [
    ({}, "text"),
    ({"text": "  "}, "text"),
    ({"text": "41 0C\n41 0G 1"}, "text, line 2"),
    ({"text": "41 0"}, "text, line 1"),
    ({"rows": []}, "rows"),
    ({"rows": [{"t": "0", "text": ANSWER}]}, "rows[0].t"),
    ({"rows": [{"t": 1, "text": ANSWER}, {"t": 0, "text": ANSWER}]}, "rows[1].t"),
    ({"rows": [{"t": 1, "text": "hello"}]}, "rows[0].text, line 1"),
]


@pytest.mark.parametrize(("request_", "field"), REFUSED, ids=range(len(REFUSED)))
def test_refused_by_name(request_: dict, field: str) -> None:
    with pytest.raises(EngineError) as caught:
        decode_scan(request_)
    assert caught.value.field == field


@given(st.text(alphabet="0123456789ABCDEF \n>:", max_size=80))
def test_any_hex_text_is_read_or_refused(text: str) -> None:
    try:
        found = decode_scan({"text": text})
    except EngineError as error:
        found = {"values": [], "supported": [], "warnings": [error.field]}
    assert found["values"] or found["supported"] or found["warnings"]


def test_a_series_becomes_a_trace() -> None:
    rows = [{"t": 0.25 * i, "text": f"41 23 {10 * i:04X}\n41 42 30 D4"} for i in range(12)]
    found = decode_scan({"rows": rows})
    assert found["pressure"] == "rail_pressure"
    assert found["trace"]["t"] == [0.25 * i for i in range(12)]
    assert found["trace"]["p"] == pytest.approx([1.0 * i for i in range(12)])
    assert found["trace"]["battery_v"] == pytest.approx([12.5] * 12)


def test_a_series_without_pressure_says_so() -> None:
    found = decode_scan({"rows": [{"t": 0, "text": "41 0C 03 20"}]})
    assert found["pressure"] is None
    assert found["warnings"] == ["No rail pressure is among the answers."]
