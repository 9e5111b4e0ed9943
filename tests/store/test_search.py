"""Words under which cases are found, and what stays quick when there are many."""

import pytest

from tests.conftest import own_workshop
from webapp.store import cases, search
from webapp.store.filters import ANYTHING, NEEDS_REVIEW, Wanted, list_claims
from webapp.store.models import Case, CaseWord


@pytest.mark.parametrize(("text", "words"), [
    ("Blue VAN, 2nd-hand", ["blue", "van", "2nd", "hand"]), ("Größe é Ä", ["grosse", "e", "a"]),
    ("AB12_CDE", ["ab12", "cde"]),
    ("", []), (" \0 \ud800 ", []), ("x" * 60, ["x" * 40]), ("Дизель", ["дизель"]),
])  # fmt: skip
def test_text_is_split_into_words(text, words):
    assert search.split_words(text) == words


def test_a_registration_is_found_with_and_without_gaps_and_a_vin_by_its_tail():
    words = search.list_words("AB12 CDE", "INVENTED000123456", [])
    assert words == {"ab12", "cde", "ab12cde", "invented000123456", "00123456", "123456", "3456"}


def test_a_long_note_does_not_fill_the_table():
    assert len(search.list_words("", "", [" ".join(f"word{number}" for number in range(1000))])) == search.MOST_WORDS


@pytest.fixture
def many(database):
    """A thousand cases: all are vans, every tenth is red, each has a number."""
    with database.writing() as session:
        workshop = own_workshop(session)
        rows = [{"id": f"case{number:04d}", "state": "open" if number % 2 else "concluded", "registration": "", "vin": "",
                 "description": "", "differs": False, "conflicts": 0, "entries": 1, "updated_at": f"{number:04d}"}
                for number in range(1000)]  # fmt: skip
        workshop.add_many(Case, rows)
        for number in range(1000):
            words = {"van", f"nr{number}"} | ({"red"} if number % 10 == 0 else set())
            workshop.add_many(CaseWord, [{"word": word, "case_id": f"case{number:04d}"} for word in words])
    return database


def page_through(database, **query) -> list[str]:
    found, after = [], None
    with database.reading() as session:
        while True:
            page = cases.list_cases(own_workshop(session), after=after, **query)
            found += [case.id for case in page.cases]
            after = page.after
            if after is None or len(found) > 2000:
                return found


@pytest.mark.parametrize(("query", "expected"), [
    ({}, range(1000)), ({"text": "van"}, range(1000)), ({"text": "re va"}, range(0, 1000, 10)),
    ({"state": "open"}, range(1, 1000, 2)), ({"text": "van", "state": "open"}, range(1, 1000, 2)),
    ({"text": "red", "state": "open"}, []), ({"text": "nr999"}, [999]), ({"text": "nr99 van"}, [99, *range(990, 1000)]),
])  # fmt: skip
def test_pages_hold_every_case_once_newest_first(many, query, expected):
    assert page_through(many, **query) == [f"case{number:04d}" for number in reversed(expected)]


def test_a_very_short_term_says_that_not_all_was_searched(many):
    with many.reading() as session:
        assert cases.list_cases(own_workshop(session), text="n").is_cut
        assert not cases.list_cases(own_workshop(session), text="van").is_cut


def test_words_that_are_gone_are_not_found_any_more(technician, database):
    technician.sync(technician.opening("OLD 1"))
    technician.sync([technician.entry("vehicle_set", {"registration": "NEW 2"})])
    with database.reading() as session:
        workshop = own_workshop(session)
        assert cases.list_cases(workshop, text="old").cases == []
        assert len(cases.list_cases(workshop, text="new").cases) == 1


def test_no_page_of_the_list_walks_through_the_table(many):
    with many.reading() as session:
        plans = []
        workshop = own_workshop(session)
        newest = Case.updated_at.desc(), Case.id.desc()
        states = [None, "open", NEEDS_REVIEW]
        filters = [Wanted(person="x"), Wanted(fault="x"), Wanted(pump="open"), Wanted(photos=True), Wanted(questions=True)]
        lists = [list_claims(state, ANYTHING) for state in states] + [list_claims(None, wanted) for wanted in filters]
        for statement in (
            *(workshop.select(Case).where(*claims).order_by(*newest).limit(26) for claims in lists),
            search.narrow(workshop, "van", ["red"], lists[1], "case0500").limit(26),
        ):
            sql = str(statement.compile(many.engine, compile_kwargs={"literal_binds": True}))
            plans.append(str(session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}").all()))
    assert all("SCAN" not in plan and "TEMP B-TREE" not in plan for plan in plans), plans
