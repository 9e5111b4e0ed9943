"""Long recordings: one crank somewhere in many rows; written quickly, the same rows over and over before and after it."""

import subprocess
import sys
from pathlib import Path

from tests.trace.dialects import REST_BAR, battery_v, pressure_bar

RATE_HZ = 10_000
CRANK_S = 4.0
BLOCK = 100_000
HEADER = "Time (us),Rail pressure (bar),Battery (V)\n"


def write_long(path: Path, rows: int) -> float:
    """Write a recording of `rows` samples with the crank's own zero at two thirds; return that moment [s]."""
    first = rows * 2 // 3
    step = 1_000_000 // RATE_HZ
    crank = int(CRANK_S * RATE_HZ)
    tails = [f",{REST_BAR + 0.1 * (i % 7):.1f},{12.6 + 0.01 * (i % 3):.2f}\n" for i in range(21)]
    with path.open("w") as file:
        file.write(HEADER)
        for begin in range(0, rows, BLOCK):
            end = min(begin + BLOCK, rows)
            file.write("".join(
                f"{i * step}{tails[i % 21]}" if not 0 <= i - first < crank else crank_row(i * step, (i - first) / RATE_HZ)
                for i in range(begin, end)
            ))  # fmt: skip
    return first / RATE_HZ


def crank_row(micro: int, t: float) -> str:
    return f"{micro},{pressure_bar(t):.1f},{battery_v(t):.2f}\n"


PROBE = """
import resource, sys
from webapp.cli import main
try: main(["trace", "--cylinders", "4", sys.argv[1]], standalone_mode=False)
finally: print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)
"""


def run_trace(path: Path) -> tuple[str, int]:
    """Return what the command prints and its peak memory [KB]."""
    done = subprocess.run([sys.executable, "-c", PROBE, str(path)], capture_output=True, text=True, timeout=1200, check=True)
    return done.stdout, int(done.stderr.split()[-1])


def count_lines(path: Path) -> int:
    """The bare limit: read every line once."""
    with path.open("rb") as file:
        return sum(1 for _ in file)
