"""Junk in every form of the office and the account pages: never a fault, and a refusal writes nothing and loses nothing."""

import html
import re

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.actors import TOKEN
from tests.web.test_border import ADDRESSES, Address
from tests.web.world import World, dump_world
from webapp.store import attempts

FORMS = [row for row in ADDRESSES if row.method == "POST" and not row.rule.startswith("/api/")]
FIELDS = ("text", "fault", "reason", "name", "role", "login", "password", "active", "person", "current", "again",
          "own_password", "next", "extra")  # fmt: skip
ODD = ["", " ", "\0", "\r\n", "x" * 5000, "á" * 300, "\ud7ff\ufffd", "<script>alert(1)</script>", "' or 1=1 --", "{{ 7*7 }}",
       "../../etc", "no", "yes", "office", "pump_worn", "\u202e\u200b", "1e999", "%00%ff"]  # fmt: skip
TEXT = st.sampled_from(ODD) | st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
FORM = st.dictionaries(st.sampled_from(FIELDS), TEXT, max_size=6)
# What a person has written and should find again in the page that refuses it; passwords are never sent back.
KEPT = {
    "/account/sign-in": ("login",),
    "/office/cases/<case_id>/notes": ("text",),
    "/office/cases/<case_id>/outcome": ("text",),
    "/office/cases/<case_id>/reopen": ("reason",),
    "/office/people": ("name", "login"),
}
TYPED = re.compile(r"<textarea[^>]*>\r?\n?(.*?)</textarea>|<input[^>]*value=\"([^\"]*)\"", re.DOTALL)


@pytest.fixture
def doors(monkeypatch):
    for name in ("SIGN_IN_ACCOUNT_ADDRESS", "SIGN_IN_ACCOUNT", "SIGN_IN_ADDRESS", "SIGN_IN_ALL", "SIGN_IN_BROWSER", "PROVE"):
        monkeypatch.setattr(attempts, name, attempts.Allowance(name, 10**9, 900))


def is_kept(page: str, sent: str) -> bool:
    """Does the page that was answered still hold what was typed?"""
    held = [html.unescape(first or second) for first, second in TYPED.findall(page)]
    return sent.replace("\r\n", "\n") in [text.replace("\r\n", "\n") for text in held]


def sit_down(world: World, app: Flask, address: Address) -> tuple[FlaskClient, str]:
    client = world.enter(app, "nobody" if address.who == "all" else "office at a desk")
    found = TOKEN.search(client.get("/account/sign-in" if address.who == "all" else "/account/password").text)
    assert found
    return client, found[1]


@pytest.mark.parametrize("address", FORMS, ids=lambda row: row.rule)
def test_junk_is_no_fault_and_a_refusal_loses_nothing(world, tmp_path, doors, address):
    app = world.copy(tmp_path)
    client, token = sit_down(world, app, address)

    @settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
    @given(form=FORM)
    def post(form: dict[str, str]) -> None:
        before = dump_world(app)
        answer = client.post(address.fill(**world.ids), data={**form, "csrf_token": token})
        assert answer.status_code < 500, answer.text
        if answer.status_code not in (200, 302, 303):
            assert dump_world(app) == before
        if answer.status_code == 422 and "\0" not in "".join(form.values()):
            lost = [
                name
                for name in KEPT.get(address.rule, ())
                if form.get(name, "").strip() and not is_kept(answer.text, form[name])
            ]
            assert not lost, answer.text

    post()


def test_the_check_for_lost_words_can_fail():
    page = '<textarea name="text">\r\na &lt;b&gt;</textarea><input name="x" value="c">'
    assert is_kept(page, "a <b>")
    assert is_kept(page, "c")
    assert not is_kept(page, "a")
