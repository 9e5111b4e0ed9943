"""The same recorded crank in many dialects of CSV, with the truth known; both readers are tested against these files.

`python -m tests.trace.dialects FOLDER` writes every file and `truth.json`, for the tests of the phone's reader in Node.
"""

import json
import math
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

START_S, DEAD_S, TAU_S = 0.412, 0.1, 0.3
REST_BAR, STEADY_BAR = 17.8, 301.2
COMPRESSIONS_HZ, CYLINDERS = 8.4, 4
INTERVAL_S, SECONDS = 0.002, 3.5
SENSOR = [[0.5, 0.0], [4.5, 2000.0]]
TARGETS = [200, 285]


class Dialect(NamedTuple):
    """One file: its bytes, the reader's options, and what a reader must find in it."""

    name: str
    data: bytes
    options: dict  # pressure, time (column by name or number), pressure_unit, time_unit, sensor
    samples: int
    dropped: int
    first: list  # [t, p] of the first good row, s and bar (volts with a sensor)
    last: list
    origin_s: float  # what the reader's clock shows at the signal's own zero
    has_battery: bool
    tolerance_s: float  # how well the times below can be found in this file


def pressure_bar(t: float) -> float:
    since = t - START_S - DEAD_S
    return REST_BAR if since < 0.0 else REST_BAR + (STEADY_BAR - REST_BAR) * (1.0 - math.exp(-since / TAU_S))


def battery_v(t: float) -> float:
    since = t - START_S
    if since < 0.0:
        return 12.6
    return 10.4 - 2.0 * math.exp(-since / 0.06) - 0.25 * math.cos(2.0 * math.pi * COMPRESSIONS_HZ * since)


def true_seconds(target_bar: float) -> float:
    return DEAD_S - TAU_S * math.log(1.0 - (target_bar - REST_BAR) / (STEADY_BAR - REST_BAR))


def sensor_v(t: float) -> float:
    (low_v, low_bar), (high_v, high_bar) = SENSOR
    return low_v + (pressure_bar(t) - low_bar) * (high_v - low_v) / (high_bar - low_bar)


def moments(interval_s: float = INTERVAL_S) -> list[float]:
    return [i * interval_s for i in range(round(SECONDS / interval_s))]


def decimals(value: float, digits: int, comma: bool = False) -> str:
    text = f"{value:.{digits}f}"
    return text.replace(".", ",") if comma else text


def table(head: list[str], columns: list[Callable[[float], str]], mark: str, times: list[float]) -> list[str]:
    return head + [mark.join(column(t) for column in columns) for t in times]


def encode(lines: list[str], coding: str = "utf-8", end: str = "\n") -> bytes:
    return (end.join(lines) + end).encode(coding)


def clock(t: float, comma: bool = False) -> str:
    """A time of day that passes midnight 1 s after the signal's zero."""
    second = (86399.0 + t) % 86400.0
    whole = int(second + 1e-9)
    mark = "," if comma else "."
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}{mark}{round((second - whole) * 1000):03d}"


def dated(t: float) -> str:
    return f"2026-05-0{4 if t < 0.9995 else 5}T{clock(t)}Z"


def seconds(digits: int = 4, comma: bool = False, factor: float = 1.0, shift: float = 0.0) -> Callable[[float], str]:
    return lambda t: decimals((t + shift) * factor, digits, comma)


def bar(digits: int = 3, comma: bool = False, factor: float = 1.0) -> Callable[[float], str]:
    return lambda t: decimals(pressure_bar(t) * factor, digits, comma)


def volts(digits: int = 3, comma: bool = False) -> Callable[[float], str]:
    return lambda t: decimals(battery_v(t), digits, comma)


def make(
    name: str, data: bytes, *, options: dict | None = None, dropped: int = 0, origin_s: float = 0.0, battery: bool = True,
    interval_s: float = INTERVAL_S, signal: Callable[[float], float] = pressure_bar, gone: int = 0,
    tolerance_s: float | None = None,
) -> Dialect:  # fmt: skip
    times = moments(interval_s)
    ends = [[times[0] + origin_s, signal(times[0])], [times[-1] + origin_s, signal(times[-1])]]
    allowed = max(0.01, 2 * interval_s) if tolerance_s is None else tolerance_s
    return Dialect(name, data, options or {}, len(times) - dropped - gone, dropped, *ends, origin_s, battery, allowed)


def plain_dialects(times: list[float]) -> Iterator[Dialect]:
    lines = table(["Time (s),Rail pressure (bar),Battery voltage (V)"], [seconds(), bar(), volts()], ",", times)
    yield make("comma", encode(lines))
    yield make("crlf", encode(lines, end="\r\n"))
    yield make("byte-order-mark", encode(lines, "utf-8-sig"))
    yield make("utf-16", encode(lines, "utf-16", "\r\n"))
    head = ["Zeit;Raildruck;Batteriespannung", "ms;bar;V"]
    cells = [seconds(1, True, 1000.0), bar(3, True), volts(3, True)]
    yield make("semicolon-decimal-comma-units-row", encode(table(head, cells, ";", times), end="\r\n"))
    head = ["t [ms]\tp [kPa]\tUbat [mV]"]
    tabbed = [seconds(1, factor=1000.0), bar(1, factor=100.0), lambda t: decimals(1000 * battery_v(t), 0)]
    yield make("tab-kilopascal", encode(table(head, tabbed, "\t", times)))
    quoted = [lambda t: f'"{seconds(4, True)(t)}"', lambda t: f'"{bar(3, True)(t)}"', lambda t: f'"{volts(3, True)(t)}"']
    head = ['"Time (s)","Rail pressure, actual (bar)","Battery (V)"']
    yield make("quoted-decimal-comma", encode(table(head, quoted, ",", times)))
    psi = bar(2, factor=1 / 0.06894757293168361)
    yield make(
        "microseconds-psi", encode(table(["time_us,pressure_psi"], [seconds(0, factor=1e6), psi], ",", times)), battery=False
    )


def titled_dialects(times: list[float]) -> Iterator[Dialect]:
    title = ["Recording of a crank; yard, 4 May", "Interval: 2 ms", "Channels: 3", ""]
    head = [*title, "Time,Channel A,Channel B", "(s),(V),(V)", ""]
    cells = [seconds(), lambda t: decimals(sensor_v(t), 6), volts()]
    options = {"sensor": SENSOR, "pressure": "Channel A"}
    yield make(
        "scope-volts-title-lines", encode(table(head, cells, ",", times)), options=options, battery=False, signal=sensor_v
    )
    head = [*title, "Time (s);Rail pressure sensor (V);Battery (V)"]
    yield make("sensor-volts-by-name", encode(table(head, cells, ";", times)), options={"sensor": SENSOR}, signal=sensor_v)
    head = ["# time in µs", "Time (µs)\tRail pressure (MPa)\tBattery (V)"]
    cells = [seconds(0, factor=1e6), bar(4, factor=0.1), volts()]
    yield make("micro-sign-latin-1-megapascal", encode(table(head, cells, "\t", times), "latin-1"))
    head = ["Timestamp,Engine speed (rpm),Commanded rail pressure (bar),Rail pressure (bar),Control module voltage (V)"]
    cells = [dated, lambda t: "210.00", lambda t: "310", bar(), volts()]
    yield make("scan-log-absolute-midnight", encode(table(head, cells, ",", times)))
    head = ["Clock;Fuel rail pressure [bar];Battery [V]"]
    cells = [lambda t: clock(t, True), bar(2, True), volts(2, True)]
    yield make("clock-decimal-comma", encode(table(head, cells, ";", times)))
    head = ["Time,FRP (bar),VBAT (V)"]
    cells = [lambda t: decimals(1.7e12 + 1000 * t, 0), bar(), volts()]
    yield make("epoch-milliseconds", encode(table(head, cells, ",", times)))


def damaged_dialects(times: list[float]) -> Iterator[Dialect]:
    lines = table(["Time (s),Rail pressure (bar),Battery (V)"], [seconds(), bar(), volts()], ",", times)
    broken = list(lines)
    for row, text in ((100, "0.1980,---,12.6"), (101, "garbage"), (900, "1.7980,301.0.0,10.2"), (901, "")):
        broken[row] = text
    yield make("unreadable-rows", encode(broken), dropped=3, gone=1)
    holed = lines[:1] + [line for line in lines[1:] if not 0.20 < float(line.split(",")[0]) < 0.30]
    yield make("gap-before-start", encode(holed), gone=len(lines) - len(holed))
    shifted = [seconds(4, shift=-0.5), bar(), volts()]
    lines = table(["Time (s),Rail pressure (bar),Battery (V)"], shifted, ",", times)
    yield make("time-before-trigger", encode(lines), origin_s=-0.5)
    lines = table([], [seconds(), bar()], ",", times)
    options = {"time": "1", "pressure": "2", "time_unit": "s", "pressure_unit": "bar"}
    yield make("no-header", encode(lines), options=options, battery=False)
    slow = moments(0.05)
    lines = table(["Time;Rail pressure;Battery"], [seconds(2), bar(1), volts(1)], ";", slow)
    yield make("twenty-a-second-no-units", encode(lines), options={"pressure_unit": "bar"}, interval_s=0.05, tolerance_s=0.1)


def make_dialects() -> list[Dialect]:
    times = moments()
    return [*plain_dialects(times), *titled_dialects(times), *damaged_dialects(times)]


BAD_FILES = [  # name, bytes, what the refusal must name
    ("empty", b"", "is empty"),
    ("words", b"hello\nthis is a letter\n", "no row of numbers"),
    ("picture", bytes(range(256)) * 40, "no row of numbers"),
    ("no-pressure", b"Time (s),Speed (rpm)\n0,200\n1,210\n2,220\n", "'Speed (rpm)'"),
    ("two-pressures", b"Time (s),Pressure 1 (bar),Pressure 2 (bar)\n0,2,2\n1,3,2\n2,4,2\n", "'Pressure 2 (bar)'"),
    ("no-unit", b"Time (s),Rail pressure\n0,2\n1,3\n2,4\n", "'Rail pressure'"),
    (
        "mostly-unreadable",
        b"Time (s),Rail pressure (bar)\n0,2\n1,3\n2,x\n" + b"3,y\n" * 40,
        "row 4, column 'Rail pressure (bar)': 'x'",
    ),
]  # fmt: skip


def write_corpus(folder: Path) -> None:
    """Write every file, and truth.json: {"dialects": [...], "bad": [...], "targets", "start_s", "seconds"}."""
    folder.mkdir(parents=True, exist_ok=True)
    dialects = make_dialects()
    for name, data in [(d.name, d.data) for d in dialects] + [(name, data) for name, data, _ in BAD_FILES]:
        (folder / f"{name}.csv").write_bytes(data)
    truth = {
        "dialects": [{k: v for k, v in d._asdict().items() if k != "data"} for d in dialects],
        "bad": [{"name": name, "names": text} for name, _, text in BAD_FILES],
        "targets": TARGETS, "start_s": START_S, "seconds": [true_seconds(target) for target in TARGETS],
        "cylinders": CYLINDERS, "speed_rpm": 120.0 * COMPRESSIONS_HZ / CYLINDERS,
    }  # fmt: skip
    (folder / "truth.json").write_text(json.dumps(truth))


if __name__ == "__main__":
    write_corpus(Path(sys.argv[1]))
