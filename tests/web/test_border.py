"""Every address tried as everybody, with the exact answer.

The rows below must name every address of the server; a new one without a row fails the first test. `who` says whom the
address lets in: `all`, `pairing` (any phone that holds a token), `phone` (one that was let in), or roles at a desk. What
everybody else is told follows from that, and is the same at every address of its kind.
"""

from typing import Any, NamedTuple

import pytest

from tests.actors import TOKEN
from tests.conftest import BOTH
from tests.web.world import AGES, PICTURE, World, dump_world

DATABASES = BOTH
ROLES = ("technician", "apprentice", "office")
READERS, WRITERS, OFFICE = ROLES, ("technician", "office"), ("office",)
ANY_ID = "01900000-0000-7000-8000-000000000000"
ANY_SHA = "0" * 64
PHOTO: dict[str, Any] = {"data": PICTURE, "content_type": "image/png"}
CRANK = {"seen": "1", "low": "250", "basis": "judgement", "note": "x"}
CHANGES = {"seen": "1", "changes": "{}"}
OUTCOME = {"fault": "pump_worn", "text": "x"}


class Address(NamedTuple):
    """`answer` is the status for those who are let in, with `sent` in the form or body; `elsewhere` that for the other
    workshop; `proved`: the password has to have been given a short while ago."""

    method: str
    rule: str
    who: str | tuple[str, ...]
    answer: int = 200
    sent: dict | None = None
    elsewhere: int | None = None
    proved: bool = False

    def fill(self, **ids: str) -> str:
        filled = {
            "case_id": ANY_ID,
            "person_id": ANY_ID,
            "pairing_id": ANY_ID,
            "view_id": ANY_ID,
            "sha256": ANY_SHA,
            "key": "0" * 24,
            "profile": "vans",
            "quantity": "crank_pressure",
            "name": "js/app.js",
            "instrument": "none",
            **ids,
        }
        path = self.rule.replace("<path:name>", "<name>").replace("<int:number>", "0")
        for name, value in filled.items():
            path = path.replace(f"<{name}>", value)
        return path


ADDRESSES = [
    Address("GET", "/", "all"),
    Address("GET", "/sw.js", "all"),
    Address("GET", "/manifest.webmanifest", "all"),
    Address("GET", "/engine.json", "all"),
    Address("GET", "/pack.json", "all"),
    Address("GET", "/catalogue.json", "all"),
    Address("GET", "/static/<path:name>", "all"),
    Address("GET", "/healthz", "all"),
    Address("GET", "/readyz", "all"),
    Address("GET", "/metrics", "all", 404),
    Address("GET", "/injury", "all"),
    Address("GET", "/about", "all"),
    Address("GET", "/api/v1/openapi.json", "all"),
    Address("POST", "/api/v1/pair", "all", 422, {"json": {}}),
    Address("GET", "/api/v1/pair", "pairing"),
    Address("POST", "/api/v1/sync", "phone", 422, {"json": {}}),
    Address("PUT", "/api/v1/photos/<sha256>", "phone", 200, PHOTO, 409),
    Address("GET", "/api/v1/photos/<sha256>", "phone", 200, None, 404),
    Address("GET", "/api/v1/uploads/<sha256>", "phone", 200, None, 409),
    Address("PUT", "/api/v1/uploads/<sha256>/<int:number>", "phone", 200, PHOTO, 409),
    Address(
        "POST", "/api/v1/uploads/<sha256>/finish", "phone", 200, {"json": {"size": len(PICTURE), "type": "image/png"}}, 409
    ),
    Address("GET", "/account/sign-in", "all"),
    Address("POST", "/account/sign-in", "all", 422),
    Address("POST", "/account/sign-out", READERS, 303),
    Address("GET", "/account/sign-ins", READERS),
    Address("POST", "/account/sign-ins/end-others", READERS, 303),
    Address("GET", "/account/password", READERS),
    Address("POST", "/account/password", READERS, 422),
    Address("GET", "/office/", READERS),
    Address("GET", "/office/cases/<case_id>", READERS, 200, None, 404),
    Address("GET", "/office/cases/<case_id>/report", READERS, 200, None, 404),
    Address("GET", "/office/cases/<case_id>/report.pdf", READERS, 200, None, 404),
    Address("GET", "/office/cases/<case_id>/archive.zip", WRITERS, 200, None, 404),
    Address("GET", "/office/export", WRITERS),
    Address("GET", "/office/photos/<sha256>", READERS, 200, None, 404),
    Address("POST", "/office/cases/<case_id>/notes", WRITERS, 303, {"text": "x"}, 404),
    Address("POST", "/office/cases/<case_id>/outcome", WRITERS, 303, OUTCOME, 404),
    Address("POST", "/office/cases/<case_id>/reopen", WRITERS, 303, {"reason": "x"}, 404),
    Address("POST", "/office/cases/<case_id>/job", WRITERS, 422, None, 404),
    Address("POST", "/office/cases/<case_id>/comments", WRITERS, 303, {"text": "x"}, 404),
    Address("POST", "/office/cases/<case_id>/answers", WRITERS, 409, {"question": "x", "text": "x"}, 404),
    Address("POST", "/office/cases/<case_id>/review", OFFICE, 409, {"seen": "1"}, 404),
    Address("GET", "/office/cases/<case_id>/merge", OFFICE, 200, None, 404),
    Address("POST", "/office/cases/<case_id>/merge", OFFICE, 404, {"target": ANY_ID}),
    Address("POST", "/office/cases/<case_id>/separate", OFFICE, 409, None, 404),
    Address("GET", "/office/jobs/new", WRITERS),
    Address("POST", "/office/jobs", WRITERS, 422),
    Address("POST", "/office/views", READERS, 422),
    Address("POST", "/office/views/<view_id>/delete", READERS, 404),
    Address("GET", "/office/insights", WRITERS),
    Address("GET", "/office/limits", OFFICE),
    Address("POST", "/office/limits", OFFICE, 303, {"name": "New", "kind": "family", "base": "generic"}),
    Address("GET", "/office/limits/<profile>", OFFICE, 200, None, 404),
    Address("GET", "/office/limits/<profile>/export", OFFICE, 200, None, 404),
    Address("GET", "/office/limits/<profile>/edit/<quantity>", OFFICE, 200, None, 404),
    Address("POST", "/office/limits/<profile>/edit/<quantity>", OFFICE, 200, CRANK, 404),
    Address("POST", "/office/limits/<profile>/import", OFFICE, 422, None, 404),
    Address("POST", "/office/limits/<profile>/publish", OFFICE, 200, CHANGES, 404),
    Address("GET", "/office/cases/<case_id>/limits", OFFICE, 200, None, 404),
    Address("POST", "/office/cases/<case_id>/limits", OFFICE, 303, {"under": "generic"}, 404),
    Address("POST", "/office/insights/weights", OFFICE, 422),
    Address("GET", "/office/instruments", WRITERS),
    Address("POST", "/office/instruments", OFFICE, 422),
    Address("GET", "/office/instruments/<instrument>", WRITERS, 404),
    Address("POST", "/office/instruments/<instrument>", OFFICE, 404),
    Address("GET", "/office/privacy", OFFICE),
    Address("GET", "/office/privacy/export", OFFICE, 404),
    Address("POST", "/office/privacy/erase", OFFICE, 422, None, proved=True),
    Address("POST", "/office/privacy/retention", OFFICE, 303, {"months": "12", "go": "yes"}, proved=True),
    Address("POST", "/office/privacy/due", OFFICE, 303, None, proved=True),
    Address("GET", "/office/people", OFFICE),
    Address("POST", "/office/people", OFFICE, 303, {"name": "New", "role": "apprentice"}, proved=True),
    Address("GET", "/office/people/<person_id>", OFFICE, 200, None, 404),
    Address("POST", "/office/people/<person_id>/role", OFFICE, 303, {"role": "technician"}, 404, proved=True),
    Address("POST", "/office/people/<person_id>/password", OFFICE, 303, {"password": "six plain words"}, 404, proved=True),
    Address("POST", "/office/people/<person_id>/sign-out", OFFICE, 303, None, 404),
    Address("POST", "/office/people/<person_id>/active", OFFICE, 303, {"active": "no"}, 404, proved=True),
    Address("GET", "/office/devices", OFFICE),
    Address("POST", "/office/devices/<key>/revoke", OFFICE, 303, None, 404, proved=True),
    Address("POST", "/office/pairings", OFFICE, 422, None, proved=True),
    Address("GET", "/office/pairings/<pairing_id>", OFFICE, 200, None, 404),
    Address("POST", "/office/pairings/<pairing_id>/confirm", OFFICE, 303, None, 404, proved=True),
    Address("POST", "/office/pairings/<pairing_id>/refuse", OFFICE, 303, None, 404),
]
each_address = pytest.mark.parametrize("address", ADDRESSES, ids=lambda row: f"{row.method} {row.rule}")
DESKS = {f"{role} at a desk": role for role in ROLES} | {"the other workshop's office": "office"}
DESKS |= {actor: "office" for actor in AGES if AGES[actor] == "proved_at"}
NOT_AT_A_DESK = (
    "nobody",
    "an office person who is out",
    "an office that signed out",
    *(actor for actor in AGES if AGES[actor] != "proved_at"),
)
PHONES = ("technician's phone", "apprentice's phone", "the other workshop's phone")
WAITING = "a phone that waits for the office"
SHUT_PHONES = ("a phone that was shut out", "the phone of a person who is out")
ACTORS = (*DESKS, *NOT_AT_A_DESK, *PHONES, WAITING, *SHUT_PHONES)


def test_every_address_has_a_row(onlooked):
    served = {(method, rule.rule) for rule in onlooked.url_map.iter_rules() for method in rule.methods - {"HEAD", "OPTIONS"}}
    assert served == {(row.method, row.rule) for row in ADDRESSES}
    assert len(served) == len(ADDRESSES)


def test_everybody_of_the_world_is_tried(world):
    assert set(ACTORS) == set(world.keys)


def answer_inside(address: Address, actor: str) -> int:
    return address.elsewhere or address.answer if actor.startswith("the other workshop") else address.answer


def expect(address: Address, actor: str) -> tuple[int, str]:
    """The status and words that the answer must hold."""
    if address.who == "all":
        return address.answer, ""
    if address.who in ("phone", "pairing"):
        is_in = actor in PHONES or (address.who == "pairing" and actor == WAITING)
        shut = "shut this phone out" if actor in SHUT_PHONES else "not known here"
        return (answer_inside(address, actor), "") if is_in else (401, shut)
    if actor not in DESKS:
        return (302, "/account/sign-in?next=") if address.method == "GET" else (401, "no longer signed in")
    if DESKS[actor] not in address.who:
        return 403, "This needs the role"
    if address.proved and AGES.get(actor) == "proved_at":
        return 403, "Your password once more"
    return answer_inside(address, actor), ""


def knock(client, world: World, address: Address, actor: str):
    """As this actor's browser or phone would: a desk sends the form's token, a phone its own."""
    options = dict(address.sent or {})
    token = world.keys[actor].token
    if address.method == "POST" and not address.rule.startswith("/api/"):
        page = "/account/password" if actor in DESKS else "/account/sign-in"
        found = TOKEN.search(client.get(page).text)
        assert found
        options = {"data": {**options, "csrf_token": found[1]}}
    headers = {"Authorization": f"Bearer {token}"} if token else None
    return client.open(address.fill(**world.ids), method=address.method, headers=headers, **options)


def is_let_in(address: Address, actor: str) -> bool:
    return expect(address, actor) == (answer_inside(address, actor), "")


def assert_exact(answer, address: Address, actor: str) -> None:
    status, words = expect(address, actor)
    assert answer.status_code == status, (actor, answer.get_data()[:2000])
    assert words.encode() in (answer.location or "").encode() + answer.get_data(), actor


@each_address
def test_those_who_are_let_in(world, tmp_path, onlooked, address):
    app = onlooked
    for number, actor in enumerate(actor for actor in ACTORS if is_let_in(address, actor)):
        if address.method != "GET" and address.answer < 400:  # each finds the world as it was
            app = world.copy(tmp_path / str(number))
        assert_exact(knock(world.enter(app, actor), world, address, actor), address, actor)


@each_address
def test_those_who_are_not(world, onlooked, address):
    before = dump_world(onlooked)
    for actor in ACTORS:
        if not is_let_in(address, actor):
            assert_exact(knock(world.enter(onlooked, actor), world, address, actor), address, actor)
    assert dump_world(onlooked) == before


@each_address
def test_a_key_of_the_wrong_kind_opens_nothing(world, onlooked, address):
    """A desk's cookie is no token, a phone's token is no cookie."""
    client = world.enter(onlooked, "nobody")
    cookie, token = world.keys["office at a desk"].cookie, world.keys["technician's phone"].token
    client.set_cookie("railcase", token)
    answer = client.open(address.fill(**world.ids), method=address.method, headers={"Authorization": f"Bearer {cookie}"})
    assert answer.status_code in (address.answer, 415, 400) if address.who == "all" else answer.status_code in (302, 401)


@each_address
def test_another_sites_page_changes_nothing(world, onlooked, address):
    if address.method == "GET":
        return
    client = world.enter(onlooked, "office at a desk")
    answer = client.open(address.fill(**world.ids), method=address.method, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403
    assert "another site" in answer.text


@pytest.mark.parametrize("address", [row for row in ADDRESSES if row.method == "POST" and not row.rule.startswith("/api/")],
                         ids=lambda row: row.rule)  # fmt: skip
@pytest.mark.parametrize("token", [None, "", "wrong"])
def test_a_form_without_its_token_does_nothing(world, onlooked, address, token):
    client = world.enter(onlooked, "office at a desk")
    data = {} if token is None else {"csrf_token": token}
    assert client.post(address.fill(), data=data).status_code == 400
    assert client.get("/office/").status_code == 200


def test_a_view_that_says_nothing_is_shut(app, office):
    app._got_first_request = False
    app.add_url_rule("/forgotten", endpoint="forgotten", view_func=lambda: "open")
    assert office.get("/forgotten").status_code == 403
