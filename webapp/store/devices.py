"""Phones of a workshop: inviting one by a single-use code, pairing it, listing and revoking.

A pairing holds two ways in, both good for ten minutes and one use: a 256-bit secret for the QR link and a code of eight
letters for typing. The code's first three letters (the slot) find the pairing and its last five (21.6 bits, at most five
tries) prove it, so that a guess can only ever cost tries of the one pairing it names.
"""

import secrets
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from webapp.store import attempts
from webapp.store.entrance import digest
from webapp.store.fence import across
from webapp.store.models import Device, Pairing, Person
from webapp.store.moments import now, shift
from webapp.store.people import clean_line, get_person, hasher, is_password
from webapp.store.refusals import NotAllowed, NotFound, Refusal
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


class Paired(NamedTuple):
    token: str
    device: Device
    person: Person
    workshop_name: str


def pick_letters(count: int) -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(count))


def is_live(moment: str):
    return (Pairing.used_at.is_(None)) & (Pairing.expires_at > moment) & (Pairing.tries < TRIES_PER_PAIRING)


def pick_slot(session: Session, moment: str) -> str:
    while True:
        slot = pick_letters(SLOT_LENGTH)
        taken = across(select(Pairing.id).where(Pairing.slot == slot, is_live(moment)), "a slot is one of all workshops")
        if session.execute(taken).first() is None:
            return slot


def make_pairing(workshop: Workshop, person_id: str) -> Invitation:
    """Invite one phone for a person. Neither secret is stored, only their hashes; earlier pairings stay valid."""
    person = get_person(workshop, person_id)
    if not person.active:
        raise Refusal("not_active", "person", f"person: {person.name} is not active; let the person in again first")
    moment = now()
    workshop.run(workshop.delete(Pairing).where(Pairing.expires_at < shift(moment, -86_400)))
    slot, proof, secret = pick_slot(workshop.session, moment), pick_letters(PROOF_LENGTH), secrets.token_urlsafe(32)
    pairing = Pairing(
        id=new_id(),
        person_id=person_id,
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


def find_pairing(session: Session, code: str) -> Pairing | None:
    """The live pairing that a QR secret or a typed code proves; a wrong proof costs that pairing one try."""
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


def pair(session: Session, code: str, device_name: str, install: str) -> Paired | None:
    """Use up a pairing and return the phone's token; None when the code proves nothing.

    A refusal here would roll back the count of tries: the caller commits, then answers with `not_paired`.
    """
    pairing = find_pairing(session, code[:LONGEST_CODE])
    if pairing is None:
        return None
    workshop = Workshop(session, pairing.workshop_id)
    person = get_person(workshop, pairing.person_id)
    if not person.active:
        return None
    pairing.used_at = now()
    token, device = keep_device(workshop, person, device_name, install)
    return Paired(token, device, person, workshop.row().name)


def not_paired() -> NotAllowed:
    """One same refusal, whatever was wrong with the code."""
    return NotAllowed("not_paired", "code", "code: it is wrong, used or too old; ask the office for a new one")


def keep_device(workshop: Workshop, person: Person, name: str, install: str) -> tuple[str, Device]:
    """Add the phone, or give a phone that pairs again a new token: the old one is then void."""
    secret, key = secrets.token_urlsafe(32), secrets.token_hex(12)
    device = workshop.first(workshop.select(Device).where(Device.install == install))
    if device is None:
        device = workshop.add(Device(install=install))
    device.key, device.secret_hash, device.person_id = key, digest(secret), person.id
    device.name, device.paired_at, device.revoked_at = clean_line(name, "device_name"), now(), None
    workshop.session.flush()
    return f"dev_{key}.{secret}", device


def list_devices(workshop: Workshop) -> list[tuple[Device, Person]]:
    """Phones and whose they are, those in use first."""
    wanted = workshop.select(Device, Device, Person).join(
        Person, (Person.id == Device.person_id) & (Person.workshop_id == Device.workshop_id)
    )
    return workshop.all(wanted.order_by(Device.revoked_at.is_not(None), Device.name, Device.key))


def revoke_device(workshop: Workshop, key: str) -> None:
    device = workshop.first(workshop.select(Device).where(Device.key == key))
    if device is None:
        raise NotFound("There is no such phone in this workshop. Go back to the list of phones.")
    device.revoked_at = device.revoked_at or now()


def note_contact(workshop: Workshop, install: str, app: str | None) -> None:
    """Write when a phone last synced and with which version of the app."""
    device = workshop.first(workshop.select(Device).where(Device.install == install))
    device.seen_at, device.app = now(), app


def guard_pairing(session: Session, address: str) -> None:
    """Count one try at pairing, from this address and from everywhere. *Refuses* with TooManyTries."""
    attempts.count_try(session, attempts.PAIR_ADDRESS, address)
    attempts.count_try(session, attempts.PAIR_ALL, "")


def find_author(workshop: Workshop, by: str, device: str) -> Person | None:
    """The person an entry names, else the owner of the phone it comes from (a phone may record before it is paired)."""
    named = workshop.first(workshop.select(Person).where(Person.id == by))
    if named is not None:
        return named
    owner = (Person.id == Device.person_id) & (Person.workshop_id == Device.workshop_id)
    return workshop.first(workshop.select(Device, Person).where(owner, Device.install == device))
