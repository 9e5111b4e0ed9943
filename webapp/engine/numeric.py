"""Small numerical functions that the phone's Python lacks.

Rules for this file: plain floats in, plain floats out; no units, no trade.
Method: the normal distribution from erf/erfc; its quantiles by bisection down to the last bit (slow but
plain, and called a few times a case); Student's t from the regularised incomplete beta function by
its continued fraction (modified Lentz).
Sources: Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1 (erf), 26.5.8 and 26.7.1 (beta, Student's t) -
clause numbers from memory; the values are checked against scipy 1.17 and the vectors of tests/engine/cases/.
"""

import math

TINY = 1e-300
BISECTIONS = 200
LENTZ_STEPS = 500
LENTZ_TOLERANCE = 1e-15


def is_number(value: object) -> bool:
    """True for a finite int or float that fits a float; False for booleans, text, NaN and infinities."""
    if type(value) not in (int, float):
        return False
    try:
        return math.isfinite(float(value))  # type: ignore[arg-type]
    except OverflowError:
        return False


def normal_cdf(z: float) -> float:
    """Return P(Z <= z) of the standard normal distribution; accurate in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def bisect_quantile(cdf: object, probability: float, low: float, high: float) -> float:
    """Return x with cdf(x) = probability, for an increasing cdf bracketed by low and high."""
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if cdf(middle) < probability:  # type: ignore[operator]
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def normal_quantile(probability: float) -> float:
    """Return z with P(Z <= z) = probability, 0 < probability < 1."""
    assert 0.0 < probability < 1.0
    if probability > 0.5:  # the lower tail keeps its digits, the upper one is 1 minus something small
        return -normal_quantile(1.0 - probability)
    return bisect_quantile(normal_cdf, probability, -40.0, 40.0)


def beta_fraction(a: float, b: float, x: float) -> float:
    """Return the continued fraction of the incomplete beta function (modified Lentz)."""
    c = 1.0
    d = 1.0 / (1.0 - (a + b) * x / (a + 1.0) or TINY)
    h = d
    for m in range(1, LENTZ_STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for term in (even, odd):
            d = 1.0 / (1.0 + term * d or TINY)
            c = 1.0 + term / c or TINY
            h *= d * c
        if abs(d * c - 1.0) < LENTZ_TOLERANCE:
            break
    return h


def beta_regularised(a: float, b: float, x: float) -> float:
    """Return I_x(a, b), the regularised incomplete beta function, 0 <= x <= 1."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log(1.0 - x)
    front = math.exp(log_front)
    if x < (a + 1.0) / (a + b + 2.0):
        return front * beta_fraction(a, b, x) / a
    return 1.0 - front * beta_fraction(b, a, 1.0 - x) / b


def student_t_cdf(t: float, dof: float) -> float:
    """Return P(T <= t) of Student's t with dof degrees of freedom, dof > 0."""
    if abs(t) < 1.0:  # near the middle the tail's argument is 1 minus something small; the other half keeps its digits
        half = 0.5 * beta_regularised(0.5, dof / 2.0, t * t / (dof + t * t))
        return 0.5 - half if t < 0 else 0.5 + half
    tail = 0.5 * beta_regularised(dof / 2.0, 0.5, dof / (dof + t * t))
    return tail if t < 0 else 1.0 - tail


def student_t_quantile(probability: float, dof: float) -> float:
    """Return t with P(T <= t) = probability, 0 < probability < 1, dof > 0."""
    assert 0.0 < probability < 1.0
    if probability > 0.5:
        return -student_t_quantile(1.0 - probability, dof)
    return bisect_quantile(lambda t: student_t_cdf(t, dof), probability, -1e6, 1e6)


def mean(values: list) -> float:
    """Return the arithmetic mean of at least one number."""
    return sum(values) / len(values)


def median(values: list) -> float:
    """Return the median of at least one number."""
    ranked = sorted(values)
    half = len(ranked) // 2
    return ranked[half] if len(ranked) % 2 else 0.5 * (ranked[half - 1] + ranked[half])


def sample_sd(values: list) -> float:
    """Return the sample standard deviation (n - 1) of at least two numbers."""
    centre = mean(values)
    return math.sqrt(sum([(v - centre) ** 2 for v in values]) / (len(values) - 1))


def root_sum_square(values: list) -> float:
    """Return the square root of the sum of squares."""
    return math.sqrt(sum([v * v for v in values]))
