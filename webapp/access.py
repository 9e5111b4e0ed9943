"""Who may use which address, decided before any handler runs.

Each view says it with one decorator: `public`, `by_phone` or `signed_in(roles)`. A view that says nothing is refused, so
a forgotten decorator shuts people out instead of letting them in. Phones are known by a bearer token only and desks by
a cookie only: no address accepts both. Handlers then read `actor()` and enter `workshop_to_read()` or
`workshop_to_write()`, which are held to the actor's own workshop.
"""

import ipaddress
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from flask import Flask, current_app, g, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_login import current_user
from werkzeug.wrappers import Response

from webapp.store import entrance
from webapp.store.attempts import PROVE, count_try, forget_tries
from webapp.store.db import Database
from webapp.store.devices import adopt_token
from webapp.store.entrance import Actor, find_phone
from webapp.store.people import ROLES
from webapp.store.refusals import NotAllowed, NotSignedIn, Refusal
from webapp.store.scope import Workshop

PUBLIC, PHONE = "public", "phone"
NOT_CARRIED = ("csrf_token", "own_password", "password")


def say_who(view: Callable, access: str | frozenset[str]) -> Callable:
    view.access = access  # type: ignore[attr-defined]
    return view


def public(view: Callable) -> Callable:
    return say_who(view, PUBLIC)


def by_phone(view: Callable) -> Callable:
    return say_who(view, PHONE)


def signed_in(*roles: str, proved: bool = False) -> Callable[[Callable], Callable]:
    """Let in people with one of the roles; without any, everyone who is signed in. With `proved` the password is asked
    for again unless it was given a short while ago: an unattended desk cannot let phones in or change people."""

    def mark(view: Callable) -> Callable:
        view.proved = proved  # type: ignore[attr-defined]
        return say_who(view, frozenset(roles or ROLES))

    return mark


def database() -> Database:
    return current_app.extensions["railcase.database"]


def actor() -> Actor:
    return g.actor


@contextmanager
def workshop_to_read() -> Iterator[Workshop]:
    with database().reading() as session:
        yield Workshop(session, actor().workshop_id)


@contextmanager
def workshop_to_write() -> Iterator[Workshop]:
    with database().writing() as session:
        yield Workshop(session, actor().workshop_id)


def client_address() -> str:
    """The caller's address for counting tries; one IPv6 customer has a whole /64, so that counts as one."""
    try:
        address = ipaddress.ip_address(request.remote_addr or "")
    except ValueError:
        return "unknown"
    if address.version == 6:
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)


def refuse_nul() -> None:
    """No address, search or form of ours holds a NUL, and not every database can even compare one."""
    fields = [("address", request.path), *request.args.items()]
    if request.blueprint != "api":
        fields += list(request.form.items())
    for name, value in fields:
        if "\0" in name + value:
            field = name.replace("\0", "")[:40]
            raise Refusal("not_accepted", field, f"{field}: it holds a NUL character; write it anew")


def refuse_foreign_page() -> None:
    """A browser says when another site's page made it ask: nothing of ours is changed that way, token or not."""
    if request.method not in ("GET", "HEAD", "OPTIONS") and request.headers.get("Sec-Fetch-Site") == "cross-site":
        raise NotAllowed("foreign_page", "", "This was sent from another site's page. Open railcase itself and do it there.")


def guard() -> ResponseReturnValue | None:
    """Run before every request."""
    if request.endpoint is None:  # no such address: the 404 or 405 page tells nothing
        return None
    refuse_nul()
    refuse_foreign_page()
    access = getattr(current_app.view_functions[request.endpoint], "access", None)
    if access == PUBLIC:
        return None
    if access == PHONE:
        admit_phone()
        return None
    if access is None:
        raise NotAllowed("not_allowed", "", "This address is shut: nothing says who may use it.")
    return admit_desk(access) or (ask_for_proof() if is_proof_due() else None)


def bearer_token() -> str:
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not token.isascii():
        raise NotSignedIn("unknown_token", "Authorization", "This phone is not known here. Pair it first.")
    return token.strip()


def admit_phone() -> None:
    with database().reading() as session:
        g.actor, next_key = find_phone(session, bearer_token())
    if next_key:
        with workshop_to_write() as workshop:
            adopt_token(workshop, next_key)


def admit_desk(roles: frozenset[str]) -> Response | None:
    if not current_user.is_authenticated:
        if request.method in ("GET", "HEAD"):
            return redirect(url_for("account.sign_in", next=request.full_path.rstrip("?")))
        raise NotSignedIn("sign_in_needed", "", "You are no longer signed in. Sign in, then do this again.")
    if current_user.actor.role not in roles:
        raise NotAllowed(
            "not_allowed",
            "",
            f"This needs the role {' or '.join(sorted(roles))}; yours is {current_user.actor.role}. Ask the office.",
        )
    g.actor = current_user.actor
    if current_user.is_seen_due:
        with database().writing() as session:
            entrance.note_sign_in_seen(session, current_user.get_id())
    return None


def is_proof_due() -> bool:
    assert request.endpoint
    view = current_app.view_functions[request.endpoint]
    return getattr(view, "proved", False) and not current_user.is_proved


def is_own_password(password: str) -> bool:
    """Check the password of whoever is signed in, and remember that it was right. *Refuses* after too many tries."""
    with database().writing() as session:
        count_try(session, PROVE, actor().person_id)
    with database().writing() as session:
        is_right = entrance.is_own_password(session, actor(), password)
        if is_right:
            entrance.note_proof(session, current_user.get_id())
            forget_tries(session, PROVE, actor().person_id)
    return is_right


def ask_for_proof() -> tuple[str, int] | None:
    """Hold a request until its sender has written the own password; what was in the form travels along, but no password."""
    current_app.extensions["csrf"].protect()  # else a foreign form could be carried through by this very page
    password, problem = request.form.get("own_password"), ""
    if password:
        if is_own_password(password):
            return None
        problem = "This is not the password with which you sign in. Write it again."
    kept = [(name, value) for name, value in request.form.items(multi=True) if name not in NOT_CARRIED]
    again = "password" in request.form
    return render_template("account/prove.html", kept=kept, problem=problem, again=again), 403


def install_access(app: Flask, opened: Database) -> None:
    app.extensions["railcase.database"] = opened
    app.before_request(guard)
