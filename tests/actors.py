"""Who the web tests act as: a phone that syncs and a desk that is signed in, each through the real addresses."""

import re
from itertools import count

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from webapp.store.scope import new_id

PASSWORD = "three plain words"
TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


class Phone:
    """A paired phone. `entry` makes entries as the app does; nothing is sent before `sync`."""

    def __init__(self, app: Flask, code: str, name: str = "phone in the van", install: str | None = None):
        self.client = app.test_client()
        self.install = install or new_id()
        self.case = new_id()
        self.numbers = count(1)
        self.cursor = 0
        self.paired = self.client.post("/api/v1/pair", json={"code": code, "device_name": name, "install": self.install})
        self.token = (self.paired.json or {}).get("token", "")

    @property
    def headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}"}

    def entry(self, kind: str, body: dict, **other) -> dict:
        number = next(self.numbers)
        return {
            "id": new_id(), "case": self.case, "device": self.install, "seq": number, "clock": number,
            "at": "2026-11-24T09:00:00.000Z", "by": "me", "kind": kind, "body": body, **other,
        }  # fmt: skip

    def opening(self, registration: str = "AB12 CDE", **vehicle) -> list[dict]:
        vehicle = {"registration": registration, "layout": "regulator-and-metering", "supply": "electric",
                   "cylinders": 4, **vehicle}  # fmt: skip
        return [self.entry("case_opened", {}), self.entry("vehicle_set", vehicle)]

    def reading(self, quantity: str, value, **other) -> dict:
        return self.entry("reading_taken", {"quantity": quantity, "value": value, **other})

    def post_sync(self, entries: list, cursor: int | None = None, **other) -> TestResponse:
        message = {"format": "railcase-sync/1", "app": "0.1.0", "entries": entries,
                   "cursor": self.cursor if cursor is None else cursor, **other}  # fmt: skip
        # buffered: what the server does after its answer is done when this returns
        return self.client.post("/api/v1/sync", json=message, headers=self.headers, buffered=True)

    def sync(self, entries: list, cursor: int | None = None) -> dict:
        response = self.post_sync(entries, cursor)
        assert response.status_code == 200, response.text
        return response.json

    def look(self) -> TestResponse:
        """Ask what the office said of this phone."""
        return self.client.get("/api/v1/pair", headers=self.headers)

    def put_photo(self, sha256: str, data: bytes, type_: str = "image/png") -> TestResponse:
        return self.client.put(f"/api/v1/photos/{sha256}", data=data, content_type=type_, headers=self.headers)


class Desk:
    """A browser; `sign_in` makes it somebody's."""

    def __init__(self, app: Flask, login: str | None = None, password: str = PASSWORD):
        self.client: FlaskClient = app.test_client()
        if login:
            assert self.sign_in(login, password).status_code == 303

    def token(self, address: str = "/account/sign-in") -> str:
        found = TOKEN.search(self.client.get(address).text)
        assert found, f"no form on {address}"
        return found[1]

    def sign_in(self, login: str, password: str = PASSWORD, address: str = "/account/sign-in") -> TestResponse:
        form = {"login": login, "password": password, "csrf_token": self.token()}
        return self.client.post(address, data=form)

    def get(self, address: str) -> TestResponse:
        return self.client.get(address)

    def post(self, address: str, **form) -> TestResponse:
        return self.client.post(address, data={**form, "csrf_token": self.token("/account/password")})
