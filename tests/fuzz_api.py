"""Made-up requests against the phone's API, in and out of what its OpenAPI document allows.

`python -m tests.fuzz_api [REQUESTS] [SEED]` sends that many (5,000 unless said otherwise) and prints what came back, per
address. An answer that is a server error, or not in the document by status, type or shape, ends it with exit code 1.
`tests/web/test_fuzz.py` does the same with few.
"""

import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, Phase, Verbosity, given, seed, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi import checks

from tests.actors import Phone
from tests.conftest import CHEAP, ROLES
from tests.engine.test_entries import BODIES_OF
from tests.web.test_photos import draw, speak_of
from webapp.app import create_app
from webapp.settings import Settings
from webapp.store import attempts, pairings, people
from webapp.store.attempts import Allowance
from webapp.store.db import Database, migrate
from webapp.store.scope import add_workshop, new_id

PREFIX = "/api/v1"
CHECKS = [
    not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_schema_conformance,
]
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
ENDLESS = Allowance("endless", 10**9, 600)
LITTLE = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from(["1" * 400, "\0", "\ud800"])
)
JSON = st.recursive(
    LITTLE, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
)


class Target:
    """A server in this process, with a phone that is let in and a photo that it has spoken of."""

    def __init__(self, folder: Path):
        made = Settings(data=folder, database_url=f"sqlite:///{folder / 'fuzz.db'}", secret_key="k" * 40)
        migrate(made)
        with Database(made).writing() as session:
            workshop = add_workshop(session, "own")
            for role in ROLES:
                people.add_person(workshop, name=role, role=role)
            person = next(row for row in people.list_people(workshop) if row.role == "technician")
            code = pairings.invite(workshop, person.id, needs_check=False).code
        self.app: Flask = create_app(made)
        self.phone = Phone(self.app, code)
        self.sums = [speak_of(self.phone, draw(colour=colour)) for colour in ("red", "blue")]
        self.schema = schemathesis.openapi.from_wsgi(f"{PREFIX}/openapi.json", self.app)
        self.seen: Counter = Counter()

    def send(self, case: Case, is_let_in: bool) -> None:
        token = self.phone.headers if is_let_in else {"Authorization": "Bearer dev_x.y"}
        response = case.call(headers={**token, "Accept-Encoding": "identity"})  # nobody unpacks here
        self.seen[f"{case.method} {case.operation.path}", response.status_code] += 1
        case.validate_response(response, checks=CHECKS, excluded_checks=[])

    def operations(self) -> Iterator[Any]:
        return (found.ok() for found in self.schema.get_all_operations())


def bodies() -> st.SearchStrategy:
    """Kinds with bodies that the engine takes, some with a part replaced by junk."""
    rows = [(kind, body | st.builds(spoil, body, JSON, st.integers(0, 9))) for kind, body in sorted(BODIES_OF.items())]
    return st.one_of(*(st.fixed_dictionaries({"kind": st.just(kind), "body": body}) for kind, body in rows))


def spoil(whole: dict, value: Any, place: int) -> dict:
    names = [*sorted(whole), "extra"]
    return {**whole, names[place % len(names)]: value}


def entries_of(phone: Phone) -> st.SearchStrategy:
    """Lists of entries that are real but for what hypothesis makes of a body, and now and then of one other part."""
    ids = st.builds(new_id) | st.just(phone.case)
    real = st.fixed_dictionaries(
        {
            "id": ids,
            "case": ids,
            "device": st.just(phone.install),
            "seq": st.integers(0, 99),
            "clock": st.integers(0, 99),
            "at": st.just("2026-11-24T09:00:00Z"),
            "by": st.just("me"),
        }
    )
    whole = st.builds(lambda head, tail: {**head, **tail}, real, bodies())
    return st.lists(st.one_of(whole, whole, st.builds(spoil, whole, JSON, st.integers(0, 9)), JSON), max_size=4)


def aim_at_photos(target: Target) -> list[tuple[str, st.SearchStrategy]]:
    """Whole photos and pieces under the sums that an entry has spoken of."""
    types, sums = st.sampled_from(["image/png", "image/jpeg", "image/webp"]), st.sampled_from(target.sums)
    data = st.sampled_from([draw(), draw()[:20], draw()[20:], draw("JPEG"), draw("GIF")]) | st.binary(max_size=200)
    photo = target.schema[f"{PREFIX}/photos/{{sha256}}"]["PUT"]
    piece = target.schema[f"{PREFIX}/uploads/{{sha256}}/{{number}}"]["PUT"]
    finish = target.schema[f"{PREFIX}/uploads/{{sha256}}/finish"]["POST"]

    def put(name: str, body: bytes, type_: str) -> Case:
        return photo.Case(path_parameters={"sha256": name}, body=body, media_type=type_)

    def put_piece(name: str, number: int, body: bytes) -> Case:
        return piece.Case(
            path_parameters={"sha256": name, "number": number}, body=body, media_type="application/octet-stream"
        )

    def end(name: str, size: Any, type_: str) -> Case:
        body = json.dumps({"size": size, "type": type_}).encode()
        return finish.Case(path_parameters={"sha256": name}, body=body, media_type="application/json")

    return [
        ("photos spoken of", st.builds(put, sums, data, types)),
        ("pieces of photos spoken of", st.builds(put_piece, sums, st.integers(-1, 70), data)),
        ("finished photos spoken of", st.builds(end, sums, st.just(len(draw())) | LITTLE, types | st.text(max_size=9))),
    ]


def plan(target: Target) -> list[tuple[str, st.SearchStrategy]]:
    """Where to aim: each operation as the document has it and as it has it not; then deeper into sync and photos."""
    rows = [
        (f"{operation.label} {mode.name.lower()}", operation.as_strategy(generation_mode=mode))
        for operation in target.operations()
        for mode in MODES
    ]
    sync = target.schema[f"{PREFIX}/sync"]["POST"]
    message = {"format": st.just("railcase-sync/1"), "app": st.just("fuzz"), "cursor": st.integers(0, 200)}
    messages = st.fixed_dictionaries({**message, "entries": entries_of(target.phone)})
    cases = messages.map(lambda body: sync.Case(body=json.dumps(body).encode(), media_type="application/json"))
    return [*rows, ("sync with entries", cases), *aim_at_photos(target)]


def fuzz(target: Target, requests: int, first_seed: int | None = None) -> None:
    """Without a seed the same requests each time."""
    rows = plan(target)
    for number, (name, strategy) in enumerate(rows):
        send = given(case=strategy, is_let_in=st.sampled_from([True] * 9 + [False]))(target.send)
        run = settings(
            max_examples=-(-requests // len(rows)), deadline=None, database=None, verbosity=Verbosity.quiet,
            phases=[Phase.generate], suppress_health_check=list(HealthCheck), derandomize=first_seed is None,
        )(send)  # fmt: skip
        try:
            (run if first_seed is None else seed(first_seed + number)(run))()
        except Exception as problem:
            problem.add_note(f"while aiming at: {name}")
            raise


def open_doors(patch: pytest.MonkeyPatch) -> None:
    """Guessing at codes is not what is tried here, nor how slow a hash is."""
    for name in ("PAIR_ADDRESS", "PAIR_ALL"):
        patch.setattr(attempts, name, ENDLESS)
    for module in (people, pairings):
        patch.setattr(module, "hasher", CHEAP)


def main(requests: int = 5000, first_seed: int = 1) -> None:
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        open_doors(patch)
        target = Target(Path(folder))
        try:
            fuzz(target, requests, first_seed)
        finally:
            for (address, status), count in sorted(target.seen.items()):
                print(f"{count:6} {status} {address}")
            print(f"{sum(target.seen.values()):6} requests, seed {first_seed}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
