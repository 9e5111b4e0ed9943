"""People and phones, looked after by the office."""

import re

import pytest

from tests.actors import Desk, Phone
from tests.conftest import own_workshop
from webapp.store import people


def person_of(database, role: str) -> str:
    with database.reading() as session:
        return next(row.id for row in people.list_people(own_workshop(session)) if row.role == role)


def test_a_person_is_added_and_can_sign_in(app, office):
    form = {"name": "New Hand", "role": "technician", "login": "Hand@Own", "password": "some plain words"}
    assert office.post("/office/people", **form).status_code == 303
    assert "New Hand" in office.get("/office/people").text
    assert Desk(app).sign_in("hand@own", "some plain words").status_code == 303


def test_a_person_may_work_by_phone_only(office):
    assert office.post("/office/people", name="Phone Hand", role="apprentice", login="", password="").status_code == 303
    assert "Phone only" in office.get("/office/people").text


BAD_PEOPLE = [
    ("no name", {"name": ""}, 422, "Write the name."),
    ("unknown role", {"role": "owner"}, 422, "Not a valid choice"),
    ("short password", {"password": "short"}, 422, "Choose 12 to 256 characters"),
    ("password of one letter", {"password": "a" * 12}, 422, "guessed early"),
    ("common password", {"password": "password1234"}, 422, "guessed early"),
    ("own name as password", {"name": "Ottoline Quarrier", "password": "ottolinequarrier"}, 422, "guessed early"),
    ("login without password", {"password": ""}, 422, "both login and password"),
    ("login is taken", {"login": "OFFICE@own"}, 409, "is taken"),
    ("login of the other workshop", {"login": "office@other"}, 409, "is taken"),
    ("line break in the name", {"name": "a\nb"}, 422, "unprintable"),
]


@pytest.mark.parametrize(("name", "change", "status", "told"), BAD_PEOPLE, ids=[row[0] for row in BAD_PEOPLE])
def test_bad_input_names_the_field(office, name, change, status, told):
    form = {"name": "New", "role": "technician", "login": "new@own", "password": "some plain words"} | change
    answer = office.post("/office/people", **form)
    assert answer.status_code == status
    assert told in answer.text
    assert "new@own" not in office.get("/office/people").text


def test_a_role_changes_what_one_may_do(app, office, database):
    desk = Desk(app, "technician@own")
    assert desk.get("/office/people").status_code == 403
    assert office.post(f"/office/people/{person_of(database, 'technician')}/role", role="office").status_code == 303
    assert desk.get("/office/people").status_code == 200


@pytest.mark.parametrize(("part", "form"), [("role", {"role": "technician"}), ("active", {"active": "no"})])
def test_the_last_office_person_stays(office, database, part, form):
    answer = office.post(f"/office/people/{person_of(database, 'office')}/{part}", **form)
    assert answer.status_code == 409
    assert "last active office person" in answer.text
    assert office.get("/office/people").status_code == 200


def test_a_new_password_ends_the_old_sign_ins(app, office, database):
    desk = Desk(app, "technician@own")
    answer = office.post(f"/office/people/{person_of(database, 'technician')}/password", password="quite other words")
    assert answer.status_code == 303
    assert desk.get("/office/").status_code == 302
    assert Desk(app).sign_in("technician@own", "quite other words").status_code == 303


def test_shutting_a_person_out_holds_at_once_and_can_be_undone(app, office, technician, database):
    desk, person = Desk(app, "technician@own"), person_of(database, "technician")
    office.post(f"/office/people/{person}/active", active="no")
    assert desk.get("/office/").status_code == 302
    assert technician.post_sync([]).status_code == 401
    assert Desk(app).sign_in("technician@own").status_code == 403
    office.post(f"/office/people/{person}/active", active="yes")
    assert technician.post_sync([]).status_code == 200
    assert Desk(app).sign_in("technician@own").status_code == 303


def test_active_takes_yes_or_no_only(office, database):
    assert office.post(f"/office/people/{person_of(database, 'technician')}/active", active="maybe").status_code == 422


def ask_from_page(app, office, database) -> Phone:
    """The office makes a code; a phone asks with it."""
    answer = office.post("/office/pairings", person=person_of(database, "technician"))
    phone = Phone(app, re.search(r"data-code>([A-Z-]{9})<", answer.text)[1], "fresh phone")
    phone.page = re.search(r"/office/pairings/[0-9a-f-]+", answer.text)[0]
    return phone


def test_a_phone_is_paired_from_the_page(app, office, database):
    phone = ask_from_page(app, office, database)
    assert phone.post_sync([]).status_code == 401
    assert phone.page in office.get("/office/devices").text
    number = phone.paired.json["number"]
    assert f"{number[:2]} {number[2:]}" in office.get(phone.page).text
    assert office.post(f"{phone.page}/confirm").status_code == 303
    assert phone.sync([])
    page = office.get("/office/devices").text
    assert "fresh phone" in page
    assert "Last contact" in page
    assert "app 0.1.0" in page
    assert phone.page not in page


def test_a_phone_with_another_number_is_turned_away(app, office, database):
    phone = ask_from_page(app, office, database)
    assert office.post(f"{phone.page}/refuse").status_code == 303
    assert phone.look().json["status"] == "refused"
    assert office.post(f"{phone.page}/confirm").status_code == 409
    assert phone.post_sync([]).status_code == 401
    assert "fresh phone" not in office.get("/office/devices").text


def test_a_code_can_be_thrown_away(app, office, database):
    answer = office.post("/office/pairings", person=person_of(database, "technician"))
    code, page = (
        re.search(r"data-code>([A-Z-]{9})<", answer.text)[1],
        re.search(r"/office/pairings/[0-9a-f-]+", answer.text)[0],
    )
    assert "No phone has used the code yet" in office.get(page).text
    office.post(f"{page}/refuse")
    assert Phone(app, code).paired.status_code == 403


def test_a_paired_phone_is_shut_out_not_turned_away(app, office, database):
    phone = ask_from_page(app, office, database)
    office.post(f"{phone.page}/confirm")
    assert office.post(f"{phone.page}/refuse").status_code == 409
    assert phone.sync([])


def test_the_page_says_when_a_known_phone_would_change_hands(app, office, database, apprentice):
    answer = office.post("/office/pairings", person=person_of(database, "technician"))
    code, page = (
        re.search(r"data-code>([A-Z-]{9})<", answer.text)[1],
        re.search(r"/office/pairings/[0-9a-f-]+", answer.text)[0],
    )
    again = Phone(app, code, "phone in the bay", install=apprentice.install)
    assert "If you go on, it will be technician of own" in office.get(page).text
    assert apprentice.sync([])["person"]["role"] == "apprentice", "nothing changes before the office has said so"
    office.post(f"{page}/confirm")
    assert apprentice.post_sync([]).status_code == 401
    assert again.sync([])["person"]["role"] == "technician"


def test_a_phone_is_paired_for_people_of_this_workshop_only(office, database):
    assert office.post("/office/pairings", person="01900000-0000-7000-8000-000000000000").status_code == 422


def test_a_phone_is_shut_out_from_the_page(office, technician):
    address = re.search(r'action="(/office/devices/[0-9a-f]+/revoke)"', office.get("/office/devices").text)[1]
    assert office.post(address).status_code == 303
    assert technician.post_sync([]).status_code == 401
    assert "Shut out" in office.get("/office/devices").text


def test_a_person_is_signed_out_everywhere(app, office, technician, database):
    desks = [Desk(app, "technician@own"), Desk(app, "technician@own")]
    office.post(f"/office/people/{person_of(database, 'technician')}/sign-out")
    assert [desk.get("/office/").status_code for desk in desks] == [302, 302]
    assert technician.sync([]), "phones stay paired"
    assert office.get("/office/").status_code == 200
