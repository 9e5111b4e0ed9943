"""Case documents for the tests: one invented no-start, and hypothesis strategies for believable and unbelievable ones."""

from hypothesis import strategies as st

from webapp.library.loader import load_catalogue

CATALOGUE = load_catalogue()
QUANTITIES = {row["id"]: row for row in CATALOGUE["quantities"]}
LAYOUTS = [row["id"] for row in CATALOGUE["layouts"]]
SUPPLIES = [row["id"] for row in CATALOGUE["supplies"]]
VEHICLE = {"layout": "regulator-and-metering", "supply": "electric", "cylinders": 4}


def make_case(*readings: dict, **more: object) -> dict:
    """Return a case document with readings given as quantity=value dicts."""
    return {"format": "railcase-case/1", "id": "case-1", "vehicle": dict(VEHICLE), "readings": list(readings), **more}


def read(quantity: str, value: object, **more: object) -> dict:
    reading = {"quantity": quantity, "value": value, **more}
    if QUANTITIES[quantity]["needs_duration"]:
        reading.setdefault("duration_s", 30)
    return reading


def example_case() -> dict:
    """The example of the case contract."""
    return {
        "format": "railcase-case/1", "id": "01910000-0000-7000-8000-000000000001",
        "vehicle": {"description": "blue van", "registration": "", "vin": "", **VEHICLE},
        "complaints": ["no_start"], "codes": ["P0087"],
        "limits": {"profile": "generic", "overrides": {"crank_pressure": {"low": 250, "reason": "maker's data sheet"}}},
        "readings": [
            {"id": "r1", "quantity": "crank_pressure", "value": 292, "unit": "bar", "instrument": "rail_sensor"},
            {"id": "r2", "quantity": "crank_rise_time", "value": 1.4, "unit": "s", "instrument": "tap_timer"},
            {"id": "r3", "quantity": "injector_return", "value": [21, 23, 22, 64], "unit": "mL", "duration_s": 30,
             "state": "cranking", "instrument": "graduated_tubes"},
            {"id": "r4", "quantity": "air_in_supply", "value": "none"},
            {"id": "r5", "quantity": "supply_pressure", "value": 58, "unit": "psi", "standard_uncertainty": 1.5},
        ],
        "not_measured": [{"quantity": "spring_pressure", "reason": "plug out of reach"}],
    }  # fmt: skip


def fits(quantity: dict, vehicle: dict) -> bool:
    return vehicle["layout"] in quantity["layouts"] and vehicle["supply"] in quantity["supplies"]


@st.composite
def readings_of(draw: st.DrawFn, vehicle: dict) -> dict:
    """A reading that this vehicle can have, plausible or merely possible."""
    quantity = draw(st.sampled_from([q for q in CATALOGUE["quantities"] if fits(q, vehicle)]))
    if quantity["kind"] == "choice":
        return read(quantity["id"], draw(st.sampled_from(quantity["choices"]))["id"])
    span = draw(st.sampled_from([quantity["plausible"], quantity["possible"]]))
    number = st.floats(span["low"], span["high"]).map(lambda v: round(v, 3))
    count = vehicle["cylinders"]
    value = draw(st.lists(number, min_size=count, max_size=count) if quantity["kind"] == "list" else number)
    instrument = draw(st.sampled_from([None, *quantity["instruments"]]))
    return read(quantity["id"], value, instrument=instrument)


@st.composite
def case_documents(draw: st.DrawFn) -> dict:
    """A case document that the engine takes."""
    vehicle = {
        "layout": draw(st.sampled_from(LAYOUTS)), "supply": draw(st.sampled_from(SUPPLIES)),
        "cylinders": draw(st.integers(1, 8)),
    }  # fmt: skip
    codes = [row["code"] for row in CATALOGUE["codes"]]
    rule = draw(st.sampled_from(["simple", "guarded"]))
    return {
        "format": "railcase-case/1", "id": "case-1", "vehicle": vehicle, "limits": {"profile": "generic", "rule": rule},
        "complaints": draw(st.lists(st.sampled_from([r["id"] for r in CATALOGUE["complaints"]]), max_size=2)),
        "codes": draw(st.lists(st.sampled_from(codes), max_size=3)),
        "readings": draw(st.lists(readings_of(vehicle), max_size=25)),
    }  # fmt: skip
