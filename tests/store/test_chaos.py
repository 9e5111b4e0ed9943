"""A short storm with a real server that is really killed; `python -m tests.chaos` makes long ones."""

from tests.chaos.__main__ import restart, storm
from tests.conftest import BOTH

DATABASES = BOTH
FAULTS, PHONES, SEED = 40, 3, 7


def test_a_short_storm_loses_nothing(database_kind, request):
    if database_kind == "sqlite":
        world = storm("", FAULTS, PHONES, SEED)
    else:
        cluster = request.getfixturevalue("cluster")
        world = storm(cluster.make("chaos"), FAULTS, PHONES, SEED, lambda: restart(cluster))
        cluster.drop("chaos")
    assert world.count_faults() >= FAULTS
    assert world.faults["kill"]
    assert world.acknowledged
