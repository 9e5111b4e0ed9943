"""Every address tried as everybody: nobody, each role, the other workshop, a phone, and a phone that was shut out.

The rows below must name every address of the server; a new one without a row fails the first test. `who` says whom the
address lets in: `all`, `phone`, or roles at a desk.
"""

from typing import NamedTuple

import pytest

from tests.actors import Desk
from tests.conftest import own_workshop
from webapp.store import devices, people

ROLES = ("technician", "apprentice", "office")
READERS, WRITERS, OFFICE = ROLES, ("technician", "office"), ("office",)
ANY_ID = "01900000-0000-7000-8000-000000000000"
ANY_SHA = "0" * 64


class Address(NamedTuple):
    method: str
    rule: str
    who: str | tuple[str, ...]

    def fill(self, **ids: str) -> str:
        filled = {
            "case_id": ANY_ID,
            "person_id": ANY_ID,
            "pairing_id": ANY_ID,
            "sha256": ANY_SHA,
            "key": "0" * 24,
            "name": "js/app.js",
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
    Address("GET", "/catalogue.json", "all"),
    Address("GET", "/static/<path:name>", "all"),
    Address("GET", "/healthz", "all"),
    Address("GET", "/injury", "all"),
    Address("GET", "/api/v1/openapi.json", "all"),
    Address("POST", "/api/v1/pair", "all"),
    Address("GET", "/api/v1/pair", "pairing"),
    Address("POST", "/api/v1/sync", "phone"),
    Address("PUT", "/api/v1/photos/<sha256>", "phone"),
    Address("GET", "/api/v1/photos/<sha256>", "phone"),
    Address("GET", "/api/v1/uploads/<sha256>", "phone"),
    Address("PUT", "/api/v1/uploads/<sha256>/<int:number>", "phone"),
    Address("POST", "/api/v1/uploads/<sha256>/finish", "phone"),
    Address("GET", "/account/sign-in", "all"),
    Address("POST", "/account/sign-in", "all"),
    Address("POST", "/account/sign-out", READERS),
    Address("GET", "/account/sign-ins", READERS),
    Address("POST", "/account/sign-ins/end-others", READERS),
    Address("GET", "/account/password", READERS),
    Address("POST", "/account/password", READERS),
    Address("GET", "/office/", READERS),
    Address("GET", "/office/cases/<case_id>", READERS),
    Address("GET", "/office/cases/<case_id>/report", READERS),
    Address("GET", "/office/photos/<sha256>", READERS),
    Address("POST", "/office/cases/<case_id>/notes", WRITERS),
    Address("POST", "/office/cases/<case_id>/outcome", WRITERS),
    Address("POST", "/office/cases/<case_id>/reopen", WRITERS),
    Address("GET", "/office/people", OFFICE),
    Address("POST", "/office/people", OFFICE),
    Address("GET", "/office/people/<person_id>", OFFICE),
    Address("POST", "/office/people/<person_id>/role", OFFICE),
    Address("POST", "/office/people/<person_id>/password", OFFICE),
    Address("POST", "/office/people/<person_id>/sign-out", OFFICE),
    Address("POST", "/office/people/<person_id>/active", OFFICE),
    Address("GET", "/office/devices", OFFICE),
    Address("POST", "/office/devices/<key>/revoke", OFFICE),
    Address("POST", "/office/pairings", OFFICE),
    Address("GET", "/office/pairings/<pairing_id>", OFFICE),
    Address("POST", "/office/pairings/<pairing_id>/confirm", OFFICE),
    Address("POST", "/office/pairings/<pairing_id>/refuse", OFFICE),
]
each_address = pytest.mark.parametrize("address", ADDRESSES, ids=lambda row: f"{row.method} {row.rule}")
each_with_an_id = pytest.mark.parametrize(
    "address", [row for row in ADDRESSES if {"<case_id>", "<person_id>", "<key>"} & set(row.rule.split("/"))],
    ids=lambda row: f"{row.method} {row.rule}",
)  # fmt: skip


def test_every_address_has_a_row(app):
    served = {(method, rule.rule) for rule in app.url_map.iter_rules() for method in rule.methods - {"HEAD", "OPTIONS"}}
    assert served == {(row.method, row.rule) for row in ADDRESSES}
    assert len(served) == len(ADDRESSES)


def call(desk: Desk, address: Address, headers: dict | None = None, **ids: str):
    """As a desk would: posts carry the form's token."""
    form = {}
    if address.method == "POST" and not address.rule.startswith("/api/"):
        form = {"csrf_token": desk.token("/account/password" if desk.get("/account/password").status_code == 200 else
                                         "/account/sign-in")}  # fmt: skip
    return desk.client.open(address.fill(**ids), method=address.method, data=form or None, headers=headers)


def is_let_in(answer) -> bool:
    """Whatever the answer to the request itself was, it did get past the door."""
    is_sent_to_sign_in = answer.status_code == 302 and answer.location.startswith("/account/sign-in?")
    return not is_sent_to_sign_in and answer.status_code not in (401,) and "This needs the role" not in answer.text


@each_address
def test_nobody(app, nobody, address):
    assert is_let_in(call(nobody, address)) == (address.who == "all")


@pytest.mark.parametrize("role", ROLES)
@each_address
def test_each_role_at_a_desk(app, address, role):
    answer = call(Desk(app, f"{role}@own"), address)
    assert is_let_in(answer) == (address.who == "all" or role in address.who)
    if address.who == "phone":
        assert answer.status_code == 401


@each_address
def test_a_phone(nobody, technician, address):
    assert is_let_in(call(nobody, address, technician.headers)) == (address.who in ("all", "phone", "pairing"))


@each_address
def test_a_phone_that_was_shut_out(nobody, technician, database, address):
    with database.writing() as session:
        workshop = own_workshop(session)
        devices.revoke_device(workshop, devices.list_devices(workshop)[0][0].key)
    assert is_let_in(call(nobody, address, technician.headers)) == (address.who == "all")


@each_with_an_id
def test_the_other_workshops_office(technician, office, other_office, database, address):
    technician.sync(technician.opening())
    with database.reading() as session:
        workshop = own_workshop(session)
        ids = {"case_id": technician.case, "person_id": people.list_people(workshop)[0].id,
               "key": devices.list_devices(workshop)[0][0].key}  # fmt: skip
    form = {
        "text": "x",
        "fault": "pump_worn",
        "reason": "x",
        "role": "office",
        "password": "six plain words",
        "active": "no",
    }
    own, other = (
        desk.get(address.fill(**ids)) if address.method == "GET" else desk.post(address.fill(**ids), **form)
        for desk in (office, other_office)
    )
    assert other.status_code == 404, "the other workshop's office must not even learn that it exists"
    assert own.status_code in (200, 303, 409), own.text


@each_address
def test_what_a_phone_may_do_no_cookie_can(office, address):
    if address.who == "phone":
        assert call(office, address).status_code == 401


@pytest.mark.parametrize("address", [row for row in ADDRESSES if row.method == "POST" and not row.rule.startswith("/api/")],
                         ids=lambda row: row.rule)  # fmt: skip
@pytest.mark.parametrize("token", [None, "", "wrong"])
def test_a_form_without_its_token_does_nothing(office, address, token):
    data = {} if token is None else {"csrf_token": token}
    answer = office.client.post(address.fill(), data=data)
    assert answer.status_code == 400
    assert office.get("/office/").status_code == 200


def test_a_view_that_says_nothing_is_shut(app, office):
    app._got_first_request = False
    app.add_url_rule("/forgotten", endpoint="forgotten", view_func=lambda: "open")
    assert office.get("/forgotten").status_code == 403
