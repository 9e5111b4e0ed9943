"""Browsers: their plain name for the list of sign-ins, and the mark by which one is known to have signed in before."""

import secrets

from flask import current_app, request
from itsdangerous import BadSignature, URLSafeSerializer
from werkzeug.wrappers import Response

NAMES = (("Firefox/", "Firefox"), ("Edg", "Edge"), ("Chrome/", "Chrome"), ("Safari/", "Safari"))
SYSTEMS = (("Android", "Android"), ("iPhone", "iPhone"), ("iPad", "iPad"), ("Windows", "Windows"), ("Mac OS", "macOS"))
ONE_YEAR_S = 31_536_000


def describe_browser() -> str:
    agent = request.user_agent.string
    name = next((name for mark, name in NAMES if mark in agent), "A browser")
    system = next((name for mark, name in SYSTEMS if mark in agent), "Linux" if "Linux" in agent else "")
    return f"{name} on {system}" if system else name


def cookie_name() -> str:
    return f"{current_app.config['SESSION_COOKIE_NAME']}-known"


def signer() -> URLSafeSerializer:
    return URLSafeSerializer(current_app.config["SECRET_KEY"], salt="known browser")


def known_browser(account: str) -> str | None:
    """The mark of this browser when the account has signed in here before."""
    try:
        known, mark = signer().loads(request.cookies.get(cookie_name(), ""))
    except (BadSignature, ValueError, TypeError):
        return None
    return mark if known == account else None


def remember_browser(response: Response, account: str) -> None:
    """The mark opens nothing: it only gives this browser tries of its own, apart from those of strangers."""
    response.set_cookie(
        cookie_name(),
        signer().dumps([account, known_browser(account) or secrets.token_hex(12)]),
        max_age=ONE_YEAR_S,
        secure=current_app.config["SESSION_COOKIE_SECURE"],
        httponly=True,
        samesite="Strict",
    )
