"""The one door to a workshop's rows, held by reading the sources: nobody else makes queries."""

import ast
from pathlib import Path

import pytest

from webapp.store import scope
from webapp.store.models import Base, Case, Person
from webapp.store.shape import UUID

WEBAPP = Path(scope.__file__).parents[1]
# Who may query without a workshop, and why.
KNOWN = {
    "scope.py": "the door itself",
    "entrance.py": "finds out which workshop it is",
    "attempts.py": "counts belong to no workshop",
    "people.py": "a login is taken in any workshop",
    "pairings.py": "a pairing code says which workshop it is",
    "move.py": "moves all tables to another database",
    "health.py": "looks at the server, and counts what waits in all workshops",
    "search.py": "builds on statements of the door",
    "fence.py": "refuses those that came by another way",
}


def sources(*folders: str) -> list[Path]:
    return [path for folder in folders for path in sorted((WEBAPP / folder).glob("*.py"))]


def names_used(path: Path) -> set[str]:
    tree = ast.parse(path.read_text())
    imported = {f"{node.module}.{alias.name}" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
                for alias in node.names}  # fmt: skip
    return imported | {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}


@pytest.mark.parametrize("path", sources("phone", "office", "account", "report"), ids=lambda p: f"{p.parent.name}/{p.name}")
def test_pages_have_no_other_way_in(path):
    used = names_used(path)
    assert not {name for name in used if name.startswith("webapp.store.models")}
    assert not used & {"sqlalchemy.select", "sqlalchemy.update", "sqlalchemy.delete", "query"}


@pytest.mark.parametrize("path", sources("store"), ids=lambda p: p.name)
def test_the_store_queries_through_the_door(path):
    queries = names_used(path) & {"sqlalchemy.select", "sqlalchemy.update", "sqlalchemy.delete"}
    assert not queries or path.name in KNOWN


LOOK_WIDER = {"fence.py", "health.py", "scope.py", "entrance.py", "pairings.py", "people.py"}


@pytest.mark.parametrize("path", sources(".", "store", "phone", "office", "account", "report"), ids=lambda p: p.name)
def test_few_may_look_over_the_fence(path):
    called = {node.func.id for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call)
              and isinstance(node.func, ast.Name)}  # fmt: skip
    assert "across" not in called or path.name in LOOK_WIDER
    assert "Workshop" not in called or path.parent.name == "store" or path.name == "access.py"


def test_every_table_belongs_to_a_workshop():
    without = {name for name, table in Base.metadata.tables.items() if "workshop_id" not in table.columns}
    assert without == {"workshops", "attempts"}


def test_the_door_adds_and_finds_in_its_own_workshop_only(database):
    with database.writing() as session:
        own, other = scope.find_workshop(session, "own"), scope.find_workshop(session, "other")
        own.add(Case(id="x", state="open", registration="", vin="", description="", differs=False, conflicts=0, entries=0,
                     updated_at=""))  # fmt: skip
        session.flush()
        assert own.first(own.select(Case)).id == "x"
        assert other.first(other.select(Case)) is None
        other.run(other.delete(Case))
        assert own.first(own.select(Case))
        assert {row.workshop_id for row in own.all(own.select(Person))} == {own.id}


def test_new_ids_are_uuid7_and_sort_by_age():
    ids = [scope.new_id() for _ in range(50)]
    assert all(UUID.fullmatch(id_) and id_[14] == "7" and id_[19] in "89ab" for id_ in ids)
    assert len(set(ids)) == 50
    assert [id_[:13] for id_ in ids] == sorted(id_[:13] for id_ in ids)
