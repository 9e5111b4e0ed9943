"""What is counted and timed while the server runs, for /metrics.

Several worker processes count together through files in one folder; the library decides that when the first meter is made,
so `share` comes before, and the application makes the meters in each worker while it has one thread. Without `share`
(commands, tests) each process counts for itself.
"""

import os
import shutil
from functools import cache
from pathlib import Path
from typing import NamedTuple

from prometheus_client import (
    CONTENT_TYPE_LATEST,
    REGISTRY,
    CollectorRegistry,
    Counter,
    Histogram,
    generate_latest,
    multiprocess,
)
from prometheus_client import values as value_kinds

TYPE = CONTENT_TYPE_LATEST
FOLDER = "PROMETHEUS_MULTIPROC_DIR"
QUICK_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10)


class Meters(NamedTuple):
    requests: Counter
    request_seconds: Histogram
    entries: Counter
    refusals: Counter
    judge_seconds: Histogram


@cache
def meters() -> Meters:
    return Meters(
        Counter("railcase_requests", "Requests answered.", ["method", "route", "status"]),
        Histogram("railcase_request_seconds", "Time until the answer was ready.", ["route"], buckets=QUICK_S),
        Counter("railcase_sync_entries", "Entries that came in, by what became of them.", ["status"]),
        Counter("railcase_sync_refusals", "Reasons for which entries were refused.", ["code"]),
        Histogram("railcase_judge_seconds", "Time to fold and judge one case.", buckets=QUICK_S),
    )


def share(folder: Path) -> None:
    """Count together with all processes forked from now on; what an earlier run left behind is dropped."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True, exist_ok=True)  # it may be a mount of its own, which stays
    os.environ[FOLDER] = str(folder)  # where the library looks
    value_kinds.ValueClass = value_kinds.get_value_class()


def is_shared() -> bool:
    return FOLDER in os.environ


def forget_process(pid: int) -> None:
    multiprocess.mark_process_dead(pid)


def render() -> bytes:
    """All meters in the text form that Prometheus reads."""
    meters()
    if not is_shared():
        return generate_latest(REGISTRY)
    registry = CollectorRegistry()
    multiprocess.MultiProcessCollector(registry)
    return generate_latest(registry)
