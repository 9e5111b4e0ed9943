"""What one row of the library says about another: every id must be known, every pairing must make sense.

Rules for this file: functions (catalogue) -> list of Fault(file, field, text); shapes were checked before (schemas.py).
"""

from collections.abc import Iterable
from typing import NamedTuple

from webapp.engine.book import open_book
from webapp.engine.isolation import OTHER, PATTERN, outcome_names
from webapp.engine.levels import level_names
from webapp.engine.limits import resolve_limits
from webapp.engine.units import UNITS

CHECK_ORDER = (
    "intake", "battery", "fuel", "leaks", "sensor", "control", "supply", "crank", "spring", "resistance", "metering", "hold",
    "regulator_return", "relief_return", "injector_return", "injector_electrical", "decay", "running", "retest",
)  # fmt: skip
COMPONENT_ORDER = (
    "battery", "fuel", "lines", "sensor", "control", "supply", "metering_valve", "regulator", "relief_valve", "injectors",
    "pump",
)  # fmt: skip
CAUTIONS_NEEDED = (
    "general", "jets", "cranking", "opening", "outside_drive", "injector_wiring", "fuel_fire", "electrical",
    "moving_parts", "running", "office_report", "injury",
)  # fmt: skip
SHOWN_TOGETHER = 1e-9


class Flaw(NamedTuple):
    file: str
    field: str
    text: str


def known(catalogue: dict, key: str, name: str = "id") -> list[str]:
    return [row[name] for row in catalogue[key]]


def unknown(file: str, field: str, given: Iterable, allowed: Iterable, noun: str) -> list[Flaw]:
    """Return a flaw for each id that is not allowed, naming what would be."""
    allowed = list(allowed)
    return [
        Flaw(file, field, f"'{name}' is not {noun}; known are {', '.join(allowed)}") for name in given if name not in allowed
    ]


def twice(file: str, where: str, names: list[str]) -> list[Flaw]:
    return [Flaw(file, where, f"'{name}' is there twice; keep one") for name in sorted(set(names)) if names.count(name) > 1]


def fit_flaws(file: str, at: str, row: dict, catalogue: dict) -> list[Flaw]:
    """Check the layouts and supplies of a row."""
    return unknown(file, f"{at}layouts", row["layouts"], known(catalogue, "layouts"), "a layout") + unknown(
        file, f"{at}supplies", row["supplies"], known(catalogue, "supplies"), "a supply"
    )


def check_unique(catalogue: dict) -> list[Flaw]:
    """Every list has each id once; the orders that people rely on are kept."""
    files = {
        "quantities": "quantities.json", "faults": "faults.json", "components": "components.json", "gate": "gate.json",
        "cautions": "cautions.json", "instruments": "instruments.json", "profiles": "limits", "layouts": "vehicle.json",
        "supplies": "vehicle.json", "complaints": "vehicle.json",
    }  # fmt: skip
    flaws = [flaw for key, file in files.items() for flaw in twice(file, f"{key}.id", known(catalogue, key))]
    flaws += twice("codes.json", "code", known(catalogue, "codes", "code"))
    for key, wanted in (("checks", CHECK_ORDER), ("components", COMPONENT_ORDER)):
        if tuple(known(catalogue, key)) != wanted:
            file = "checks" if key == "checks" else "components.json"
            flaws.append(Flaw(file, "order", f"must be {', '.join(wanted)}; found {', '.join(known(catalogue, key))}"))
    missing = [name for name in CAUTIONS_NEEDED if name not in known(catalogue, "cautions")]
    flaws += [Flaw("cautions.json", "id", f"'{name}' is missing; screens need it") for name in missing]
    if [row["safe_default"] for row in catalogue["layouts"]].count(True) != 1:
        flaws.append(Flaw("vehicle.json", "layouts.safe_default", "must be true for exactly one layout"))
    return flaws


def check_quantities(catalogue: dict) -> list[Flaw]:
    file, flaws = "quantities.json", []
    for i, row in enumerate(catalogue["quantities"]):
        at = f"[{i}]."
        flaws += fit_flaws(file, at, row, catalogue)
        flaws += unknown(file, f"{at}instruments", row["instruments"], known(catalogue, "instruments"), "an instrument id")
        flaws += unknown(file, f"{at}units", row["units"], UNITS, "a unit of the engine")
        kinds = {UNITS[unit][0] for unit in row["units"] if unit in UNITS}
        if len(kinds) > 1:
            flaws.append(Flaw(file, f"{at}units", f"mixes {' and '.join(sorted(kinds))}"))
        homes = [c["id"] for c in catalogue["checks"] if row["id"] in c["quantities"] and c["id"] != "retest"]
        if len(homes) != 1:
            flaws.append(Flaw(file, f"{at}id", f"'{row['id']}' must be recorded by one check, not by {homes or 'none'}"))
    return flaws


def check_instruments(catalogue: dict) -> list[Flaw]:
    """An instrument and its quantities name each other, and measure the same dimension."""
    file, flaws = "instruments.json", []
    quantities = {row["id"]: row for row in catalogue["quantities"]}
    for i, row in enumerate(catalogue["instruments"]):
        field = f"[{i}].quantities"
        flaws += unknown(file, field, row["quantities"], quantities, "a quantity id")
        users = [name for name, q in quantities.items() if row["id"] in q["instruments"]]
        if sorted(users) != sorted(row["quantities"]):
            flaws.append(Flaw(file, field, f"must be the quantities that name this instrument: {', '.join(users)}"))
        if row["unit"] is not None and row["unit"] not in UNITS:
            flaws += unknown(file, f"[{i}].unit", [row["unit"]], UNITS, "a unit of the engine")
            continue
        if row["unit"] is None and not any(row[key] for key in ("full_scale", "resolution", "timing_sd_s")):
            continue  # good to a share of whatever it shows, so it may show quantities of several kinds
        for name in row["quantities"]:
            unit = quantities[name]["unit"] if name in quantities else None
            if unit is not None and (row["unit"] is None or UNITS[unit][0] != UNITS[row["unit"]][0]):
                flaws.append(Flaw(file, f"[{i}].unit", f"'{row['unit']}' cannot measure {name}, which is in {unit}"))
    return flaws


def check_steps(file: str, check: dict, catalogue: dict) -> list[Flaw]:
    """Steps: known ids; what they record and warn of is announced by the check, and nothing announced is left out."""
    cautions, flaws = known(catalogue, "cautions"), []
    for i, step in enumerate(check["steps"]):
        at = f"steps[{i}]."
        flaws += fit_flaws(file, at, step, catalogue)
        if step["caution"] is not None:
            flaws += unknown(file, f"{at}caution", [step["caution"]], cautions, "a caution id")
            flaws += unknown(file, f"{at}caution", [step["caution"]], check["cautions"], "among the check's own cautions")
        if step["quantity"] is not None:
            flaws += unknown(file, f"{at}quantity", [step["quantity"]], check["quantities"], "a quantity of this check")
    recorded = [step["quantity"] for step in check["steps"]]
    for name in check["quantities"]:
        if name not in recorded:
            flaws.append(Flaw(file, "quantities", f"no step records '{name}'; add the step or leave the quantity out"))
    return flaws + twice(file, "steps.id", [step["id"] for step in check["steps"]])


def check_checks(catalogue: dict) -> list[Flaw]:
    flaws, order = [], known(catalogue, "checks")
    components = known(catalogue, "components")
    for check in catalogue["checks"]:
        file = f"checks/{check['id']}.json"
        flaws += fit_flaws(file, "", check, catalogue) + check_steps(file, check, catalogue)
        flaws += unknown(file, "quantities", check["quantities"], known(catalogue, "quantities"), "a quantity id")
        flaws += unknown(file, "valid_by", check["valid_by"], check["quantities"], "a quantity of this check")
        flaws += unknown(file, "reading_minutes", check["reading_minutes"], check["quantities"], "a quantity of this check")
        needed = any(check["id"] in other["needs"] for other in catalogue["checks"])
        if needed and not check["valid_by"]:
            flaws.append(Flaw(file, "valid_by", "other checks need this one; say by which readings it makes theirs valid"))
        if max(check["reading_minutes"].values(), default=0) > check["minutes"]:
            flaws.append(Flaw(file, "reading_minutes", "one reading takes longer than the whole check"))
        flaws += unknown(file, "cautions", check["cautions"], known(catalogue, "cautions"), "a caution id")
        flaws += unknown(file, "can_rule_out", check["can_rule_out"], components, "a component id")
        flaws += unknown(file, "can_point_at", check["can_point_at"], components, "a component id")
        flaws += unknown(file, "needs", check["needs"], order[: order.index(check["id"])], "a check that comes before")
    return flaws


def check_layout_cover(catalogue: dict) -> list[Flaw]:
    """Where a quantity exists, the check and the step that record it exist too."""
    flaws = []
    for quantity in catalogue["quantities"]:
        for check in [c for c in catalogue["checks"] if quantity["id"] in c["quantities"]]:
            steps = [step for step in check["steps"] if step["quantity"] == quantity["id"]]
            for key in ("layouts", "supplies"):
                covered = set(check[key]) & {name for step in steps for name in step[key]}
                missing = [name for name in quantity[key] if name not in covered]
                text = f"'{quantity['id']}' exists with {', '.join(missing)}, but no step of this check does"
                flaws += [Flaw(f"checks/{check['id']}.json", key, text)] if missing else []
    return flaws


def check_limits(catalogue: dict) -> list[Flaw]:
    """Every profile has one limit a quantity, of its kind and in its unit."""
    quantities, flaws = {row["id"]: row for row in catalogue["quantities"]}, []
    for profile in catalogue["profiles"]:
        file, names = f"limits/{profile['id']}.json", known({"x": profile["limits"]}, "x", "quantity")
        flaws += unknown(file, "limits.quantity", names, quantities, "a quantity id") + twice(file, "limits.quantity", names)
        flaws += [Flaw(file, "limits", f"'{name}' has no limit; add a row") for name in quantities if name not in names]
        for i, limit in enumerate(profile["limits"]):
            if limit["quantity"] in quantities:
                flaws += check_limit(file, f"limits[{i}].", limit, quantities)
    return flaws


def check_limit(file: str, at: str, limit: dict, quantities: dict) -> list[Flaw]:
    quantity, flaws = quantities[limit["quantity"]], []
    if limit["unit"] != quantity["unit"]:
        flaws.append(Flaw(file, f"{at}unit", f"'{limit['unit']}' must be the quantity's own unit {quantity['unit']}"))
    flaws += unknown(file, f"{at}good", limit["good"], known(quantity, "choices"), "a choice of this quantity")
    sided = [key for key in ("low", "high", "ratio_high", "rate_high", "spread_high") if limit[key] is not None]
    if quantity["kind"] == "choice" and (sided or not limit["good"]):
        flaws.append(Flaw(file, f"{at}good", "a choice is limited by its good choices alone"))
    if quantity["kind"] == "number" and (limit["good"] or set(sided) - {"low", "high"}):
        flaws.append(Flaw(file, f"{at}low", "a number is limited by low and high alone"))
    for key in ("low", "high"):
        if limit[key] is not None and quantity["possible"] is not None:
            low, high = quantity["possible"]["low"], quantity["possible"]["high"]
            if not low <= limit[key] <= high:
                flaws.append(Flaw(file, f"{at}{key}", f"{limit[key]:g} lies outside the possible {low:g} to {high:g}"))
    for key in ("scaled_by", "target_from"):
        if limit[key] is not None:
            flaws += unknown(file, f"{at}{key}.quantity", [limit[key]["quantity"]], quantities, "a quantity id")
    return flaws


def check_components(catalogue: dict) -> list[Flaw]:
    file, quantities, flaws = "components.json", known(catalogue, "quantities"), []
    for i, row in enumerate(catalogue["components"]):
        flaws += fit_flaws(file, f"[{i}].", row, catalogue)
        lists = [(f"any_of[{k}]", names) for k, names in enumerate(row["any_of"])]
        for field, names in [("needs", row["needs"]), ("cleared_low_by", row["cleared_low_by"]), *lists]:
            flaws += unknown(file, f"[{i}].{field}", names, quantities, "a quantity id")
    return flaws


def outcome_counts(catalogue: dict) -> dict[str, int]:
    """Return how many outcomes the tables of each quantity must have."""
    book = open_book(catalogue)
    limits = resolve_limits({"profile": catalogue["profiles"][0]["id"], "overrides": {}}, {}, book)
    counts = {name: len(outcome_names(book.quantities[name], limits[name])) for name in limits}
    return {**counts, PATTERN: 2 * len(level_names("conductance"))}


def table_flaws(at: str, tables: dict, counts: dict[str, int]) -> list[Flaw]:
    """Every table is of a known quantity, has its outcomes, and adds up to 1000 but for rounding."""
    file, flaws = "signatures.json", []
    for name, table in tables.items():
        flaws += unknown(file, at, [name], counts, "a quantity with a limit")
        if name in counts and len(table) != counts[name]:
            flaws.append(Flaw(file, f"{at}.{name}", f"has {len(table)} numbers; {name} has {counts[name]} outcomes"))
        if abs(sum(table) - 1000) > len(table):
            flaws.append(Flaw(file, f"{at}.{name}", f"adds up to {sum(table)}, not 1000"))
    return flaws


def check_signatures(catalogue: dict) -> list[Flaw]:
    file, counts, flaws = "signatures.json", outcome_counts(catalogue), []
    flaws += unknown(file, "layouts", catalogue["signatures"]["layouts"], known(catalogue, "layouts"), "a layout")
    for layout, rows in catalogue["signatures"]["layouts"].items():
        wanted = [f["id"] for f in catalogue["faults"] if layout in f["layouts"] and f["id"] != OTHER]
        at = f"layouts.{layout}"
        flaws += unknown(file, f"{at}.faults", rows["faults"], wanted, "a fault of this layout")
        flaws += [Flaw(file, f"{at}.faults", f"'{n}' is missing") for n in wanted if n not in rows["faults"]]
        flaws += table_flaws(f"{at}.base", rows["base"], counts)
        for name, row in rows["faults"].items():
            if len(row["shares"]) != len(row["classes"]) or abs(sum(row["shares"]) - 1000) > len(row["shares"]):
                flaws.append(Flaw(file, f"{at}.faults.{name}.shares", "must be one a class and add up to 1000"))
            for k, tables in enumerate(row["classes"]):
                flaws += table_flaws(f"{at}.faults.{name}.classes[{k}]", tables, counts)
    return flaws


def check_faults(catalogue: dict) -> list[Flaw]:
    file, flaws = "faults.json", []
    quantities = {row["id"]: row for row in catalogue["quantities"]}
    for i, fault in enumerate(catalogue["faults"]):
        at = f"[{i}]."
        flaws += fit_flaws(file, at, fault, catalogue)
        if fault["component"] is not None:
            flaws += unknown(file, f"{at}component", [fault["component"]], known(catalogue, "components"), "a component id")
        flaws += unknown(file, f"{at}proof", fault["proof"], quantities, "a quantity id")
        flaws += unknown(file, f"{at}like", fault["like"], known(catalogue, "faults"), "a fault id")
        flaws += unknown(file, f"{at}confirm_by", fault["confirm_by"], known(catalogue, "checks"), "a check id")
        flaws += unknown(file, f"{at}complaints", fault["complaints"], known(catalogue, "complaints"), "a complaint id")
        speaking = [
            row["code"] for row in catalogue["codes"]
            for pair in row["faults"] if pair["fault"] == fault["id"] and pair["factor"] > 1
        ]  # fmt: skip
        if sorted(speaking) != sorted(fault["codes"]):
            odd = ", ".join(sorted(set(speaking) ^ set(fault["codes"])))
            flaws.append(Flaw(file, f"{at}codes", f"does not agree with codes.json about {odd}; name it in both"))
    return flaws


def check_codes(catalogue: dict) -> list[Flaw]:
    faults, flaws = known(catalogue, "faults"), []
    for i, row in enumerate(catalogue["codes"]):
        names = [pair["fault"] for pair in row["faults"]]
        flaws += unknown("codes.json", f"[{i}].faults", names, faults, "a fault id")
        flaws += twice("codes.json", f"[{i}].faults", names)
    return flaws


def check_gate(catalogue: dict) -> list[Flaw]:
    """Gate rows name quantities that exist where the row applies; fail_low needs a lower limit."""
    file, flaws = "gate.json", []
    quantities = {row["id"]: row for row in catalogue["quantities"]}
    for i, row in enumerate(catalogue["gate"]):
        flaws += fit_flaws(file, f"[{i}].", row, catalogue)
        flaws += unknown(file, f"[{i}].quantities", row["quantities"], quantities, "a quantity id")
        for name in [name for name in row["quantities"] if name in quantities]:
            for key in ("layouts", "supplies"):
                field = f"[{i}].{key}"
                flaws += unknown(file, field, row[key], quantities[name][key], f"where {name} can be measured")
            for profile in catalogue["profiles"]:
                low = [limit["low"] for limit in profile["limits"] if limit["quantity"] == name]
                if row["rule"] == "fail_low" and low == [None]:
                    flaws.append(Flaw(file, f"[{i}].rule", f"fail_low needs a lower limit of {name} in {profile['id']}"))
    return flaws


ALL_CHECKS = (
    check_unique, check_quantities, check_instruments, check_checks, check_layout_cover, check_limits, check_components,
    check_faults, check_codes, check_gate, check_signatures,
)  # fmt: skip


def find_flaws(catalogue: dict) -> list[Flaw]:
    """Return everything in the catalogue that does not fit together."""
    return [flaw for check in ALL_CHECKS for flaw in check(catalogue)]
