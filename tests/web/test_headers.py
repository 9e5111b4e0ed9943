"""Security headers on every answer of every address, refusals included, and pages without inline scripts or styles."""

import re

import pytest

from tests.web.test_border import ADDRESSES
from webapp.app import create_app
from webapp.settings import Settings

HEADERS = {
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(self), geolocation=(), payment=(), usb=()",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
DIRECTIVES = {
    "default-src 'none'", "script-src 'self' 'wasm-unsafe-eval'", "object-src 'none'", "base-uri 'none'",
    "form-action 'self'", "frame-ancestors 'none'", "require-trusted-types-for 'script'", "trusted-types app",
}  # fmt: skip


def assert_headers(answer):
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    assert set(answer.headers["Content-Security-Policy"].split("; ")) >= DIRECTIVES
    assert "unsafe-inline" not in answer.headers["Content-Security-Policy"]
    assert answer.headers["Cache-Control"]


@pytest.mark.parametrize("address", ADDRESSES, ids=lambda row: f"{row.method} {row.rule}")
@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE", "OPTIONS", "HEAD"])
def test_every_address_whatever_the_method(app, address, method):
    assert_headers(app.test_client().open(address.fill(), method=method))


@pytest.mark.parametrize(
    "path", ["/nothing", "/api/v1/nothing", "/static/nothing.js", "/office", "/%00", "/static/%2e%2e/x"]
)
def test_addresses_that_are_none(app, path):
    assert_headers(app.test_client().get(path))


def test_our_own_failures(app, monkeypatch):
    def fail():
        raise RuntimeError("secret detail")

    fail.access = "public"
    monkeypatch.setitem(app.view_functions, "observe.live", fail)
    answer = app.test_client().get("/healthz")
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text
    assert_headers(answer)


def test_https_is_insisted_on_only_where_it_is_used(app, database, settings):
    assert "Strict-Transport-Security" not in app.test_client().get("/").headers
    secure = create_app(Settings(**{**settings.__dict__, "https": True}))
    answer = secure.test_client().get("/account/sign-in", base_url="https://localhost")
    assert "max-age=31536000" in answer.headers["Strict-Transport-Security"]
    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("__Host-railcase=")
    assert "Secure" in cookie


INLINE = re.compile(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=|javascript:", re.IGNORECASE)


@pytest.mark.parametrize("address", [row for row in ADDRESSES if row.method == "GET"], ids=lambda row: row.rule)
def test_no_page_has_inline_scripts_or_styles(office, technician, address):
    technician.sync(technician.opening())
    answer = office.get(address.fill(case_id=technician.case))
    if answer.mimetype == "text/html":
        assert not INLINE.search(answer.text)


def test_the_pairing_page_has_no_inline_style_and_is_not_kept(office, database):
    person = re.search(r'<option value="([^"]+)"', office.get("/office/devices").text)[1]
    answer = office.post("/office/pairings", person=person)
    assert answer.status_code == 200
    assert "<svg" in answer.text
    assert not INLINE.search(answer.text)
    assert answer.headers["Cache-Control"] == "no-store"
