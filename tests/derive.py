"""Derive webapp/library/signatures.json: `python -m tests.derive` (about a minute; the file is committed).

For every hypothesis and layout thousands of virtual vehicles (engine/vehicle.py, ranges at width 1) are drawn at random
severity; each quantity's true value becomes a level (engine/levels.py). What two readings have in common beyond the fault
(severity, which wire broke, how many injectors) is found as latent classes by expectation-maximisation: within a class
readings are independent, so three pressures of one weak pump are not three proofs. The tables are then softened towards
neighbouring levels, because real vehicles scatter more than the model's.
Reference: latent class analysis by EM is textbook (Dempster, Laird and Rubin 1977), from memory.
"""

import json
import sys
from pathlib import Path

import numpy as np

from webapp.engine.book import Book, open_book
from webapp.engine.isolation import HEALTHY, OTHER, PATTERN, PRESSURE, RETURN, UNEVEN_FROM, outcome_names
from webapp.engine.levels import (
    EDGES,
    conductance_coordinate,
    level_names,
    level_weights,
    limit_kind,
    list_coordinate,
    to_coordinate,
)
from webapp.engine.limits import Limit, resolve_limits
from webapp.engine.returns import compare_cylinders
from webapp.engine.vehicle import make_car, true_values
from webapp.library import loader

OUT = Path(__file__).parents[1] / "webapp/library/signatures.json"
VEHICLES = 3000
WIDTH = 1.15  # of the vehicle's ranges; tests/validate.py goes to 1.3
CLASSES = 9
ROUNDS = 100
STARTS = 3
SOFTENING = 0.02  # share that leaks to each neighbouring level: judgement
PATTERN_SOFTENING = 0.06  # judgement: of the return per bar, whose scale differs more from engine to engine than the model's
PSEUDO_COUNT = 0.5
NEGLIGIBLE = 25  # per mille: a table that close to the sound one is left out
PER_MILLE = 1000
RISE_TARGET_BAR = 285.0
CYLINDERS = (3, 4, 4, 4, 5, 6)


def level_of(quantity: dict, value: object, limit: Limit) -> str | None:
    """Return the level or choice of a true value."""
    kind = limit_kind(limit)
    if quantity["kind"] == "choice":
        return str(value)
    if quantity["kind"] == "list":
        found = compare_cylinders(value, [1e-9] * len(value), 30.0 if quantity["needs_duration"] else None, limit)  # type: ignore[arg-type]
        if kind != "list":
            return "in" if found.inside else "out"
        return next(iter(level_weights(list_coordinate(found, limit), 0.0, kind)))
    if kind is None:
        return None
    return next(iter(level_weights(to_coordinate(value, limit)[0], 0.0, kind)))  # type: ignore[arg-type]


def draw_levels(fault: str, layout: str, book: Book, limits: dict, first_seed: int) -> list[dict]:
    """Return {quantity: level} of many vehicles with a fault, both kinds of supply read from each."""
    rows = []
    for seed in range(first_seed, first_seed + VEHICLES):
        supply = book.supplies[seed % 2]
        values = true_values(
            make_car(seed, layout, supply, CYLINDERS[seed % len(CYLINDERS)], fault, None, WIDTH), RISE_TARGET_BAR
        )
        row = {name: level_of(book.quantities[name], value, limits[name]) for name, value in values.items()}
        rates, bar = [2.0 * v for v in values[RETURN]], values[PRESSURE]
        coordinate = conductance_coordinate(rates, bar, limits[RETURN], limits[PRESSURE])
        if coordinate is not None:
            uneven = len(level_names("conductance")) if int(row[RETURN]) >= UNEVEN_FROM else 0
            row[PATTERN] = str(int(next(iter(level_weights(coordinate, 0.0, "conductance")))) + uneven)
        if "crank_rise_time" not in values and values[PRESSURE] > 0.0:
            # never reached: whoever writes down a time all the same writes a slow one
            slow = level_names("high")[EDGES["high"].index(1.0) + 1 :]
            row["crank_rise_time"] = slow[seed % len(slow)]
        rows.append(row)
    return rows


def one_hot(rows: list[dict], names: list[str]) -> np.ndarray:
    """Return (vehicles, levels), a row of zeros where the quantity could not be read."""
    index = {name: i for i, name in enumerate(names)}
    found = np.zeros((len(rows), len(names)))
    for i, level in enumerate(rows):
        if level is not None:
            found[i, index[level]] = 1.0
    return found


def find_classes(data: dict[str, np.ndarray], classes: int, seed: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Return the likeliest of several starts: class shares and {quantity: (classes, levels)} tables."""
    found = [climb(data, classes, 100 * seed + start) for start in range(STARTS if classes > 1 else 1)]
    _, shares, tables = max(found, key=lambda row: row[0])
    return shares, tables


def climb(data: dict[str, np.ndarray], classes: int, seed: int) -> tuple[float, np.ndarray, dict[str, np.ndarray]]:
    """Latent classes by EM from one start: log-likelihood, shares, tables."""
    count = len(next(iter(data.values())))
    belief = np.random.default_rng(seed).dirichlet(np.full(classes, 0.3), count)
    for _ in range(ROUNDS):
        shares = (belief.sum(0) + 1.0) / (count + classes)
        tables = {}
        for name, hot in data.items():
            counts = belief.T @ hot + PSEUDO_COUNT / hot.shape[1]
            tables[name] = counts / counts.sum(1, keepdims=True)
        logs = np.log(shares) + sum(hot @ np.log(tables[name]).T for name, hot in data.items())
        belief = np.exp(logs - logs.max(1, keepdims=True))
        belief /= belief.sum(1, keepdims=True)
    top = logs.max(1, keepdims=True)
    return float((np.log(np.exp(logs - top).sum(1)) + top[:, 0]).sum()), shares, tables


def soften(table: np.ndarray, share: float, blocks: int = 1) -> np.ndarray:
    """Let a share of every level leak to its neighbours; blocks of levels (even and uneven returns) are no neighbours."""
    rows = table.reshape(len(table) * blocks, -1)
    leaked = rows * (1.0 - 2.0 * share)
    leaked[:, 1:] += share * rows[:, :-1]
    leaked[:, :-1] += share * rows[:, 1:]
    leaked[:, 0] += share * rows[:, 0]
    leaked[:, -1] += share * rows[:, -1]
    return leaked.reshape(table.shape)


def soften_quantity(name: str, levels: list[str], table: np.ndarray) -> np.ndarray:
    """Soften a quantity's tables; choices and in/out have no neighbours."""
    if levels[0] != "0":
        return table
    return soften(table, PATTERN_SOFTENING, 2) if name == PATTERN else soften(table, SOFTENING)


def to_per_mille(row: np.ndarray) -> list[int]:
    return [round(PER_MILLE * p) for p in row]


def derive_layout(layout: str, book: Book, limits: dict) -> dict:
    """Return {"base": {quantity: table}, "faults": {fault: {"shares", "classes": [{quantity: table}]}}} of a layout."""
    faults = [f["id"] for f in book.faults if layout in f["layouts"] and f["id"] != OTHER]
    names = {
        q["id"]: outcome_names(q, limits[q["id"]])
        for q in book.quantities.values()
        if layout in q["layouts"] and q["id"] in limits
    }
    names[PATTERN] = [str(i) for i in range(2 * len(level_names("conductance")))]
    found: dict = {"base": {}, "faults": {}}
    for number, fault in enumerate(sorted(faults, key=lambda name: name != HEALTHY)):
        rows = draw_levels(fault, layout, book, limits, 1_000_000 * (number + 1))
        data = {name: one_hot([row.get(name) for row in rows], levels) for name, levels in names.items()}
        shares, tables = find_classes(data, 1 if fault == HEALTHY else CLASSES, number)
        soft = {name: soften_quantity(name, names[name], table) for name, table in tables.items()}
        whole = {name: [to_per_mille(row) for row in table] for name, table in soft.items()}
        if fault == HEALTHY:
            found["base"] = {name: table[0] for name, table in whole.items()}
        found["faults"][fault] = {"shares": to_per_mille(shares), "classes": differing(whole, found["base"], len(shares))}
        print(layout, fault, [round(float(s), 2) for s in shares], file=sys.stderr, flush=True)
    return found


def differing(tables: dict[str, list[list[int]]], base: dict[str, list[int]], classes: int) -> list[dict]:
    """Return per class the tables that differ from the sound vehicle's."""
    return [
        {
            name: rows[c]
            for name, rows in sorted(tables.items())
            if max(abs(a - b) for a, b in zip(rows[c], base[name], strict=True)) > NEGLIGIBLE
        }
        for c in range(classes)
    ]


def raw_catalogue() -> dict:
    """Return the library without its cross-checks: the signatures may be missing or of another shape than wanted now."""
    catalogue = {key: loader.read_json(loader.FOLDER, name) for key, (name, _) in loader.LISTS.items()}
    for key, (folder, _) in loader.FOLDERS.items():
        catalogue[key] = [json.loads(path.read_text()) for path in sorted((loader.FOLDER / folder).glob("*.json"))]
    return {**catalogue, **loader.read_json(loader.FOLDER, "vehicle.json"), "signatures": {"layouts": {}}}


def derive() -> dict:
    book = open_book(raw_catalogue())
    chosen = {"profile": "generic", "overrides": {}}
    limits = resolve_limits(chosen, {}, book)
    layouts = {layout: derive_layout(layout, book, limits) for layout in book.layouts}
    about = (
        f"Derived from {VEHICLES} virtual vehicles a hypothesis and layout (engine/vehicle.py) by tests/derive.py: latent "
        "classes, tables in per mille by level. Basis: judgement, through the model's ranges; not measured on vehicles."
    )
    return {"about": about, "basis": "judgement", "per_mille": PER_MILLE, "layouts": layouts}


def main() -> None:
    found = derive()
    text = json.dumps(found, separators=(",", ":"), sort_keys=True).replace('},"', '},\n"')
    OUT.write_text(text + "\n")
    print(f"{OUT.name}: {len(text) / 1024:.0f} KB")


if __name__ == "__main__":
    main()
