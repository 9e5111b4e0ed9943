"""People of a workshop: their roles and passwords."""

import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError
from sqlalchemy import select
from zxcvbn import zxcvbn

from webapp.store.fence import across
from webapp.store.models import Person, SignIn
from webapp.store.moments import now
from webapp.store.refusals import Conflict, NotFound, Refusal
from webapp.store.scope import Workshop, new_id

ROLES = ("technician", "apprentice", "office")
SHORTEST_PASSWORD = 12
LONGEST_PASSWORD = 256
JUDGED_LENGTH, LEAST_SCORE = 72, 3  # of 4: more than a hundred million guesses
hasher = PasswordHasher()


def clean_line(text: str, field: str, longest: int = 200) -> str:
    """Trim a line of text. *Refuses* an empty, over-long or unprintable one, naming the field."""
    text = unicodedata.normalize("NFC", text).strip()
    if not text:
        raise Refusal("missing", field, f"{field}: nothing was given; write something")
    if len(text) > longest or not text.isprintable():
        raise Refusal(
            "not_accepted",
            field,
            f"{field}: {text[:20]!r} has {len(text)} characters or unprintable ones; write one line of at most {longest}",
        )
    return text


def clean_login(text: str) -> str:
    return clean_line(text, "login").casefold()


def clean_role(role: str) -> str:
    if role not in ROLES:
        raise Refusal("not_a_choice", "role", f"role: {role[:20]!r} is not known; choose one of {', '.join(ROLES)}")
    return role


def hash_password(password: str, own_words: list[str]) -> str:
    """*Refuses* a password shorter than 12 or longer than 256 characters, and one that is guessed early: common ones,
    rows of keys, dates, repeats, and the person's own words. No rules about what it is made of."""
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise Refusal(
            "wrong_length",
            "password",
            f"password: {len(password)} characters; "
            f"choose {SHORTEST_PASSWORD} to {LONGEST_PASSWORD}, several words are fine",
        )
    if zxcvbn(password[:JUDGED_LENGTH], user_inputs=" ".join(own_words).split())["score"] < LEAST_SCORE:
        text = "password: it would be guessed early; choose several words that nobody would say together"
        raise Refusal("too_simple", "password", text)
    return hasher.hash(password)


def is_password(kept: str, password: str) -> bool:
    try:
        return hasher.verify(kept, password)
    except (Argon2Error, InvalidHashError):
        return False


def add_person(
    workshop: Workshop,
    *,
    name: str,
    role: str,
    login: str | None = None,
    password: str | None = None,
    person_id: str | None = None,
) -> Person:
    """Add a person. Without `login` and `password` the person works by phone only and cannot sign in to the office.

    *Refuses* a login that is taken, an unknown role, a password outside 12 to 256 characters.
    """
    login = clean_login(login) if login else None
    taken = across(select(Person.id).where(Person.login == login), "a login signs in to one workshop of all")
    if login and workshop.session.execute(taken).first():
        raise Conflict("taken", "login", f"login: {login!r} is taken; choose another")
    person = Person(
        id=person_id or new_id(),
        name=clean_line(name, "name"),
        role=clean_role(role),
        login=login,
        active=True,
        password_hash=hash_password(password, [name, login or ""]) if password else None,
        created_at=now(),
    )
    workshop.add(person)
    workshop.session.flush()
    return person


def list_people(workshop: Workshop) -> list[Person]:
    return workshop.all(workshop.select(Person).order_by(Person.active.desc(), Person.name, Person.id))


def get_person(workshop: Workshop, person_id: str) -> Person:
    found = workshop.first(workshop.select(Person).where(Person.id == person_id))
    if found is None:
        raise NotFound("There is no such person in this workshop. Go back to the list of people.")
    return found


def change_role(workshop: Workshop, person_id: str, role: str) -> None:
    """*Refuses* to take the office role from the last active person who has it."""
    person = get_person(workshop, person_id)
    if clean_role(role) != "office":
        keep_one_office_person(workshop, person)
    person.role = role


def set_password(workshop: Workshop, person_id: str, password: str) -> None:
    """Set a new password and end all the person's sign-ins."""
    person = get_person(workshop, person_id)
    if not person.login:
        raise Refusal("no_login", "login", f"login: {person.name} has none; add the person anew with a login")
    person.password_hash = hash_password(password, [person.name, person.login])
    workshop.run(workshop.delete(SignIn).where(SignIn.person_id == person_id))


def end_sign_ins(workshop: Workshop, person_id: str) -> None:
    """Sign a person out everywhere; phones stay paired."""
    person = get_person(workshop, person_id)
    workshop.run(workshop.delete(SignIn).where(SignIn.person_id == person.id))


def set_active(workshop: Workshop, person_id: str, active: bool) -> None:
    """Let a person in or out. Out holds at once: sign-ins end, and the person's phones are turned away."""
    person = get_person(workshop, person_id)
    if not active:
        keep_one_office_person(workshop, person)
        workshop.run(workshop.delete(SignIn).where(SignIn.person_id == person_id))
    person.active = active


def keep_one_office_person(workshop: Workshop, person: Person) -> None:
    workshop.lock()
    wanted = workshop.select(Person).where(Person.role == "office", Person.active.is_(True), Person.id != person.id)
    if person.role == "office" and person.active and workshop.first(wanted) is None:
        raise Conflict(
            "last_office_person",
            "role",
            f"role: {person.name} is the last active office person; give that role to someone else first",
        )
