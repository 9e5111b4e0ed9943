"""The fence: whatever statement reaches a workshop's rows without being held to it is refused, table by table."""

import pytest
from sqlalchemy import delete, insert, or_, select, text, union_all, update
from sqlalchemy.orm import aliased

from tests.conftest import BOTH
from webapp.store.fence import OWNER, OverTheFence, across
from webapp.store.models import Base, Case, CaseWord, Device, Person, WorkshopRow
from webapp.store.scope import find_workshop

DATABASES = BOTH
TENANTS = sorted(
    [mapper.class_ for mapper in Base.registry.mappers if mapper.class_.__tablename__ in OWNER],
    key=lambda model: model.__tablename__,
)
Other, Word = aliased(Case), CaseWord.__table__.alias()


def test_every_table_but_the_tries_is_fenced():
    assert set(Base.metadata.tables) - set(OWNER) == {"attempts"}


@pytest.fixture
def own(database):
    with database.reading() as session:
        yield find_workshop(session, "own")


def refuse(workshop, statement, *rows):
    with pytest.raises(OverTheFence):
        workshop.session.execute(statement, *rows)


@pytest.mark.parametrize("model", TENANTS, ids=lambda model: model.__tablename__)
def test_a_query_that_forgets_its_workshop_is_refused(own, model):
    owner = getattr(model, OWNER[model.__tablename__])
    for statement in (
        select(model),
        select(owner),
        select(model.__table__),
        select(model).where(owner == "another"),
        select(model).where(owner != own.id),
        select(model).where(or_(owner == own.id, owner == "another")),
        select(select(model).subquery()),
        select(1).where(select(model).exists()),
        delete(model),
        update(model).values({owner: "x"}),
        text(f"select * from {model.__tablename__}"),
    ):
        refuse(own, statement)
    assert own.session.execute(select(model).where(owner == own.id)).all() is not None


@pytest.mark.parametrize("model", TENANTS, ids=lambda model: model.__tablename__)
def test_rows_cannot_be_put_into_another_workshop(own, database, model):
    with database.reading() as session:
        other = find_workshop(session, "other").id
    owner = OWNER[model.__tablename__]
    refuse(own, insert(model.__table__), [{owner: own.id}, {owner: other}])
    refuse(own, insert(model.__table__).values({owner: other}))
    row = model(**{owner: other})
    if model is not WorkshopRow:
        own.session.add(row)
        with pytest.raises(OverTheFence):
            own.session.flush()
        own.session.expunge(row)


def held(own, model=Case):
    return select(model).where(model.workshop_id == own.id)


LOOSE = [
    ("one half of a union", lambda own: union_all(held(own), select(Case))),
    ("an alias", lambda own: select(Other).where(Case.workshop_id == own.id)),
    ("the other side of a join", lambda own: held(own, Device).join(Person, Person.id == Device.person_id)),
    ("a join whose condition may fail", lambda own: select(Case).join(Device, Case.workshop_id == own.id, isouter=True)),
    ("a subselect", lambda own: held(own).where(Case.id.in_(select(CaseWord.case_id)))),
    (
        "an exists on a bare table",
        lambda own: held(own).where(select(Word.c.word).where(Word.c.case_id == Case.id).exists()),
    ),
    ("a limit inside", lambda own: select(select(Case.id).limit(5).subquery().c.id)),
    ("a common table", lambda own: select(select(Case.id).cte().c.id)),
    ("a scalar", lambda own: held(own).add_columns(select(Person.name).limit(1).scalar_subquery())),
    (
        "a comparison with another table that is loose",
        lambda own: select(Case).where(Case.workshop_id == Device.workshop_id),
    ),
]
HELD = [
    ("through a join", lambda own: held(own, Device).join(Person, Person.workshop_id == Device.workshop_id)),
    ("both halves", lambda own: union_all(held(own), held(own))),
    ("through the query around", lambda own: held(own).where(
        select(Word.c.word).where(Word.c.workshop_id == Case.workshop_id).exists())),
    ("one that says why", lambda own: across(select(Case), "the test asks")),
    ("no table of a workshop", lambda own: text("select 1")),
]  # fmt: skip


@pytest.mark.parametrize(("name", "make"), LOOSE, ids=[row[0] for row in LOOSE])
def test_a_loose_part_is_found(own, name, make):
    refuse(own, make(own))


@pytest.mark.parametrize(("name", "make"), HELD, ids=[row[0] for row in HELD])
def test_a_held_statement_passes(own, name, make):
    own.session.execute(make(own))


def test_a_row_cannot_be_taken_over_nor_moved(own, database):
    with database.reading() as session:
        other = find_workshop(session, "other").id
    own.first(own.select(Person)).workshop_id = other
    with pytest.raises(OverTheFence):
        own.session.flush()
