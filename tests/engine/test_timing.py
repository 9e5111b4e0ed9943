"""Timing by thumb: the stated interval holds the truth as often as it says; refusals; what a method cannot resolve."""

import math
import random

import pytest
from scipy.stats import chi2

from webapp.engine.problems import EngineError
from webapp.engine.timing import (
    HEARING_DELAY_U_S,
    REACTION_MEAN_S,
    REACTION_SD_S,
    chi_square_quantile,
    combine_attempts,
    read_rehearsal,
)

TRIALS = 2000
TRUTH_S = 1.4
HEARD_U_S = 0.02


def press(rng: random.Random, moment_s: float) -> float:
    """A tap at an awaited moment, drawn from the published reaction."""
    return moment_s + rng.gauss(REACTION_MEAN_S, REACTION_SD_S)


def awaited(rng: random.Random) -> dict:
    return {"start_s": press(rng, 10.0), "end_s": press(rng, 10.0 + TRUTH_S), "start": "awaited"}


def heard(rng: random.Random) -> dict:
    start = rng.gauss(rng.gauss(10.0, HEARD_U_S), HEARING_DELAY_U_S)
    return {"start_s": start, "end_s": press(rng, 10.0 + TRUTH_S), "start": "ear", "start_u_s": HEARD_U_S}


def rehearsed(rng: random.Random) -> dict:
    found = read_rehearsal([press(rng, 0.0) for _ in range(6)])
    return {name: found[name] for name in ("mean_s", "sd_s", "goes")}


# name, an attempt, repeats, rehearsal before it
WAYS = [
    ("once", awaited, 1, None), ("twice", awaited, 2, None), ("three times", awaited, 3, None),
    ("five times", awaited, 5, None), ("heard once", heard, 1, None), ("heard three times", heard, 3, None),
    ("own thumb once", awaited, 1, rehearsed),
    ("own thumb three times", awaited, 3, rehearsed),
]  # fmt: skip


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way[0])
def test_the_interval_holds_the_truth_as_often_as_it_says(way: tuple) -> None:
    name, attempt, repeats, rehearse = way
    rng = random.Random(name)
    hits = 0
    for _ in range(TRIALS):
        own = rehearse(rng) if rehearse else {}
        found = combine_attempts([attempt(rng) for _ in range(repeats)], True, own)
        hits += abs(found["value"] - TRUTH_S) <= found["half_width_s"]
    assert 0.93 <= hits / TRIALS <= 0.97, f"{name}: {hits / TRIALS:.3f}"


def test_what_reads_the_uncertainty_as_normal_states_95_percent_too() -> None:
    found = combine_attempts([{"start_s": 0.0, "end_s": 1.4}], True, {"sd_s": 0.1, "goes": 5})
    assert found["half_width_s"] == pytest.approx(1.959964 * found["standard_uncertainty"], rel=1e-6)


@pytest.mark.parametrize("dof", [1, 2, 4, 9, 30])
def test_chi_square_against_scipy(dof: int) -> None:
    assert chi_square_quantile(0.99, dof) == pytest.approx(chi2.ppf(0.99, dof), rel=0.012)


def test_more_attempts_are_asked_for_only_where_they_help() -> None:
    quick = combine_attempts([{"start_s": 0.0, "end_s": 0.3}], True, {})
    assert (quick["resolved"], quick["better"]) == (False, ["film", "trace"])
    assert "take 1 more, or film" in quick["text"]
    hopeless = combine_attempts([{"start_s": 0.0, "end_s": 0.1}], True, {})
    assert "take" not in hopeless["text"]
    assert "film" in hopeless["text"]
    enough = combine_attempts([{"start_s": 0.0, "end_s": 0.3}] * 2, True, {})
    assert (enough["resolved"], enough["better"]) == (True, [])


def test_a_surprise_is_wider_and_a_rehearsal_does_not_help_it() -> None:
    row = {"start_s": 0.0, "end_s": 1.4}
    assert combine_attempts([row], False, {})["standard_uncertainty"] == 0.24
    assert combine_attempts([{**row, "start": "surprise"}], True, {"sd_s": 0.05, "goes": 100})["standard_uncertainty"] > 0.24


def test_attempts_of_different_kinds_count_together() -> None:
    rows = [{"start_s": 0.0, "end_s": 1.4}, {"start_s": 0.0, "end_s": 1.51, "start": "ear", "start_u_s": 0.02}]
    found = combine_attempts(rows, True, {})
    assert found["value"] == pytest.approx(1.4)
    assert found["standard_uncertainty"] == pytest.approx(0.5 * math.sqrt(0.1**2 + 0.07**2 + 0.02**2 + 0.02**2))


REFUSED = [
    ([], {}, "taps"),
    ([{"start_s": 1.0, "end_s": 0.5}], {}, "taps[0]"),
    ([{"start_s": "1", "end_s": 2.0}], {}, "taps[0]"),
    ([7], {}, "taps[0]"),
    ([{"start_s": 1.0, "end_s": 2.0, "start": "shout"}], {}, "taps[0].start"),
    ([{"start_s": 1.0, "end_s": 2.0, "start": "ear"}], {}, "taps[0].start_u_s"),
    ([{"start_s": 1.0, "end_s": 2.0}], {"sd_s": -0.1}, "own_sd_s"),
    ([{"start_s": 1.0, "end_s": 2.0}], {"sd_s": 0.1, "goes": 1}, "own_goes"),
    ([{"start_s": 1.0, "end_s": 2.0}], {"mean_s": float("nan")}, "own_mean_s"),
]


@pytest.mark.parametrize("row", REFUSED, ids=lambda row: row[2])
def test_what_cannot_be_is_refused_by_name(row: tuple) -> None:
    with pytest.raises(EngineError) as refused:
        combine_attempts(row[0], True, row[1])
    assert [problem.field for problem in refused.value.problems] == [row[2]]


@pytest.mark.parametrize("given", [None, "0.1", [0.1, "x"], [float("nan")]])
def test_a_rehearsal_of_no_numbers_is_refused(given: object) -> None:
    with pytest.raises(EngineError):
        read_rehearsal(given)
