"""Pairing a phone: the office invites it, the phone asks with the code, the office compares a number and lets it in.

An invitation holds two ways in, both good for ten minutes and one use: a 256-bit secret for the QR link and a code of
eight letters for typing. The code's first three letters (the slot) find the pairing and its last five (21.6 bits, at most
five tries) prove it, so that a guess can only ever cost tries of the one pairing it names.

Whoever proves the code gets a token that opens nothing yet, and a number to show. Only when somebody at the office says
that the phone in the right hands shows this number does the token come alive; until then no phone is added or replaced.
"""

import secrets
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from webapp.store import attempts
from webapp.store.devices import find_device, keep_device, make_token
from webapp.store.entrance import digest, find_phone, is_secret, split_token
from webapp.store.fence import across
from webapp.store.models import Device, Pairing, Person
from webapp.store.moments import now, shift
from webapp.store.people import clean_line, get_person, hasher, is_password
from webapp.store.refusals import Conflict, NotAllowed, NotFound, NotSignedIn, Refusal
from webapp.store.scope import Workshop, new_id

LETTERS = "BCDFGHJKLMNPQRSTVWXZ"  # no vowels (no words), no digits (no 0/O, 1/I)
SLOT_LENGTH, PROOF_LENGTH = 3, 5
PAIRING_LIFE_S = 600
TRIES_PER_PAIRING = 5
LONGEST_CODE = 100


class Invitation(NamedTuple):
    """What the office shows once: `secret` goes into the QR link, `code` is typed."""

    pairing_id: str
    secret: str
    code: str
    expires_at: str


class Asked(NamedTuple):
    """What a phone is told; `state` is waiting, paired, refused or expired."""

    state: str
    pairing: Pairing
    person: Person
    workshop_name: str
    token: str | None = None


def pick_letters(count: int) -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(count))


def is_live(moment: str):
    return Pairing.asked_at.is_(None) & (Pairing.expires_at > moment) & (Pairing.tries < TRIES_PER_PAIRING)


def pick_slot(session: Session, moment: str) -> str:
    while True:
        slot = pick_letters(SLOT_LENGTH)
        taken = across(select(Pairing.id).where(Pairing.slot == slot, is_live(moment)), "a slot is one of all workshops")
        if session.execute(taken).first() is None:
            return slot


def pick_number(workshop: Workshop) -> str:
    """Four digits that no other phone is showing to this office just now."""
    shown = set(workshop.all(workshop.select(Pairing, Pairing.number).where(is_waiting(now()))))
    return next(number for number in iter(lambda: f"{secrets.randbelow(9000) + 1000}", None) if number not in shown)


def invite(workshop: Workshop, person_id: str, needs_check: bool = True) -> Invitation:
    """Invite one phone for a person. Neither secret is stored, only their hashes; earlier invitations stay valid."""
    person = get_person(workshop, person_id)
    if not person.active:
        raise Refusal("not_active", "person", f"person: {person.name} is not active; let the person in again first")
    moment = now()
    workshop.run(workshop.delete(Pairing).where(Pairing.expires_at < shift(moment, -86_400)))
    slot, proof, secret = pick_slot(workshop.session, moment), pick_letters(PROOF_LENGTH), secrets.token_urlsafe(32)
    pairing = Pairing(
        id=new_id(),
        person_id=person_id,
        needs_check=needs_check,
        secret_hash=digest(secret),
        slot=slot,
        code_hash=hasher.hash(proof),
        made_at=moment,
        expires_at=shift(moment, PAIRING_LIFE_S),
        tries=0,
    )
    workshop.add(pairing)
    workshop.session.flush()
    return Invitation(pairing.id, secret, f"{slot}{proof[0]}-{proof[1:]}", pairing.expires_at)


def guard_pairing(session: Session, address: str) -> None:
    """Count one try at pairing, from this address and from everywhere. *Refuses* with TooManyTries."""
    attempts.count_try(session, attempts.PAIR_ADDRESS, address)
    attempts.count_try(session, attempts.PAIR_ALL, "")


def find_invitation(session: Session, code: str) -> Pairing | None:
    """The live invitation that a QR secret or a typed code proves; a wrong proof costs that one a try."""
    live = across(select(Pairing).where(is_live(now())).with_for_update(), "a code says which workshop")
    by_secret = session.execute(live.where(Pairing.secret_hash == digest(code))).scalar_one_or_none()
    if by_secret is not None:
        return by_secret
    typed = "".join(letter for letter in code.upper() if letter.isalnum())
    slot, proof = typed[:SLOT_LENGTH], typed[SLOT_LENGTH:]
    pairing = session.execute(live.where(Pairing.slot == slot)).scalars().first()
    if pairing is None:
        return None
    Workshop(session, pairing.workshop_id)  # opens its door, so that the try may be written
    pairing.tries += 1
    return pairing if is_password(pairing.code_hash, proof) else None


def ask(session: Session, code: str, device_name: str, install: str) -> Asked | None:
    """Use up an invitation for a phone; None when the code proves nothing.

    A refusal here would roll back the count of tries: the caller commits, then answers with `not_paired`.
    """
    pairing = find_invitation(session, code[:LONGEST_CODE])
    if pairing is None:
        return None
    workshop = Workshop(session, pairing.workshop_id)
    person = get_person(workshop, pairing.person_id)
    if not person.active:
        return None
    token = make_token()
    pairing.asked_at, pairing.number = now(), pick_number(workshop)
    pairing.device_name, pairing.install = clean_line(device_name, "device_name"), install
    pairing.key, pairing.token_hash = token.key, token.hash
    if not pairing.needs_check:
        let_in(workshop, pairing)
    workshop.session.flush()
    return Asked(tell_state(pairing), pairing, person, workshop.row().name, token.text)


def not_paired() -> NotAllowed:
    """One same refusal, whatever was wrong with the code."""
    return NotAllowed("not_paired", "code", "code: it is wrong, used or too old; ask the office for a new one")


def is_waiting(moment: str):
    asked_lately = Pairing.asked_at > shift(moment, -PAIRING_LIFE_S)
    return asked_lately & Pairing.used_at.is_(None) & Pairing.refused_at.is_(None)


def tell_state(pairing: Pairing) -> str:
    if pairing.used_at:
        return "paired"
    if pairing.refused_at:
        return "refused"
    if pairing.asked_at is None:
        return "invited" if pairing.expires_at > now() and pairing.tries < TRIES_PER_PAIRING else "expired"
    return "waiting" if pairing.asked_at > shift(now(), -PAIRING_LIFE_S) else "expired"


def look(session: Session, token: str) -> Asked:
    """What has become of the phone that was given this token. *Refuses* a token that nobody was given."""
    key, secret = split_token(token)
    wanted = across(select(Pairing).where(Pairing.key == key), "a token says which workshop")
    pairing = session.execute(wanted).scalar_one_or_none()
    if not is_secret(pairing.token_hash if pairing else None, secret) or pairing is None:
        raise NotSignedIn("unknown_token", "Authorization", "This phone is not known here. Pair it again.")
    state, workshop = tell_state(pairing), Workshop(session, pairing.workshop_id)
    if state == "paired":
        find_phone(session, token)  # refuses one that was shut out since
    return Asked(state, pairing, get_person(workshop, pairing.person_id), workshop.row().name)


def list_waiting(workshop: Workshop) -> list[tuple[Pairing, Person]]:
    """Phones that asked and wait for the office's word, the first to ask first."""
    wanted = workshop.select(Pairing, Pairing, Person).join(
        Person, (Person.id == Pairing.person_id) & (Person.workshop_id == Pairing.workshop_id)
    )
    return workshop.all(wanted.where(is_waiting(now())).order_by(Pairing.asked_at, Pairing.id))


def get_pairing(workshop: Workshop, pairing_id: str) -> Pairing:
    found = workshop.first(workshop.select(Pairing).where(Pairing.id == pairing_id).with_for_update())
    if found is None:
        raise NotFound("There is no such pairing in this workshop. Go back to the list of phones.")
    return found


def find_replaced(workshop: Workshop, pairing: Pairing) -> tuple[Device, Person] | None:
    """The phone that this pairing would give to somebody anew: the same app on the same phone."""
    device = find_device(workshop, pairing.install) if pairing.install else None
    return (device, get_person(workshop, device.person_id)) if device else None


def confirm(workshop: Workshop, pairing_id: str) -> Device:
    """The office says that the phone shows its number. *Refuses* when the phone no longer waits."""
    pairing = get_pairing(workshop, pairing_id)
    if tell_state(pairing) != "waiting":
        raise Conflict("not_waiting", "", "This phone waits no longer. Make a new code and let it ask again.")
    return let_in(workshop, pairing)


def let_in(workshop: Workshop, pairing: Pairing) -> Device:
    person = get_person(workshop, pairing.person_id)
    if not person.active:
        raise Conflict("not_active", "person", f"person: {person.name} is not active; let the person in again first")
    pairing.used_at = now()
    return keep_device(workshop, pairing)


def turn_away(workshop: Workshop, pairing_id: str) -> None:
    """Void an invitation, or turn away the phone that asked with it."""
    pairing = get_pairing(workshop, pairing_id)
    if pairing.used_at:
        raise Conflict("paired", "", "This phone is paired already. Shut it out in the list of phones.")
    pairing.refused_at = pairing.refused_at or now()
    pairing.asked_at = pairing.asked_at or pairing.refused_at  # the code is void from here on
