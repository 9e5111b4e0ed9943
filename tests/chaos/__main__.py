"""`python -m tests.chaos [FAULTS] [--database sqlite|postgres] [--phones N] [--seed N]`: chaos until so many faults."""

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path

from e2e.stage import free_port
from tests.chaos.world import World
from tests.postgres import Cluster, running_cluster
from webapp.settings import Settings
from webapp.store.db import migrate


def storm(url: str, faults: int, phones: int, seed: int, disturb=None) -> World:
    """Run one storm on a database that is empty; every assertion in it holds or the seed is to be kept."""
    with tempfile.TemporaryDirectory(prefix="railcase-chaos-") as folder:
        data = Path(folder)
        settings = Settings(data=data, database_url=url or f"sqlite:///{data / 'chaos.db'}", secret_key="k" * 40)
        migrate(settings)
        world = World(settings, free_port(), phones, seed, disturb)
        began = time.monotonic()
        try:
            world.run(faults)
        finally:
            world.nursery.stop()
        found = world.reckon()
        spent = time.monotonic() - began
        kinds = ", ".join(f"{name} {count}" for name, count in sorted(world.faults.items()))
        print(f"{'PostgreSQL' if url else 'SQLite'}, seed {seed}: {world.count_faults()} faults in {spent:.0f} s ({kinds})")
        print(f"  {found}", flush=True)
        return world


def restart(cluster: Cluster) -> None:
    """As after a crash of the database's machine."""
    cluster.stop("immediate")
    cluster.start()


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.chaos", description=__doc__)
    parser.add_argument("faults", nargs="?", type=int, default=10_000)
    parser.add_argument("--database", choices=("sqlite", "postgres"), default="sqlite")
    parser.add_argument("--phones", type=int, default=8)
    parser.add_argument("--seed", type=int, default=random.randrange(10**6))
    asked = parser.parse_args()
    print(f"seed {asked.seed}", file=sys.stderr)
    if asked.database == "sqlite":
        storm("", asked.faults, asked.phones, asked.seed)
        return
    with running_cluster() as cluster:
        storm(cluster.make("chaos"), asked.faults, asked.phones, asked.seed, lambda: restart(cluster))


if __name__ == "__main__":
    main()
