"""Who is at the door: turns a sign-in, a phone's token or a pairing code into an actor of one workshop.

These are the only queries that do not start from a workshop, because they find out which one it is. Secrets of 128 bits
or more are kept as plain SHA-256; the short typed code and passwords are kept as argon2 hashes.
"""

import hashlib
import hmac
import secrets
from functools import cache
from typing import NamedTuple

from sqlalchemy import delete, or_, select, update
from sqlalchemy.orm import Session

from webapp.store.fence import across
from webapp.store.models import Device, Person, SignIn, WorkshopRow
from webapp.store.moments import now, shift
from webapp.store.people import LONGEST_PASSWORD, hasher, is_password
from webapp.store.refusals import NotSignedIn
from webapp.store.scope import Workshop

IDLE_LIMIT_S = 12 * 3600
SIGN_IN_LIMIT_S = 7 * 24 * 3600
PROOF_LIFE_S = 600  # then the password is asked for again before phones and people are changed
SEEN_STEP_S = 60  # 'last contact' is written at most once a minute


class Actor(NamedTuple):
    """A person known to the server, at a desk (`device` empty) or with a phone (`device` its install id)."""

    person_id: str
    name: str
    role: str
    workshop_id: str
    workshop_name: str
    device: str = ""
    device_name: str = ""


def digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


@cache
def nobodys_hash() -> str:
    """The hash of a password that nobody knows, checked where there is none; made once, before the first sign-in."""
    return hasher.hash(secrets.token_urlsafe(16))


def check_password(session: Session, login: str, password: str) -> Person | None:
    """The active person with this login and password, or None. An unknown login costs the same time."""
    wanted = select(Person).where(Person.login == login.strip().casefold(), Person.active.is_(True))
    person = session.execute(across(wanted, "a login says which workshop")).scalar_one_or_none()
    kept = person.password_hash if person and person.password_hash else nobodys_hash()
    matches = is_password(kept, password[:LONGEST_PASSWORD])
    return person if matches else None


def is_own_password(session: Session, actor: Actor, password: str) -> bool:
    """Does whoever sits at the desk know the password of the person that is signed in there?"""
    workshop = Workshop(session, actor.workshop_id)
    kept = workshop.first(workshop.select(Person, Person.password_hash).where(Person.id == actor.person_id))
    return is_password(kept or nobodys_hash(), password[:LONGEST_PASSWORD])


def begin_sign_in(session: Session, person: Person, browser: str = "") -> str:
    """Return the secret for the browser's cookie; old sign-ins that nobody can use any more are swept."""
    secret, moment = secrets.token_urlsafe(32), now()
    workshop = Workshop(session, person.workshop_id)
    workshop.run(workshop.delete(SignIn).where(SignIn.created_at < shift(moment, -SIGN_IN_LIMIT_S)))
    made = {"created_at": moment, "seen_at": moment, "proved_at": moment, "browser": browser[:80]}
    workshop.add(SignIn(secret_hash=digest(secret), person_id=person.id, **made))
    return secret


def end_sign_in(session: Session, secret: str) -> None:
    session.execute(across(delete(SignIn).where(SignIn.secret_hash == digest(secret)), "by its own secret"))


def list_sign_ins(workshop: Workshop, person_id: str) -> list[SignIn]:
    """The browsers in which a person is signed in, the last used first."""
    moment = now()
    wanted = workshop.select(SignIn).where(SignIn.person_id == person_id)
    wanted = wanted.where(SignIn.seen_at > shift(moment, -IDLE_LIMIT_S), SignIn.created_at > shift(moment, -SIGN_IN_LIMIT_S))
    return workshop.all(wanted.order_by(SignIn.seen_at.desc(), SignIn.secret_hash))


def end_other_sign_ins(workshop: Workshop, person_id: str, secret: str = "") -> None:
    """End all sign-ins of a person but the one with this secret."""
    others = workshop.delete(SignIn).where(SignIn.person_id == person_id, SignIn.secret_hash != digest(secret))
    workshop.run(others)


class SignedIn(NamedTuple):
    """`is_seen_due`: its last contact is due to be written; `is_proved`: the password was given a short while ago."""

    actor: Actor
    is_seen_due: bool
    is_proved: bool


def find_signed_in(session: Session, secret: str) -> SignedIn | None:
    """Who is behind a cookie's secret; None when the sign-in has ended."""
    wanted = (
        select(SignIn, Person, WorkshopRow.name)
        .join(Person, Person.id == SignIn.person_id)
        .join(WorkshopRow, WorkshopRow.id == SignIn.workshop_id)
        .where(SignIn.secret_hash == digest(secret), Person.active.is_(True))
    )
    found = session.execute(across(wanted, "a cookie says which workshop")).first()
    if found is None:
        return None
    sign_in, person, workshop_name = found
    moment = now()
    if sign_in.seen_at < shift(moment, -IDLE_LIMIT_S) or sign_in.created_at < shift(moment, -SIGN_IN_LIMIT_S):
        return None
    actor = Actor(person.id, person.name, person.role, person.workshop_id, workshop_name)
    is_proved = (sign_in.proved_at or "") > shift(moment, -PROOF_LIFE_S)
    return SignedIn(actor, sign_in.seen_at < shift(moment, -SEEN_STEP_S), is_proved)


def note_proof(session: Session, secret: str) -> None:
    proved = update(SignIn).where(SignIn.secret_hash == digest(secret)).values(proved_at=now())
    session.execute(across(proved, "by its own secret"))


def note_sign_in_seen(session: Session, secret: str) -> None:
    seen = update(SignIn).where(SignIn.secret_hash == digest(secret)).values(seen_at=now())
    session.execute(across(seen, "by its own secret"))


def split_token(token: str) -> tuple[str, str]:
    """Key and secret of `dev_<key>.<secret>`."""
    key, _, secret = token.removeprefix("dev_").partition(".")
    return key, secret


def is_secret(kept: str | None, secret: str) -> bool:
    return hmac.compare_digest(kept or digest(""), digest(secret)) and bool(kept)


def find_phone(session: Session, token: str) -> tuple[Actor, str | None]:
    """The actor behind a phone's token; with the key of a new token that is used for the first time.

    *Refuses* with NotSignedIn: `unknown_token`; `revoked` when the phone was revoked or its person is out. Only someone
    who holds the secret is told which of the two it is.
    """
    key, secret = split_token(token)
    wanted = (
        select(Device, Person, WorkshopRow.name)
        .join(Person, Person.id == Device.person_id)
        .join(WorkshopRow, WorkshopRow.id == Device.workshop_id)
        .where(or_(Device.key == key, Device.next_key == key))
    )
    found = session.execute(across(wanted, "a token says which workshop")).first()
    is_next = bool(found and found[0].key != key)
    kept = (found[0].next_hash if is_next else found[0].secret_hash) if found else None
    if not is_secret(kept, secret) or found is None:
        raise NotSignedIn("unknown_token", "Authorization", "This phone is not known here. Pair it again.")
    device, person, workshop_name = found
    if device.revoked_at or not person.active:
        raise NotSignedIn(
            "revoked",
            "Authorization",
            "The office has shut this phone out. What is on it stays on it; ask the office for a new pairing code.",
        )
    actor = Actor(person.id, person.name, person.role, person.workshop_id, workshop_name, device.install, device.name)
    return actor, key if is_next else None
