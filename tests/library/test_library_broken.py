"""A broken file is refused by file and field; each row breaks a good copy in one way."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from webapp.library import loader


def put(path: str, value: object) -> Callable[[Any], None]:
    """Return a change that puts a value at a path such as 'steps.3.caution'."""

    def change(data: Any) -> None:
        *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
        for part in way:
            data = data[part]
        data[last] = value

    return change


def drop(path: str, last: str) -> Callable[[Any], None]:
    def change(data: Any) -> None:
        for part in [int(p) if p.isdigit() else p for p in path.split(".") if p]:
            data = data[part]
        del data[last]

    return change


# name, file, change, what the error must hold
ROWS = [
    ("unknown caution", "checks/crank.json", put("steps.3.caution", "xyz"),
     "checks/crank.json: steps[3].caution: 'xyz' is not a caution id"),
    ("caution not announced", "checks/crank.json", put("steps.3.caution", "opening"),
     "checks/crank.json: steps[3].caution: 'opening' is not among the check's own cautions"),
    ("unknown quantity of a check", "checks/crank.json", put("quantities.0", "pressure"),
     "checks/crank.json: quantities: 'pressure' is not a quantity id"),
    ("quantity without a step", "checks/crank.json", put("steps.4.quantity", None),
     "checks/crank.json: quantities: no step records 'crank_pressure'"),
    ("step without why", "checks/fuel.json", drop("steps.2", "why"), "checks/fuel.json: steps[2].why: "),
    ("empty why", "checks/fuel.json", put("steps.2.why", ""), "checks/fuel.json: steps[2].why: must hold 1 to 400"),
    ("misspelt key", "checks/fuel.json", put("steps.2.cauton", "jets"), "checks/fuel.json: steps[2].cauton: Unknown field"),
    ("check without caution", "checks/fuel.json", put("cautions", []), "checks/fuel.json: cautions: "),
    ("step id twice", "checks/fuel.json", put("steps.2.id", "gauge"), "checks/fuel.json: steps.id: 'gauge' is there twice"),
    ("check under a wrong name", "checks/fuel.json", put("id", "petrol"), "checks/fuel.json: id: 'petrol' must be"),
    ("needs a later check", "checks/crank.json", put("needs.0", "hold"), "checks/crank.json: needs: 'hold' is not a check"),
    ("intrusion out of range", "checks/crank.json", put("intrusion", 4), "checks/crank.json: intrusion: "),
    ("order lost", "checks/crank.json", put("order", 1), "checks: order: must be intake, battery"),
    ("step for too few layouts", "checks/crank.json", put("steps.4.layouts", ["metering-only"]),
     "checks/crank.json: layouts: 'crank_pressure' exists with regulator-and-metering"),
    ("unknown layout", "checks/hold.json", put("layouts.0", "other"), "checks/hold.json: layouts: 'other' is not a layout"),
    ("low above high", "limits/generic.json", put("limits.6.low", 7), "limits/generic.json: limits[6].low: low 7 is not"),
    ("limit as text", "limits/generic.json", put("limits.0.low", "12.2"),
     "limits/generic.json: limits[0].low: '12.2' is not a number"),
    ("limit as yes", "limits/generic.json", put("limits.0.low", True), "limits/generic.json: limits[0].low: True is not a"),
    ("limit without basis", "limits/generic.json", drop("limits.0", "basis"), "limits/generic.json: limits[0].basis: "),
    ("basis of its own", "limits/generic.json", put("limits.0.basis", "hearsay"),
     "limits/generic.json: limits[0].basis: 'hearsay' is not one of"),
    ("sheet without source", "limits/generic.json", put("limits.0.basis", "maker's sheet"),
     "limits/generic.json: limits[0].source: a basis of 'maker's sheet' needs a source"),
    ("other unit", "limits/generic.json", put("limits.15.unit", "psi"),
     "limits/generic.json: limits[15].unit: 'psi' must be the quantity's own unit bar"),
    ("limit missing", "limits/generic.json", lambda data: data["limits"].pop(0),
     "limits/generic.json: limits: 'battery_voltage_rest' has no limit"),
    ("limit outside the possible", "limits/generic.json", put("limits.15.low", -5),
     "limits/generic.json: limits[15].low: -5 lies outside the possible"),
    ("good choice unknown", "limits/generic.json", put("limits.3.good", ["maybe"]),
     "limits/generic.json: limits[3].good: 'maybe' is not a choice"),
    ("plausible wider than possible", "quantities.json", put("0.plausible.high", 99),
     "quantities.json: [0].plausible: must lie inside"),
    ("unit the engine does not know", "quantities.json", put("0.units", ["V", "kV"]),
     "quantities.json: [0].units: 'kV' is not a unit"),
    ("unknown instrument", "quantities.json", put("0.instruments", ["feeling"]),
     "quantities.json: [0].instruments: 'feeling' is not an instrument"),
    ("quantity that no check records", "quantities.json", put("0.id", "heat"), "quantities.json: [0].id: 'heat' must"),
    ("quantity twice", "quantities.json", put("1.id", "battery_voltage_rest"),
     "quantities.json: quantities.id: 'battery_voltage_rest' is there twice"),
    ("instrument of another kind", "instruments.json", put("0.unit", "V"), "instruments.json: [0].unit: 'V' cannot measure"),
    ("absolute figures without a unit", "instruments.json", put("0.unit", None), "[0].unit: 'None' cannot measure"),
    ("unknown component", "faults.json", put("1.component", "turbo"), "faults.json: [1].component: 'turbo' is not"),
    ("table of an unknown quantity", "signatures.json", put("layouts.regulator-only.base.oil", [500, 500]),
     "signatures.json: layouts.regulator-only.base: 'oil' is not a quantity with a limit"),
    ("table that is too short", "signatures.json", put("layouts.regulator-only.base.crank_pressure", [500, 500]),
     "signatures.json: layouts.regulator-only.base.crank_pressure: has 2 numbers; crank_pressure has 10 outcomes"),
    ("table that does not add up", "signatures.json", put("layouts.regulator-only.base.fuel_present", [500, 400]),
     "signatures.json: layouts.regulator-only.base.fuel_present: adds up to 900, not 1000"),
    ("signature of a fault left out", "signatures.json",
     lambda data: data["layouts"]["regulator-only"]["faults"].pop("pump_worn"),
     "signatures.json: layouts.regulator-only.faults: 'pump_worn' is missing"),
    ("pair of unknown parts", "faults.json", put("0.like", ["rust"]), "faults.json: [0].like: 'rust' is not a fault id"),
    ("proof unknown", "faults.json", put("1.proof.0", "noise"), "faults.json: [1].proof: 'noise' is not a quantity"),
    ("code on one side only", "faults.json", lambda data: data[1]["codes"].pop(), "faults.json: [1].codes: does not agree"),
    ("confirmed by an unknown check", "faults.json", put("1.confirm_by.0", "hope"),
     "faults.json: [1].confirm_by: 'hope' is not a check"),
    ("code misspelt", "codes.json", put("0.code", "P00O1"), "codes.json: [0].code: 'P00O1' is not a trouble code"),
    ("code for an unknown fault", "codes.json", put("0.faults.0.fault", "gremlin"),
     "codes.json: [0].faults: 'gremlin' is not a fault id"),
    ("gate asks for what cannot be measured", "gate.json", put("3.supplies", ["suction"]),
     "gate.json: [3].supplies: 'suction' is not where supply_pressure can be measured"),
    ("gate fails low without a lower limit", "gate.json", put("8.rule", "fail_low"), "gate.json: [8].rule: fail_low needs"),
    ("component cleared by an unknown reading", "components.json", put("0.needs.0", "luck"),
     "components.json: [0].needs: 'luck' is not a quantity id"),
    ("pump not last", "components.json", lambda data: data.insert(0, data.pop()), "components.json: order: must be battery"),
    ("caution that screens need", "cautions.json", put("1.id", "sprays"), "cautions.json: id: 'jets' is missing"),
    ("signal word of its own", "cautions.json", put("1.signal", "HEY"), "cautions.json: [1].signal: 'HEY' is not one of"),
    ("two safe layouts", "vehicle.json", put("layouts.1.safe_default", True), "vehicle.json: layouts.safe_default: must be"),
    ("injury card without its list", "injury.json", drop("", "never"), "injury.json: never: "),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_is_refused_by_file_and_field(row: tuple, broken: Callable) -> None:
    _, name, change, expected = row
    text = broken(name, change)
    assert expected in text, text


def test_a_good_copy_is_taken(copy: Path, catalogue: dict) -> None:
    assert loader.read_catalogue(copy) == catalogue


# name, what is written over gate.json, what the error must hold
RAW = [
    ("not JSON", b'[{"id": "fuel",]', "gate.json: line 1, column "),
    ("not UTF-8", b"[\xff]", "gate.json: not UTF-8"),
    ("a key twice", b'[{"id": "fuel", "id": "leaks"}]', "gate.json: the key 'id' is there twice"),
    ("not a number", b'[{"id": NaN}]', "gate.json: NaN is not a number of JSON"),
    ("an object for a list", b"{}", "gate.json: must hold a list"),
    ("a number for a row", b"[3]", "gate.json: [0]: Invalid input type"),
]


@pytest.mark.parametrize("row", RAW, ids=[row[0] for row in RAW])
def test_unreadable_file(row: tuple, copy: Path) -> None:
    _, content, expected = row
    (copy / "gate.json").write_bytes(content)
    with pytest.raises(loader.LibraryError) as caught:
        loader.read_catalogue(copy)
    assert expected in str(caught.value)


@pytest.mark.parametrize("name", ["codes.json", "injury.json", "vehicle.json"])
def test_missing_file(name: str, copy: Path) -> None:
    (copy / name).unlink()
    with pytest.raises(loader.LibraryError, match=f"{name}: cannot be read"):
        loader.read_catalogue(copy)


def test_missing_check_and_empty_folder(copy: Path) -> None:
    (copy / "checks" / "hold.json").unlink()
    (copy / "limits" / "generic.json").unlink()
    with pytest.raises(loader.LibraryError, match="limits: no file in this folder"):
        loader.read_catalogue(copy)


def test_many_problems_are_told_at_once_but_not_endlessly(broken: Callable) -> None:
    def empty_all(data: list) -> None:
        for row in data:
            row["name"] = ""

    lines = broken("codes.json", empty_all).splitlines()
    assert len(lines) == loader.SHOWN_AT_ONCE + 1
    assert lines[-1].startswith("and ")
