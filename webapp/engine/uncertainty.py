"""Measurement uncertainty after the GUM: what a reading is worth, given the instrument and its repeats.

Rules for this file: standard uncertainties (one sigma) everywhere; half-widths and steps only as inputs.
Method: type B terms from the instrument (accuracy of full scale and of reading as rectangular half-widths, resolution
as a rectangle of one step, reaction time for hand timing), a type A term from repeats, combined by the law of
propagation; effective degrees of freedom by Welch-Satterthwaite; coverage factor from Student's t.
Sources: JCGM 100:2008 (GUM) 4.2, 4.3.7-4.3.9, 5.1.2, 5.2.2, F.2.2.1, G.4.1, H.1, H.2; clause numbers from memory,
results checked against GTC 1.5 and the annex H examples (tests/engine/cases/uncertainty.json).
"""

import math

from .numeric import root_sum_square, sample_sd, student_t_quantile


def rectangular(half_width: float) -> float:
    """Return u of a rectangular distribution of +-half_width: a/sqrt(3) (GUM 4.3.7)."""
    return half_width / math.sqrt(3.0)


def triangular(half_width: float) -> float:
    """Return u of a triangular distribution of +-half_width: a/sqrt(6) (GUM 4.3.9)."""
    return half_width / math.sqrt(6.0)


def arcsine(half_width: float) -> float:
    """Return u of a U-shaped (arcsine) distribution of +-half_width: a/sqrt(2) (GUM H.1.3.4)."""
    return half_width / math.sqrt(2.0)


def resolution(step: float) -> float:
    """Return u of a reading rounded to one display step: d/sqrt(12) (GUM F.2.2.1)."""
    return step / math.sqrt(12.0)


def combine_uncertainty(terms: list) -> float:
    """Return the combined standard uncertainty of independent terms, each already times its sensitivity (GUM 5.1.2)."""
    return root_sum_square(terms)


def combine_correlated(sensitivities: list, uncertainties: list, correlations: list) -> float:
    """Combine correlated inputs (GUM 5.2.2).

    Inputs: sensitivities c_i, uncertainties u_i, correlations rows [i, j, r] for each correlated pair, i < j.
    Returns: u_c. Example: GUM H.2, the resistance R = 127.732 ohm with u = 0.070 ohm.
    """
    total = sum([(c * u) ** 2 for c, u in zip(sensitivities, uncertainties)])
    for i, j, r in correlations:
        total += 2.0 * sensitivities[i] * sensitivities[j] * uncertainties[i] * uncertainties[j] * r
    return math.sqrt(max(total, 0.0))


def propagate(model: object, values: list, sizes: list) -> float:
    """Return u of model(values) from independent inputs with standard uncertainties, by half differences (GUM 5.1.3).

    Inputs: model a function of a list of numbers; values and sizes of the same length. Example: x y at 3, 4 with u 0.1, 0.2
    gives 0.7211.
    """
    terms = []
    for i in range(len(values)):
        up = model(values[:i] + [values[i] + sizes[i]] + values[i + 1 :])  # type: ignore[operator]
        down = model(values[:i] + [values[i] - sizes[i]] + values[i + 1 :])  # type: ignore[operator]
        terms.append(0.5 * (up - down))
    return root_sum_square(terms)


def effective_dof(terms: list, dofs: list) -> float:
    """Return the effective degrees of freedom (Welch-Satterthwaite, GUM G.4.1); a dof of None means exactly known u.

    Returns: nu_eff, or infinity as None is not a number: 1e9 where no term has finite degrees of freedom.
    """
    combined = combine_uncertainty(terms)
    below = sum([u**4 / dof for u, dof in zip(terms, dofs) if dof is not None and u > 0.0])
    return combined**4 / below if below > 0.0 else 1e9


def coverage_factor(probability: float, dof: float) -> float:
    """Return k for a two-sided coverage probability (GUM G.3, table G.2). Example: 0.95 and 19 gives 2.09."""
    return student_t_quantile(0.5 + probability / 2.0, dof)


def instrument_terms(value: float, instrument: dict) -> list:
    """Return the type B terms of one reading in the instrument's unit.

    Inputs: value in that unit; instrument with accuracy_full_scale [fraction of full_scale], accuracy_reading [fraction
    of the reading], resolution [step], timing_sd_s [standard deviation of hand timing or None].
    """
    terms = [rectangular(instrument["accuracy_reading"] * abs(value)), resolution(instrument["resolution"])]
    if instrument["full_scale"] is not None:
        terms.append(rectangular(instrument["accuracy_full_scale"] * instrument["full_scale"]))
    if instrument["timing_sd_s"] is not None:
        terms.append(instrument["timing_sd_s"])
    return terms


def default_term(value: float, default: dict) -> float:
    """Return u of a reading whose instrument is not named: the quantity's own half-widths, canonical unit."""
    return rectangular(default["absolute"] + default["relative"] * abs(value))


def repeat_term(values: list) -> float:
    """Return the repeatability of one reading from repeats of it (GUM 4.2.2); 0 with fewer than two."""
    return sample_sd(values) if len(values) > 1 else 0.0
