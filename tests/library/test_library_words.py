"""How the checklists are written: one action a step, a reason each, short sentences, no names that are not ours."""

import hashlib
import json
import re
from collections.abc import Iterator

import pytest

from webapp.library import loader
from webapp.library.references import CHECK_ORDER

LONGEST_STEP = 140
MOST_WORDS = 20  # in one sentence of a step or caution
MOST_WORDS_OF_A_REASON = 22
MEAN_WORDS = 10  # over all sentences of a check
LONG_WORD = 13
SHARE_OF_LONG_WORDS = 0.03

# Names of makers, vehicles, products and tools that must not appear. Kept as hashes, so that this file does not hold them
# either: the first 12 hex digits of SHA-256 of 'railcase ' and the name in lower case.
NAMES = set(
    """
    00d5fe442d24 022cdb7a5313 06f6e4878791 0b21d40f1edb 0b7c523830ce 14daf171ee2e 17340465ba7e 1b4f2f147cf6
    1f21876d5081 1f74ebf7a82d 23f1be4b16d5 25d3341e7386 2637aca83887 264d1e17f608 28b30f5f6ad5 29323e5fca9a
    29dfd53426e4 2a01181756b2 2bcaeb0590ad 2d9d9167023e 2de693ed6e2c 2eadb80ff8e4 2edf50066afb 320de455dd34
    3654efd6e7c8 439aca96aa15 4b0694adeca8 4b941de2a658 4f0c1312089b 4f585dbba1c4 50debe07aecb 51addd48c625
    53d75a0650f3 567f7dcdbd17 57fd187daeb5 5b9c85389345 5c26836a4d3f 656fb66a1627 65893d25bb2b 69da6340081b
    6dfe00ee5c76 70988fa44966 7458b340fbd3 7547b702746b 75ae8cb875df 7babeb10364f 7d0c67a265b3 7d21b8e3fa1d
    877bb2d46c9f 8987fefb475d 8e531b723adc 8eedab0effbe 9009143fe550 928aa99d1bb0 987fa3200c2b 9a3e9e04204a
    9aaf77b5f25e 9f9ee2fb882a a1a31e654468 ae7da1829915 afd45cc39d90 b120c1f496f3 b4ba1343541e b67870c1c19d
    bb7a1aa0d3e2 bcffe3aa0db8 c02392d8b867 c16f9d7b8954 c1d504bd9756 c5cdc0b36f61 c9f23327c1d1 cac943fcc2a0
    caed79c00baf d25117a7884e d4f5330e4cc8 d50de07e8538 d5a790c0758f d6dde8e04eeb d89bdd90b9c0 db986cb281c4
    dcae9bc55e8a de13b266f635 dedccc7faad4 e02a0acf01fb e1ea830f15c7 e22967629267 e3180e46b06d e47164158f41
    e4efbb5d3979 e9c9cd900515 ed86881c779b f6cb0b1ac9a0 f8fc7524ce55 fcba59b77640 ff7b64c3dddd
""".split()
)  # noqa: SIM905

PLUGS_OFF = ("spring", "resistance", "metering", "hold", "regulator_return", "sensor", "injector_electrical")


def hash_name(word: str) -> str:
    return hashlib.sha256(f"railcase {word}".encode()).hexdigest()[:12]


def sentences(text: str) -> list[list[str]]:
    """Return the sentences of a text as lists of words."""
    parts = re.split(r"(?<=[.!?:;])\s+", text)
    return [words for words in (re.findall(r"[A-Za-z0-9'-]+", part) for part in parts) if words]


def texts_of(data: object) -> Iterator[str]:
    """Yield every piece of text in a JSON value, keys included."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for key, value in data.items():
            yield key
            yield from texts_of(value)
    elif isinstance(data, list):
        for value in data:
            yield from texts_of(value)


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


def test_no_names_of_makers_or_products(catalogue: dict) -> None:
    words = {w for text in texts_of(catalogue) for w in re.findall(r"[a-z0-9]+", text.lower())}
    assert not [word for word in words if hash_name(word) in NAMES]


def test_no_addresses_or_paths() -> None:
    for path in loader.FOLDER.rglob("*.json"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"https?://|localhost|/home/|/work/|\\\\|TODO", text), path.name
        assert json.loads(text)
