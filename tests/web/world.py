"""One prepared world for the border: two workshops with everything that has an address, and everybody who might knock.

It is made once and copied for each test; actors enter it by cookies and tokens that were given out when it was made.
"""

import hashlib
import shutil
from pathlib import Path
from typing import NamedTuple

from flask import Flask
from flask.testing import FlaskClient

from tests.actors import Desk, Phone
from tests.conftest import ROLES, everything, own_workshop
from tests.postgres import Cluster
from tests.web.test_photos import draw
from webapp.app import create_app
from webapp.settings import Settings
from webapp.store import devices, limits, pairings, people
from webapp.store.db import Database
from webapp.store.models import Base, Person, SignIn
from webapp.store.moments import now, shift
from webapp.store.scope import find_workshop

PICTURE = draw()
PICTURE_SUM = hashlib.sha256(PICTURE).hexdigest()
PASSWORD = "three odd words here"
AGES = {"an office left alone too long": "seen_at", "an office signed in for weeks": "created_at",
        "an office whose password is long ago": "proved_at"}  # fmt: skip

PHONES = {
    "technician's phone": "technician@own",
    "apprentice's phone": "apprentice@own",
    "the other workshop's phone": "technician@other",
    "a phone that waits for the office": "technician@own",
    "a phone that was shut out": "technician@own",
    "the phone of a person who is out": "leaver",
}
TEMPLATE = "world"
PHONES_THAT_WAIT = ("a phone that waits for the office",)


class Key(NamedTuple):
    """What an actor shows at the door: a cookie, a token, or neither."""

    cookie: str | None = None
    token: str | None = None


class World(NamedTuple):
    """`ids` are what the own workshop has; `keys` let each actor in, or did so once. On PostgreSQL, `cluster` has the
    database named TEMPLATE."""

    folder: Path
    ids: dict[str, str]
    keys: dict[str, Key]
    cluster: Cluster | None = None

    def copy(self, folder: Path, name: str = "border") -> Flask:
        """A server over a copy of the world. On PostgreSQL, one that had the same `name` is gone then."""
        shutil.copytree(self.folder, folder, dirs_exist_ok=True)
        return create_app(settings_in(folder, self.cluster and self.cluster.make(name, TEMPLATE)))

    def enter(self, app: Flask, actor: str) -> FlaskClient:
        """The browser of this actor, at the door."""
        client = app.test_client()
        if self.keys[actor].cookie:
            client.set_cookie("railcase", self.keys[actor].cookie)
        return client


def dump_world(app: Flask) -> dict[str, list]:
    """All that is stored, but for who tried and who was seen when."""
    with app.extensions["railcase.database"].engine.connect() as connection:
        names = [name for name in Base.metadata.tables if name not in ("attempts", "sign_ins")]
        return {name: sorted(map(str, connection.exec_driver_sql(f"select * from {name}"))) for name in names}


def settings_in(folder: Path, url: str | None = None) -> Settings:
    return Settings(data=folder, database_url=url or f"sqlite:///{folder / 'test.db'}", secret_key="k" * 40)


class Maker:
    """Makes the world through the server's own doors."""

    def __init__(self, settings: Settings):
        self.database = Database(settings)
        self.app: Flask = create_app(settings)

    def hire(self, login: str) -> Key:
        """One more office person, signed in."""
        with self.database.writing() as session:
            people.add_person(own_workshop(session), name=login, login=login, role="office", password=PASSWORD)
        return self.sit_down(login, PASSWORD)

    def sit_down(self, login: str, *password: str) -> Key:
        return Key(cookie=cookie_of(Desk(self.app, login, *password)))

    def invite(self, session, login: str, needs_check: bool = False) -> str:
        workshop = find_workshop(session, "other" if login.endswith("@other") else "own")
        assert workshop
        person = workshop.first(workshop.select(Person).where(Person.login == login))
        return pairings.invite(workshop, person.id, needs_check).code

    def pair(self, login: str, needs_check: bool = False) -> Phone:
        with self.database.writing() as session:
            code = self.invite(session, login, needs_check)
        return Phone(self.app, code, f"phone of {login}")

    def leave(self, login: str) -> None:
        with self.database.writing() as session:
            workshop = own_workshop(session)
            people.set_active(
                workshop, workshop.first(workshop.select(Person, Person.id).where(Person.login == login)), False
            )

    def age(self, login: str, column: str) -> None:
        with everything(self.database) as session:
            person = session.query(Person).filter(Person.login == login).one()
            setattr(session.query(SignIn).filter(SignIn.person_id == person.id).one(), column, shift(now(), -40 * 86_400))

    def keys_of_desks(self) -> dict[str, Key]:
        keys = {f"{role} at a desk": self.sit_down(f"{role}@own") for role in ROLES}
        keys |= {"nobody": Key(), "the other workshop's office": self.sit_down("office@other")}
        keys |= {actor: self.hire(actor) for actor in AGES}
        for actor, column in AGES.items():
            self.age(actor, column)
        leaver = Desk(self.app, "office@own")
        keys["an office that signed out"] = Key(cookie=cookie_of(leaver))
        leaver.post("/account/sign-out")
        return keys

    def keys_of_phones(self) -> dict[str, Key]:
        """The leaver's desk and phone were good until the person went out."""
        desk = self.hire("leaver")
        phones = {name: self.pair(login, name in PHONES_THAT_WAIT) for name, login in PHONES.items()}
        with self.database.writing() as session:
            workshop = own_workshop(session)
            devices.revoke_device(workshop, devices.find_device(workshop, phones["a phone that was shut out"].install).key)
        self.leave("leaver")
        return {name: Key(token=phone.token) for name, phone in phones.items()} | {"an office person who is out": desk}

    def fill(self) -> dict[str, str]:
        """Give the own workshop one of each thing that has an address; return their ids."""
        phone = self.pair("apprentice@own")
        phone.sync([*phone.opening(), phone.entry("photo_added", {"sha256": PICTURE_SUM, "type": "image/png",
                                                                  "size": len(PICTURE), "caption": "seat"})])  # fmt: skip
        assert phone.put_photo(PICTURE_SUM, PICTURE).status_code == 201
        with self.database.writing() as session:
            workshop = own_workshop(session)
            limits.add_profile(workshop, "Vans", "family", "generic", people.list_people(workshop)[0].id)
        with self.database.reading() as session:
            workshop = own_workshop(session)
            device = devices.find_device(workshop, phone.install)
            waiting = pairings.list_waiting(workshop)[0][0]
            return {"case_id": phone.case, "sha256": PICTURE_SUM, "person_id": device.person_id, "key": device.key,
                    "pairing_id": waiting.id}  # fmt: skip


def cookie_of(desk: Desk) -> str:
    cookie = desk.client.get_cookie("railcase")
    assert cookie
    return cookie.value


def make_world(folder: Path, cluster: Cluster | None = None) -> World:
    """In a folder with a prepared database, or in the cluster's database TEMPLATE, to which nobody is connected then."""
    maker = Maker(settings_in(folder, cluster and cluster.url(TEMPLATE)))
    keys = maker.keys_of_desks() | maker.keys_of_phones()
    world = World(folder, maker.fill(), keys, cluster)
    for opened in (maker.database, maker.app.extensions["railcase.database"]):
        opened.engine.dispose()
    return world
