"""The sentences of the leak budget, short enough for a phone in the rain.

Rules for this file: words only, every figure comes in; a pressure that was worked out is bounded ("about", "at most"), never
promised, and the pump is never blamed here.
Method: figures rounded to what they are worth, compared with what is needed with their uncertainty in mind.
Source: own wording.
"""

from .book import Book
from .leaks import Balance, Injectors, Valve, cylinder_excess, total_flow
from .quantity import Reading


def describe_cylinders(injectors: Injectors, reading: Reading, ratios: list) -> str:
    """Return a sentence for each cylinder that returns too much, one for all where all do."""
    excess, rates = cylinder_excess(injectors), injectors.rates
    bad = [i for i in range(len(rates)) if excess[i] > 0.0]
    if len(bad) == len(rates) and len(bad) > 1:
        return f"All cylinders return too much, {min(rates):.0f} to {max(rates):.0f} mL/min each."
    sentences = []
    for i in bad:
        amount = f"Cylinder {i + 1} returns {round(reading.value[i], 1):g} mL in {reading.duration_s:g} s"
        if len(rates) == 1:
            sentences.append(f"{amount}, {rates[i]:.0f} mL/min.")
        else:
            times = "far more than" if ratios[i] is None else f"{ratios[i]:.1f} times"
            sentences.append(f"{amount}, {times} the others.")
    return " ".join(sentences)


def describe_valve(valve: Valve, book: Book) -> str:
    name = next(row["name"] for row in book.components if row["id"] == valve.component).lower()
    return f"The {name} lets {valve.flow:.0f} mL/min through, at most {valve.allowed:g} is right."


def about(pressure: float) -> str:
    """Return a pressure as loosely as it is known: to 10 bar from 100 bar on."""
    return f"{10.0 * round(pressure / 10.0):.0f}" if pressure >= 100.0 else f"{pressure:.0f}"


def write_reach(pressure: float, balance: Balance, commanded: bool, bound: str = "") -> str:
    """Return a pressure that was worked out, in words; commanded: the cap was read, else it is merely plausible."""
    if pressure >= balance.cap and pressure > balance.pressure:
        return f"the commanded {balance.cap:.0f} bar" if commanded else "any pressure that is asked for while cranking"
    return f"about {about(pressure)} bar{bound}"


def describe_gain(what: str, without: float, u: float, balance: Balance, wanted: float | None, commanded: bool) -> str:
    """Return the sentence on the pressure without what is too much; u standard uncertainty of it [bar]."""
    start = f"Without {what} the rail would reach {write_reach(without, balance, commanded, ' at most')}"
    if wanted is None or balance.pressure >= wanted:
        return f"{start}; it holds {balance.pressure:.0f} bar as it is."
    if without >= wanted + u or (without >= wanted and without >= balance.cap):
        return f"{start}; so far the pump need not be the cause."
    if without > wanted - u:
        return f"{start}; whether that is the {wanted:.0f} bar needed is too close to tell."
    share = 100.0 * (without - balance.pressure) / (wanted - balance.pressure)
    return f"{start}, short of the {wanted:.0f} bar needed: that explains about {share:.0f} % of what is missing."


def describe_rise(rise: dict, slow: bool, high_s: float | None) -> list:
    """Return sentences on a rise; slow: the cranking speed failed; high_s the limit of this rise [s] or None."""
    sentences = [
        f"The rise to {rise['target_bar']:.0f} bar in {rise['seconds']:.2g} s puts at least {rise['net_ml_min']:.0f} mL/min "
        "into the rail beyond all leaks."
    ]
    if rise["turns"] is None:
        return sentences
    sentences.append(f"It took {rise['turns']:.1f} turns of the crankshaft, {rise['bar_per_turn']:.0f} bar a turn.")
    at_limit = rise["at_limit_speed_s"]
    if slow and high_s is not None and at_limit is not None and rise["seconds"] > high_s:
        fast = at_limit <= high_s
        verdict = (
            "the slow starter can account for the slow rise" if fast else "the slow starter alone does not account for it"
        )
        sentences.append(f"At the least cranking speed the same turns take {at_limit:.2g} s: {verdict}.")
    return sentences


def describe_decay(decay: dict, start_bar: float | None) -> str:
    """Return one sentence on a fall."""
    if start_bar is None:
        loss = f"about {decay['ml_min_per_100_bar']:.2g} mL/min for every 100 bar"
    else:
        loss = f"about {decay['leak_ml_min']:.2g} mL/min at {start_bar:.0f} bar"
    return f"With the engine stopped the pressure halves in {decay['half_s']:.2g} s: the rail loses {loss}."


def describe_sum(balance: Balance, gap: float, hole: float, wanted: float | None, commanded: bool, missed: list) -> list:
    """Return sentences on the pressure without all excess; gap and hole: how what is left leaks [bar]; missed: names."""
    sentences = []
    if wanted is not None and gap < wanted <= hole:
        reach = write_reach(hole, balance, commanded)
        sentences.append(f"Should what is left flow as through holes instead of gaps, it would be {reach}.")
    if missed:
        caught = f"Not caught: {', '.join(missed)}. What leaks there, and inside the pump, makes"
    else:
        caught = "What leaks inside the pump makes"
    return sentences + [caught + " the pressure less."]


def describe_innocence(balance: Balance, wanted: float | None) -> list:
    """Return sentences on returns none of which failed."""
    if wanted is None or balance.pressure >= wanted:
        return []
    short = wanted - balance.pressure
    return [f"No return that was caught fails: they do not explain the {short:.0f} bar that are missing."]


def describe_delivery(balance: Balance) -> str:
    total = total_flow(balance)
    return f"The pump delivers at least the {total:.0f} mL/min that were caught, at {balance.pressure:.0f} bar."


def list_assumptions(balanced: bool, timed: bool, volume_ml: float, temperature_c: float, is_given: bool) -> list:
    """Return what the figures rest on beyond the readings.

    Inputs: balanced, timed whether leaks, a rise or a fall were worked out; is_given whether the temperature was read.
    """
    leaks = "What is left leaks in proportion to pressure, and the pump delivers the same at a higher pressure (judgement)."
    fuel = (
        f"the fuel is at {temperature_c:g} degC as read"
        if is_given
        else f"the fuel is at {temperature_c:g} degC (judgement)"
    )
    rail = f"Rail and pipes hold {volume_ml:g} mL (judgement) and {fuel}."
    return ([leaks] if balanced else []) + ([rail] if timed else [])
