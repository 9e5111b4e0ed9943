"""What verify finds: each kind of damage, by name, and nothing where there is none."""

import pytest
from click.testing import CliRunner
from sqlalchemy import text

from tests.conftest import BOTH, everything
from tests.web.test_photos import draw, speak_of
from webapp.cli import main
from webapp.store import demo, photos, projection, verify

DATABASES = BOTH


@pytest.fixture
def filled(technician, database):
    technician.sync([*technician.opening(), technician.entry("note_added", {"text": "smells"})])
    data = draw()
    technician.put_photo(speak_of(technician, data), data)
    assert verify.verify(database).problems == []
    return database


def test_a_whole_database_has_no_problems(filled):
    with filled.writing() as session:
        demo.fill_demo(session)
    found = verify.verify(filled)
    assert (found.problems, found.cases, found.photos) == ([], 9, 1)


# what is done, what the finding says
DAMAGE = [
    ("update entries set content = replace(content, 'smells', 'smelly')", "it does not follow from those before it"),
    ("delete from entries where position = 2", "it does not follow from those before it"),
    ("update entries set kind = 'x' where position = 3", "its columns say something else"),
    ("update workshops set last_feed = 1", "is past the workshop's last"),
    ("delete from entries where position = 4", "not as its log says"),
    ("update cases set registration = 'x'", "registration not as its log says"),
    ("update case_documents set document = '{}'", "document not as its log says"),
    ("update case_documents set assessment = '{}'", "assessment not as its log says"),
    ("delete from case_words where word = 'smells'", "search words not as its log says"),
    ("update photo_refs set entry_id = 'x'", "photo list not as its log says"),
    ("delete from entries", "its log has no entry"),
]


@pytest.mark.parametrize(("statement", "says"), DAMAGE, ids=[row[0][:40] for row in DAMAGE])
def test_damage_is_named(filled, statement, says):
    with everything(filled) as session:
        session.execute(text(statement))
    problems = verify.verify(filled).problems
    assert problems
    assert any(says in problem for problem in problems)
    assert all(problem.startswith("workshop 'own': ") for problem in problems)


def find_photo(database) -> str:
    return next(key for key in database.photos.list_keys("") if not key.startswith(photos.SHOWN))


@pytest.mark.parametrize(("how", "says"), [("gone", "its file is gone"), ("altered", "its file was altered")])
def test_photos_are_held_against_their_sums(filled, how, says):
    key = find_photo(filled)
    if how == "gone":
        filled.photos.remove(key)
    else:
        filled.photos.write(key, draw(colour="blue"))
    assert [says in problem for problem in verify.verify(filled).problems] == [True]


def test_a_copy_that_shows_something_else_is_named_and_mended(filled, settings):
    filled.photos.write(filled.photos.list_keys(photos.SHOWN)[0], draw("JPEG", colour="blue"))
    assert ["the copy that is shown" in problem for problem in verify.verify(filled).problems] == [True]
    given = {"RAILCASE_DATA": str(settings.data), "RAILCASE_DATABASE_URL": settings.database_url}
    assert CliRunner().invoke(main, ["rebuild"], env=given).exit_code == 0
    assert (verify.verify(filled).problems, filled.photos.list_keys(photos.SHOWN)) == ([], [])


def test_what_waits_is_counted_and_no_problem(technician, database, monkeypatch):
    monkeypatch.setattr(projection, "catch_up_quietly", lambda *_: None)
    technician.sync(technician.opening())
    found = verify.verify(database)
    assert (found.problems, found.waiting) == ([], 1)
