"""The catalogue, opened for use: the same data, indexed by id.

Rules for this file: no judgement; the catalogue arrives already validated by the library's schemas, so nothing is
checked twice here.
`weights` of a workshop's own take the place of the faults' priors in the cases that name them; the library has none.
A *book* is a named tuple of dicts by id, plus the ordered lists where order matters (dicts have none on the phone).
"""

from collections import namedtuple

Book = namedtuple(
    "Book",
    (
        "quantities",
        "quantity_order",
        "checks",
        "check_order",
        "profiles",
        "limits",
        "faults",
        "components",
        "gate",
        "codes",
        "instruments",
        "cautions",
        "layouts",
        "supplies",
        "complaints",
        "safe_layout",
        "signatures",
        "equipment",
        "weights",
    ),
)


def by_id(rows: list, key: str = "id") -> dict:
    return {row[key]: row for row in rows}


def limit_tables(profiles: list) -> dict:
    """Return the limits of each profile as {profile id: {quantity id: limit row}}.

    A profile may name a `base`, an earlier one in the list: it then holds only the rows in which it differs from it.
    """
    tables: dict = {}
    for profile in profiles:
        table = dict(tables[profile["base"]]) if profile.get("base") else {}
        table.update(by_id(profile["limits"], "quantity"))
        tables[profile["id"]] = table
    return tables


def open_book(catalogue: dict) -> Book:
    """Index a catalogue (CASE.md 'railcase catalogue', validated by the library)."""
    checks = sorted(catalogue["checks"], key=lambda check: check["order"])
    layouts = catalogue["layouts"]
    safe = [row["id"] for row in layouts if row.get("safe_default")] or [layouts[0]["id"]]
    return Book(
        by_id(catalogue["quantities"]),
        [row["id"] for row in catalogue["quantities"]],
        by_id(checks),
        [row["id"] for row in checks],
        by_id(catalogue["profiles"]),
        limit_tables(catalogue["profiles"]),
        catalogue["faults"],
        catalogue["components"],
        catalogue["gate"],
        by_id(catalogue["codes"], "code"),
        by_id(catalogue["instruments"]),
        by_id(catalogue["cautions"]),
        [row["id"] for row in layouts],
        [row["id"] for row in catalogue["supplies"]],
        [row["id"] for row in catalogue["complaints"]],
        safe[0],
        catalogue["signatures"],
        sorted(set([name for check in checks for name in check["equipment"]])),
        {row["id"]: row["weights"] for row in catalogue.get("weights") or []},
    )


def fits_vehicle(row: dict, vehicle: dict) -> bool:
    """True when a quantity, check, component, fault or gate row exists on a vehicle of this layout and supply."""
    return vehicle["layout"] in row["layouts"] and vehicle["supply"] in row["supplies"]
