"""Cranking heard: generated starters in a workshop, on both interpreters; no number where the noise does not carry one."""

import itertools
import json
from functools import cache
from pathlib import Path

import pytest

from tests.engine.starter import FRAME_HZ, levels_of, make_sound
from tests.engine.test_phone import close_enough, run_phone
from webapp.engine.calls import Door
from webapp.engine.hearing import hear_cranking
from webapp.engine.problems import EngineError
from webapp.library.loader import load_catalogue

SPEED_TOLERANCE = 0.03
ONSET_TOLERANCE_S = 0.05
CYLINDERS = (3, 4, 5, 6)
SPEEDS_RPM = (120, 150, 185, 220, 265, 310, 350)
GRID = list(itertools.product(CYLINDERS, SPEEDS_RPM))


@cache
def heard(rpm: float, cylinders: int, snr_db: float, seed: int, bangs: int = 0) -> tuple:
    sound = make_sound(rpm, cylinders, snr_db, seed + 1000 * cylinders + 10 * int(rpm), bangs)
    levels = levels_of(sound.wave)
    return sound, levels, hear_cranking(levels, FRAME_HZ, cylinders)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(("cylinders", "rpm"), GRID)
def test_speed_and_onset_in_workshop_noise(cylinders: int, rpm: int, seed: int) -> None:
    sound, _, answer = heard(rpm, cylinders, 10.0, seed)
    assert answer["status"] == "heard"
    assert answer["speed_rpm"] == pytest.approx(sound.rpm, rel=SPEED_TOLERANCE)
    assert answer["onset_s"] == pytest.approx(sound.onset_s, abs=ONSET_TOLERANCE_S)
    assert answer["end_s"] == pytest.approx(sound.end_s, abs=0.1)


def test_the_uncertainties_cover_the_truth() -> None:
    """Two standard uncertainties hold at least 95 % of the errors over the grid (here they hold more)."""
    rows = [heard(rpm, cylinders, 10.0, seed)[::2] for cylinders, rpm in GRID for seed in (1, 2)]
    for key, unsure, truth in (("speed_rpm", "speed_u_rpm", "rpm"), ("onset_s", "onset_u_s", "onset_s")):
        held = [abs(answer[key] - getattr(sound, truth)) <= 2.0 * answer[unsure] for sound, answer in rows]
        assert sum(held) >= 0.95 * len(held), key


@pytest.mark.parametrize("snr_db", [0.0, -3.0, -10.0])
@pytest.mark.parametrize(("cylinders", "rpm"), GRID)
def test_no_number_where_noise_is_as_loud(cylinders: int, rpm: int, snr_db: float) -> None:
    _, _, answer = heard(rpm, cylinders, snr_db, 3)
    assert answer["status"] in ("noisy", "ready")
    assert [answer[key] for key in ("onset_s", "end_s", "speed_rpm")] == [None, None, None]


def test_it_says_that_it_is_noisy() -> None:
    said = [heard(rpm, cylinders, 0.0, 3)[2] for cylinders, rpm in GRID]
    assert {answer["status"] for answer in said} == {"noisy"}
    assert "too noisy" in said[0]["text"]


@pytest.mark.parametrize(("cylinders", "rpm"), GRID)
def test_bangs_do_not_change_the_speed(cylinders: int, rpm: int) -> None:
    sound, _, answer = heard(rpm, cylinders, 15.0, 4, 3)
    assert answer["speed_rpm"] == pytest.approx(sound.rpm, rel=SPEED_TOLERANCE)


@pytest.mark.parametrize("cylinders", CYLINDERS)
@pytest.mark.parametrize("rpm", [700, 850])
def test_a_running_engine_is_not_taken_for_cranking(cylinders: int, rpm: int) -> None:
    answer = heard(rpm, cylinders, 20.0, 5)[2]
    assert answer["speed_rpm"] is None
    assert "Did it start?" in answer["text"]


def test_while_it_grows() -> None:
    """First the place, then ready, then cranking with an onset that stays, at last the end."""
    sound, levels, whole = heard(220, 4, 20.0, 6)
    frames = [0.4, sound.onset_s - 0.1, sound.onset_s + 0.5, sound.onset_s + 2.5, len(levels) / FRAME_HZ]
    grown = [hear_cranking(levels[: int(s * FRAME_HZ)], FRAME_HZ, 4) for s in frames]
    assert [a["status"] for a in grown] == ["checking", "ready", "cranking", "cranking", "heard"]
    assert [a["onset_s"] is None for a in grown] == [True, True, False, False, False]
    assert [a["speed_rpm"] is None for a in grown] == [True, True, True, False, False]
    assert grown[2]["onset_s"] == pytest.approx(whole["onset_s"], abs=0.03)


@pytest.mark.parametrize("rpm", [140, 220, 320])
def test_a_record_that_grows_never_gives_up_too_early(rpm: int) -> None:
    """Each tenth of a second from before the burst until well into it: never called noisy, never a wrong speed."""
    sound, levels, _ = heard(rpm, 3, 10.0, 140)
    first, last = int((sound.onset_s - 0.1) * FRAME_HZ), int((sound.onset_s + 2.4) * FRAME_HZ)
    grown = [hear_cranking(levels[:count], FRAME_HZ, 3) for count in range(first, last, FRAME_HZ // 10)]
    assert {answer["status"] for answer in grown} == {"ready", "cranking"}
    speeds = [answer["speed_rpm"] for answer in grown if answer["speed_rpm"] is not None]
    assert speeds == pytest.approx([sound.rpm] * len(speeds), rel=SPEED_TOLERANCE)


@pytest.mark.parametrize("row", [("deaf", 0.0), ("too_loud", 0.99), ("ready", 0.01)], ids=lambda row: row[0])
def test_the_place(row: tuple) -> None:
    assert hear_cranking([row[1]] * 400, 200.0, 4)["status"] == row[0]


def test_a_single_bang_is_no_cranking() -> None:
    levels = [0.01] * 300 + [0.8] * 10 + [0.01] * 300
    assert hear_cranking(levels, 200.0, 4)["status"] == "ready"


def test_too_short_for_a_speed() -> None:
    sound = make_sound(220, 4, 20.0, 7, crank_s=1.2)
    answer = hear_cranking(levels_of(sound.wave), FRAME_HZ, 4)
    assert (answer["status"], answer["speed_rpm"]) == ("heard", None)
    assert "five seconds" in answer["text"]


REFUSED = [
    ((None, 200, 4), "levels"), (([0.1, "x"], 200, 4), "levels[1]"), (([0.1, -0.1], 200, 4), "levels[1]"),
    (([0.1], 20, 4), "rate_hz"), (([0.1], None, 4), "rate_hz"), (([0.1], 200, 0), "cylinders"),
    (([0.1], 200, 4.5), "cylinders"), (([0.1] * 6001, 200, 4), "levels"),
]  # fmt: skip


@pytest.mark.parametrize("row", REFUSED, ids=lambda row: row[1])
def test_what_is_no_record_is_refused_by_name(row: tuple) -> None:
    with pytest.raises(EngineError) as refused:
        hear_cranking(*row[0])
    assert refused.value.problems[0].field == row[1]


def test_the_phone_hears_the_same(tmp_path: Path) -> None:
    """The whole grid once more on the interpreter that ships to phones: the server's answers, so within its tolerances."""
    catalogue = json.dumps(load_catalogue())
    door = Door(catalogue)
    rows = [heard(rpm, cylinders, snr_db, 1) for cylinders, rpm in GRID for snr_db in (10.0, 0.0)]
    asked = [
        {"levels": levels, "rate_hz": FRAME_HZ, "cylinders": cylinders}
        for (_, levels, _), (cylinders, _) in zip(rows, [g for g in GRID for _ in (1, 2)], strict=True)
    ]
    (tmp_path / "catalogue.json").write_text(catalogue)
    (tmp_path / "calls.json").write_text(json.dumps([["hear", row] for row in asked]))
    printed = run_phone("phone_calls.py", tmp_path / "catalogue.json", tmp_path / "calls.json")
    assert len(printed) == len(asked)
    for row, line in zip(asked, printed, strict=True):
        assert close_enough(json.loads(line), json.loads(door.call("hear", json.dumps(row))))
