"""A careful person with a fixed order: the opponent of tests/validate.py.

Least intrusive first, each check after those it needs, the same limits. He stops at the first reading that names a part
outright, clears the vehicle when pressure and rise are good, takes the metering valve when full flow helps, and comes to the
pump only when everything else was good. A reading that is hardly possible he takes again once.
"""

from webapp.engine.book import Book, fits_vehicle
from webapp.engine.isolation import HEALTHY
from webapp.engine.judge import judge_case

# reading that fails -> what it names, in the order in which he believes them
NAMES = [
    ("fuel_present", "fuel_wrong"), ("fuel_condition", "fuel_wrong"), ("cranking_speed", "cranking_slow"),
    ("external_leak", "external_leak"), ("sensor_reference_voltage", "sensor_circuit"),
    ("crank_sync", "control_inhibited"), ("commanded_pressure", "control_inhibited"), ("air_in_supply", "air_in_supply"),
    ("supply_pressure", "supply_restricted"), ("supply_suction", "supply_restricted"),
    ("regulator_resistance", "regulator_circuit"), ("metering_valve_resistance", "metering_valve_circuit"),
    ("actuator_supply_voltage", "regulator_circuit"), ("injector_return", "injector_return_high"),
    ("regulator_return_flow", "regulator_leaking"), ("relief_return_flow", "relief_valve_leaking"),
]  # fmt: skip
SENSOR_OFFSET = ("sensor_signal_voltage", "rest_pressure")
CLEARLY = 0.02  # judgement: less than this chance of being within is clearly outside
GROSS_SIGNAL_V = (0.08, 3.0)


def fixed_order(case: dict, book: Book) -> list[str]:
    """Return the checks that fit, least intrusive first, each after those that it needs."""
    fitting = [
        c for c in book.checks.values() if c["quantities"] and c["id"] != "retest" and fits_vehicle(c, case["vehicle"])
    ]
    ordered: list[str] = []

    def take(name: str) -> None:
        for first in book.checks[name]["needs"]:
            if first not in ordered and first in {c["id"] for c in fitting}:
                take(first)
        if name not in ordered:
            ordered.append(name)

    coded = coded_faults(case, book)
    proving = {name for fault in coded for name in fault["confirm_by"][:1]}
    for check in sorted(fitting, key=lambda c: (c["id"] not in proving, c["intrusion"], c["order"])):
        take(check["id"])
    return ordered


def coded_faults(case: dict, book: Book) -> list[dict]:
    """Return the faults that a stored circuit code names first; he measures that circuit before anything else."""
    rows = [
        book.codes[code] for code in case["codes"] if book.codes[code]["kind"] == "circuit" and book.codes[code]["faults"]
    ]
    named = {max(row["faults"], key=lambda f: f["factor"])["fault"] for row in rows}
    return [fault for fault in book.faults if fault["id"] in named]


def name_fault(verdicts: dict, case: dict) -> str | None:
    """Return what the readings so far name outright."""

    def fails(name: str) -> bool:
        return name in verdicts and verdicts[name]["verdict"] == "fail" and not verdicts[name]["doubt"]

    off = [name for name in SENSOR_OFFSET if fails(name)]
    clear = [name for name in off if verdicts[name]["probability_within"] < CLEARLY]
    if (clear or len(off) == 2) and "sensor_signal_voltage" in verdicts and not fails("sensor_reference_voltage"):
        signal = verdicts["sensor_signal_voltage"]["value"]
        return "sensor_offset" if GROSS_SIGNAL_V[0] < signal < GROSS_SIGNAL_V[1] else "sensor_circuit"
    named = [fault for name, fault in NAMES if fails(name)]
    if named:
        return named[0]
    if all(name in verdicts and not fails(name) for name in ("crank_pressure", "crank_rise_time")):
        return HEALTHY
    open_pressure = verdicts.get("open_metering_pressure")
    if fails("crank_pressure") and open_pressure and open_pressure["verdict"] == "pass":
        return "metering_valve_sticking"
    return None


def last_resort(verdicts: dict) -> str:
    """Everything was done and nothing named outright."""
    if "crank_pressure" in verdicts and verdicts["crank_pressure"]["verdict"] == "pass":
        return HEALTHY
    return "pump_worn"


def diagnose_by_order(bench: object, book: Book) -> tuple[str, float, bool]:
    """Return (fault, 1.0, whether he condemned the pump)."""
    verdicts: dict = {}
    for name in fixed_order(bench.case, book):  # type: ignore[attr-defined]
        check = book.checks[name]
        running = "no_start" in bench.case["complaints"]  # type: ignore[attr-defined]
        wanted = [
            q for q in check["quantities"]
            if fits_vehicle(book.quantities[q], bench.case["vehicle"])  # type: ignore[attr-defined]
            and not (running and book.quantities[q]["state"] == "running")
        ]  # fmt: skip
        if not wanted:
            continue
        bench.do(name, wanted)  # type: ignore[attr-defined]
        rows = judge_case(bench.case, book)["verdicts"]  # type: ignore[attr-defined]
        again = [v["quantity"] for v in rows if v["doubt"] and v["quantity"] in wanted]
        if again:
            bench.do(name, again)  # type: ignore[attr-defined]
            rows = judge_case(bench.case, book)["verdicts"]  # type: ignore[attr-defined]
        verdicts = {v["quantity"]: v for v in rows}
        found = name_fault(verdicts, bench.case)  # type: ignore[attr-defined]
        if found:
            return found, 1.0, False
    found = last_resort(verdicts)
    return found, 1.0, found == "pump_worn"
