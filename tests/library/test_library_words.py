"""How the checklists are written: one action a step, a reason each, short sentences, no addresses."""

import json
import re

import pytest

from webapp.library import loader
from webapp.library.references import CHECK_ORDER

LONGEST_STEP = 140
MOST_WORDS = 20  # in one sentence of a step or caution
MOST_WORDS_OF_A_REASON = 22
MEAN_WORDS = 10  # over all sentences of a check
LONG_WORD = 13
SHARE_OF_LONG_WORDS = 0.03

PLUGS_OFF = ("spring", "resistance", "metering", "hold", "regulator_return", "sensor", "injector_electrical")


def sentences(text: str) -> list[list[str]]:
    """Return the sentences of a text as lists of words."""
    parts = re.split(r"(?<=[.!?:;])\s+", text)
    return [words for words in (re.findall(r"[A-Za-z0-9'-]+", part) for part in parts) if words]


@pytest.fixture(params=CHECK_ORDER)
def check(request: pytest.FixtureRequest, catalogue: dict) -> dict:
    return next(row for row in catalogue["checks"] if row["id"] == request.param)


def test_length_of_the_list(check: dict) -> None:
    assert 5 <= len(check["steps"]) <= 14


def test_one_action_a_step(check: dict) -> None:
    for step in check["steps"]:
        assert len(step["text"]) <= LONGEST_STEP, step["id"]
        assert " then " not in step["text"], step["id"]
        assert "  " not in step["text"], step["id"]
        assert step["text"][-1] in ".?", step["id"]
        assert step["text"].count(".") <= 2, step["id"]


def test_every_step_teaches_why(check: dict) -> None:
    reasons = [step["why"] for step in check["steps"]]
    assert all(len(reason) >= 25 and reason[-1] in ".?" for reason in reasons)
    assert len(set(reasons)) == len(reasons)


def test_short_sentences(check: dict) -> None:
    lengths = []
    for step in check["steps"]:
        for text, most in ((step["text"], MOST_WORDS), (step["why"], MOST_WORDS_OF_A_REASON)):
            for words in sentences(text):
                assert len(words) <= most, " ".join(words)
                lengths.append(len(words))
    assert sum(lengths) / len(lengths) <= MEAN_WORDS


def test_plain_words(check: dict) -> None:
    words = [w for step in check["steps"] for t in (step["text"], step["why"]) for s in sentences(t) for w in s]
    long = [word for word in words if len(word) >= LONG_WORD]
    assert len(long) <= SHARE_OF_LONG_WORDS * len(words), long


def test_every_check_warns(check: dict) -> None:
    assert check["cautions"]


def test_hazards_carry_their_caution(check: dict) -> None:
    """A step that turns the starter, drives from outside or opens a line says so with its caution."""
    for step in check["steps"]:
        text = step["text"].lower()
        if re.match(r"crank |let a helper crank|switch the drive on|collect", text) or " crank once" in text:
            assert step["caution"] in ("cranking", "outside_drive", "jets"), step["id"]
        if re.match(r"open .*(line|drain)|join .*gauge|take the return fittings", text):
            assert step["caution"] == "opening", step["id"]
        if re.match(r"switch outside drive|connect outside drive", text):
            assert step["caution"] == "outside_drive", step["id"]


def test_short_bursts_and_rests(check: dict) -> None:
    """No burst beyond five seconds, and a rest wherever the starter turns twice."""
    texts = [step["text"] for step in check["steps"]]
    for text in texts:
        for seconds in re.findall(r"[Cc]rank for (\w+) seconds", text):
            assert seconds in ("two", "five"), text
    measured = [step for step in check["steps"] if step["quantity"] and step["caution"] == "cranking"]
    if len(measured) > 1:
        assert any("rest" in text.lower() for text in texts)


def test_plugs_go_back_and_codes_are_cleared(catalogue: dict) -> None:
    for check in [row for row in catalogue["checks"] if row["id"] in PLUGS_OFF]:
        ending = " ".join(step["text"] for step in check["steps"][-4:])
        assert re.search(r"plug.*(back|home)|[Pp]ut .*back", ending), check["id"]
        assert re.search(r"[Cc]lear the codes", ending), check["id"]


def test_an_unplugged_actuator_gets_a_dummy_load(catalogue: dict) -> None:
    for check in [row for row in catalogue["checks"] if row["id"] in ("spring", "metering", "hold", "regulator_return")]:
        texts = [step["text"] for step in check["steps"]]
        pulled = next(i for i, text in enumerate(texts) if text.startswith("Pull the"))
        loaded = next(i for i, text in enumerate(texts) if "dummy load into the control unit's side" in text)
        cranked = next(i for i, text in enumerate(texts) if re.search(r"[Cc]rank for", text))
        assert pulled < loaded < cranked, check["id"]


def test_the_support_supply_comes_before_any_cranking(catalogue: dict) -> None:
    battery = next(row for row in catalogue["checks"] if row["id"] == "battery")
    texts = [step["text"] for step in battery["steps"]]
    support = next(i for i, text in enumerate(texts) if "Connect the support supply" in text)
    assert support < next(i for i, text in enumerate(texts) if "Crank for" in text)
    for check in catalogue["checks"]:
        if "battery" in check["needs"]:
            assert any("Support supply" in text for text in check["preconditions"]), check["id"]


def test_nothing_is_opened_before_time_and_sensor_agree(catalogue: dict) -> None:
    for name in ("regulator_return", "relief_return", "injector_return"):
        check = next(row for row in catalogue["checks"] if row["id"] == name)
        opened = next(i for i, s in enumerate(check["steps"]) if re.match(r"(Open|Take the return)", s["text"]))
        before = " ".join(step["text"] for step in check["steps"][:opened])
        assert "waiting time" in before or "vehicle maker's time" in before, name
        assert "pressure gone on the sensor" in before, name


def test_only_the_rise_has_a_timer(catalogue: dict) -> None:
    timed = [(c["id"], s["quantity"]) for c in catalogue["checks"] for s in c["steps"] if s["timer"]]
    assert timed == [("crank", "crank_rise_time"), ("retest", "crank_rise_time")]


def test_cautions_are_short(catalogue: dict) -> None:
    for caution in catalogue["cautions"]:
        assert len(caution["text"]) <= 7, caution["id"]
        for text in caution["text"]:
            for words in sentences(text):
                assert len(words) <= MOST_WORDS, " ".join(words)


def test_unproven_first_aid_is_marked(catalogue: dict) -> None:
    assert any("to be confirmed by a clinician" in row["status"] for row in catalogue["injury"]["sources"])


def test_no_addresses_or_paths() -> None:
    for path in loader.FOLDER.rglob("*.json"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"https?://|localhost|/home/|\\\\|TODO", text), path.name
        assert json.loads(text)
