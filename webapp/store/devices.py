"""Phones of a workshop: listing them, renewing their tokens, shutting one out."""

import secrets
from typing import NamedTuple

from webapp.store.entrance import digest
from webapp.store.models import Device, Pairing, Person
from webapp.store.moments import now, shift
from webapp.store.refusals import NotFound
from webapp.store.scope import Workshop

TOKEN_LIFE_S = 30 * 86_400  # then the phone is handed another at its next contact


class Token(NamedTuple):
    """`text` is for the phone alone; the server keeps the public key and the hash of the secret."""

    text: str
    key: str
    hash: str


def make_token() -> Token:
    key, secret = secrets.token_hex(12), secrets.token_urlsafe(32)
    return Token(f"dev_{key}.{secret}", key, digest(secret))


def find_device(workshop: Workshop, install: str) -> Device | None:
    return workshop.first(workshop.select(Device).where(Device.install == install))


def keep_device(workshop: Workshop, pairing: Pairing) -> Device:
    """Add the phone that asked, or give a phone that pairs again its new token: the old one is then void."""
    device = find_device(workshop, pairing.install or "") or workshop.add(Device(install=pairing.install))
    device.key, device.secret_hash, device.person_id = pairing.key, pairing.token_hash, pairing.person_id
    device.next_key = device.next_hash = device.revoked_at = None
    device.name, device.paired_at, device.token_at = pairing.device_name, now(), now()
    workshop.session.flush()
    return device


def list_devices(workshop: Workshop) -> list[tuple[Device, Person]]:
    """Phones and whose they are, those in use first."""
    owner = (Person.id == Device.person_id) & (Person.workshop_id == Device.workshop_id)
    wanted = workshop.select(Device, Device, Person).join(Person, owner)
    return workshop.all(wanted.order_by(Device.revoked_at.is_not(None), Device.name, Device.key))


def revoke_device(workshop: Workshop, key: str) -> None:
    device = workshop.first(workshop.select(Device).where(Device.key == key))
    if device is None:
        raise NotFound("There is no such phone in this workshop. Go back to the list of phones.")
    device.revoked_at = device.revoked_at or now()


def note_contact(workshop: Workshop, install: str, app: str | None) -> str | None:
    """Write when a phone last synced and with which version of the app; return a new token when it is time for one.

    The old token stays valid until the new one is first used, so an answer that never arrives locks nobody out.
    """
    device = find_device(workshop, install)
    assert device
    device.seen_at, device.app = now(), app
    if (device.token_at or device.paired_at) > shift(now(), -TOKEN_LIFE_S):
        return None
    token = make_token()
    device.next_key, device.next_hash = token.key, token.hash
    return token.text


def adopt_token(workshop: Workshop, key: str) -> None:
    """The phone has used its new token: the old one is void from here on."""
    device = workshop.first(workshop.select(Device).where(Device.next_key == key))
    if device:
        device.key, device.secret_hash, device.token_at = device.next_key, device.next_hash, now()
        device.next_key = device.next_hash = None


def find_author(workshop: Workshop, by: str, device: str) -> Person | None:
    """The person an entry names, else the owner of the phone it comes from (a phone may record before it is paired)."""
    named = workshop.first(workshop.select(Person).where(Person.id == by))
    return named or find_owner(workshop, device)


def find_owner(workshop: Workshop, device: str) -> Person | None:
    owner = (Person.id == Device.person_id) & (Person.workshop_id == Device.workshop_id)
    return workshop.first(workshop.select(Device, Person).where(owner, Device.install == device))
