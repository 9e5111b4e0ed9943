"""Answers of a control unit to standard scan requests, as a scan adapter prints them: hex text into named values.

Rules for this file: service 01 (current data) only; what is not supported, negative or cut short is said, never guessed; a
value that came is given even when its support bit says no, with a warning.
Method: lines are taken apart into bytes (headers of three or eight digits, a length byte and the prompt are taken off;
numbered lines of a long answer are joined); each answer begins with 41 and the parameter's number; values follow from a
table of scale factors.
Sources: SAE J1979 / ISO 15031-5 for scales; read in the open source of the SAE J1699-3 conformance test, that of 0x42 and
0x05 from memory or second-hand; ISO 15765-2 for the frames of long answers, adapters' text form: common practice.
"""

import re

from .numeric import is_number
from .problems import EngineError, Problem, refuse, show

POSITIVE, NEGATIVE, SERVICE = 0x41, 0x7F, 0x01
SUPPORT_PIDS = (0x00, 0x20, 0x40, 0x60)
MOST_CHARACTERS, MOST_ROWS = 200000, 20000
ANSWER_IDS = re.compile("^7E[89A-F]$")
LONG_ID = re.compile("^18DAF1[0-9A-F][0-9A-F]$")
OLD_HEADER = [0x48, 0x6B]  # three bytes before, a check byte after
PADDING = (0x00, 0x55, 0xAA)
ADAPTER_WORDS = ("SEARCHING", "NO DATA", "OK", "STOPPED", "UNABLE TO CONNECT", "CAN ERROR", "BUS INIT", "?", "BUFFER FULL")
REASONS = {0x10: "refused", 0x11: "service not supported", 0x12: "not supported", 0x21: "busy", 0x22: "not now",
           0x31: "out of range", 0x78: "still working"}  # fmt: skip

# parameter: rows of (name, unit, first byte, bytes, factor, offset, support bit of byte A or None)
KPA = 0.01
PARAMETERS = {
    0x05: (("coolant_temperature", "degC", 0, 1, 1.0, -40.0, None),),
    0x0A: (("fuel_pressure", "bar", 0, 1, 3 * KPA, 0.0, None),),
    0x0B: (("intake_pressure", "bar", 0, 1, KPA, 0.0, None),),
    0x0C: (("engine_speed", "rpm", 0, 2, 0.25, 0.0, None),),
    0x22: (("rail_pressure_manifold", "bar", 0, 2, 0.079 * KPA, 0.0, None),),
    0x23: (("rail_pressure", "bar", 0, 2, 10 * KPA, 0.0, None),),
    0x42: (("module_voltage", "V", 0, 2, 0.001, 0.0, None),),
    0x59: (("rail_pressure_absolute", "bar", 0, 2, 10 * KPA, 0.0, None),),
    0x6D: (
        ("commanded_rail_pressure", "bar", 1, 2, 10 * KPA, 0.0, 0),
        ("rail_pressure", "bar", 3, 2, 10 * KPA, 0.0, 1),
        ("rail_temperature", "degC", 5, 1, 1.0, -40.0, 2),
        ("commanded_rail_pressure_b", "bar", 6, 2, 10 * KPA, 0.0, 3),
        ("rail_pressure_b", "bar", 8, 2, 10 * KPA, 0.0, 4),
        ("rail_temperature_b", "degC", 10, 1, 1.0, -40.0, 5),
    ),
}
LENGTHS = {0x05: 1, 0x0A: 1, 0x0B: 1, 0x0C: 2, 0x22: 2, 0x23: 2, 0x42: 2, 0x59: 2, 0x6D: 11}
SHORT_LENGTHS = {0x6D: 6}  # an older layout without the second rail
PRESSURES = ("rail_pressure", "rail_pressure_absolute", "rail_pressure_manifold")


def hex_name(number: int) -> str:
    return f"0x{number:02X}"


def line_bytes(line: str, field: str) -> list:
    """Return the bytes of one line without header, length and prompt; [] for an adapter's own words. Refuses: not_hex."""
    text = line.replace(">", " ").strip().upper()
    for word in ADAPTER_WORDS:
        if text.startswith(word):
            return []
    words = [w for w in text.split() if w]
    if len(words) > 1 and (ANSWER_IDS.match(words[0]) or LONG_ID.match(words[0])):
        words = words[1:]
    elif words and ANSWER_IDS.match(words[0][:3]) and len(words[0]) % 2:
        words[0] = words[0][3:]
    elif words and LONG_ID.match(words[0][:8]):
        words[0] = words[0][8:]
    elif len(words) > 4 and words[:3] == ["18", "DA", "F1"]:
        words = words[4:]
    digits = "".join(words)
    for sign in digits:
        if sign not in "0123456789ABCDEF":
            raise refuse("not_hex", field, f"{show(line)} is not hex text such as 41 0C 1A F8")
    if len(digits) % 2:
        raise refuse("not_hex", field, f"{show(line)} has an odd number of digits; a digit is missing")
    data = [int(digits[i : i + 2], 16) for i in range(0, len(digits), 2)]
    return data[3:-1] if data[:2] == OLD_HEADER and len(data) > 5 else data


def numbered_lines(lines: list) -> list:
    """Join the lines '0:', '1:' ... of a long answer, the line with its length before them left out."""
    joined: list = []
    for line in lines:
        head, mark, rest = line.partition(":")
        number = head.strip()
        if mark and len(number) == 1 and number in "0123456789ABCDEFabcdef":
            if number == "0":
                if joined and re.match("^[0-9A-Fa-f][0-9A-Fa-f][0-9A-Fa-f]$", joined[-1].strip()):
                    joined.pop()
                joined.append(rest)
            elif joined:
                joined[-1] = joined[-1] + " " + rest
        else:
            joined.append(line)
    return joined


def join_frames(found: list) -> list:
    """Return messages of [bytes]: a first frame (1x) with the consecutive ones (2x) that follow; single frames unwrapped."""
    messages, wanted = [], 0
    for data in found:
        if not data:
            continue
        if data[0] >> 4 == 1 and len(data) > 2 and data[2] in (POSITIVE, NEGATIVE):
            wanted = (data[0] & 15) * 256 + data[1]
            messages.append(data[2:])
        elif data[0] >> 4 == 2 and wanted > 0 and messages and len(messages[-1]) < wanted:
            messages[-1] = (messages[-1] + data[1:])[:wanted]
        elif len(data) > 1 and data[0] < 8 and data[1] in (POSITIVE, NEGATIVE):
            messages.append(data[1 : 1 + data[0]])
            wanted = 0
        else:
            messages.append(data)
            wanted = 0
    return messages


def take_values(pid: int, data: list) -> list:
    """Return [(name, unit, value)] of one parameter's data bytes; only what is supported and there."""
    rows = []
    for name, unit, first, count, factor, offset, bit in PARAMETERS[pid]:
        if first + count > len(data) or (bit is not None and not data[0] >> bit & 1):
            continue
        raw = 0
        for byte in data[first : first + count]:
            raw = raw * 256 + byte
        rows.append((name, unit, raw * factor + offset))
    return rows


def supported_by(pid: int, data: list) -> list:
    """Return the parameters that a support answer names. Example: 0x20 with 20 00 00 01 names 0x23 and 0x40."""
    return [pid + 8 * i + k + 1 for i in range(min(len(data), 4)) for k in range(8) if data[i] >> (7 - k) & 1]


def parameter_length(pid: int, rest: list) -> int:
    """Return how many data bytes a parameter has in what is left of a message; all of it for one that is not known."""
    if pid in SUPPORT_PIDS:
        return 4
    length = LENGTHS.get(pid, len(rest))
    if pid in SHORT_LENGTHS and len(rest) < length:
        return min(SHORT_LENGTHS[pid], len(rest))
    return length


def read_message(data: list, line: int) -> tuple:
    """Return (values, supported parameters or None, answered parameters, warnings) of one message."""
    where = f"answer {line + 1}"
    if data[0] == NEGATIVE:
        code = data[2] if len(data) > 2 else 0
        return [], None, [], [f"{where}: the control unit says no ({REASONS.get(code, hex_name(code))})."]
    if data[0] == SERVICE:
        return [], None, [], []  # the request, echoed
    if data[0] != POSITIVE:
        return [], None, [], [f"{where}: {hex_name(data[0])} is not an answer to a request for current data; it was left."]
    rest = data[1:]
    values: list = []
    supported: list = []
    answered: list = []
    warnings: list = []
    while rest and not (answered and rest[0] in PADDING and len(set(rest)) == 1):
        pid, body = rest[0], rest[1:]
        length = parameter_length(pid, body)
        if len(body) < length:
            warnings.append(f"{where}: {hex_name(pid)} is cut short: {len(body)} of {length} bytes.")
            break
        if pid in SUPPORT_PIDS:
            supported += supported_by(pid, body[:4])
        elif pid in PARAMETERS:
            values += [(name, unit, value, pid) for name, unit, value in take_values(pid, body[:length])]
        else:
            warnings.append(f"{where}: parameter {hex_name(pid)} is not read here.")
        answered.append(pid)
        rest = body[length:]
    return values, supported if [p for p in answered if p in SUPPORT_PIDS] else None, answered, warnings


def decode_text(text: object, field: str) -> dict:
    """Return values, supported, unsupported and warnings of typed or pasted answers."""
    if not isinstance(text, str) or not text.strip():
        raise refuse("missing", field, "paste the answers as hex text, such as 41 0C 1A F8")
    if len(text) > MOST_CHARACTERS:
        raise refuse("too_many", field, f"{len(text)} characters; at most {MOST_CHARACTERS} are taken")
    lines = numbered_lines(text.replace("\r", "\n").replace(">", "\n").split("\n"))
    messages = join_frames([line_bytes(lines[i], f"{field}, line {i + 1}") for i in range(len(lines))])
    values: list = []
    supported: list = []
    asked: list = []
    warnings: list = []
    known: list = []
    for i in range(len(messages)):
        found, can, answered, said = read_message(messages[i], i)
        values += [{"name": n, "unit": u, "value": v, "pid": hex_name(p)} for n, u, v, p in found]
        supported += can or []
        asked += answered
        known += [p for p in answered if p in SUPPORT_PIDS]
        warnings += said
    for pid in asked:
        covered = [p for p in known if p < pid <= p + 32]
        if pid in PARAMETERS and covered and pid not in supported:
            warnings.append(f"{hex_name(pid)} was answered although the control unit says that it is not supported.")
    if not values and not supported and not warnings:
        warnings.append("No answer to a request for current data is in it.")
    return {"values": values, "supported": [hex_name(p) for p in sorted(set(supported))], "warnings": warnings}


def check_rows(rows: object) -> list:
    if not isinstance(rows, list) or not rows or len(rows) > MOST_ROWS:
        return [Problem("missing", "rows", f"give 1 to {MOST_ROWS} rows of {{t, text}}")]
    problems, before = [], None
    for i in range(len(rows)):
        moment = rows[i].get("t") if isinstance(rows[i], dict) else None
        if not is_number(moment):
            problems.append(Problem("not_a_number", f"rows[{i}].t", f"{show(moment)} is not a time in seconds"))
        elif before is not None and moment < before:
            problems.append(Problem("not_rising", f"rows[{i}].t", f"{moment:g} s comes after {before:g} s"))
        else:
            before = moment
    return problems


def decode_series(rows: list) -> dict:
    """Return a recorded series as lists for the trace call; see decode_scan."""
    problems = check_rows(rows)
    if problems:
        raise EngineError(problems)
    found = [(row["t"], decode_text(row.get("text"), f"rows[{i}].text")) for i, row in enumerate(rows)]
    names = [v["name"] for _, answer in found for v in answer["values"]]
    chosen = [name for name in PRESSURES if name in names][:1]
    series: dict = {"t": [], "p": [], "battery_v": []}
    voltage = None
    for moment, answer in found:
        here = {v["name"]: v["value"] for v in answer["values"]}
        voltage = here.get("module_voltage", voltage)
        if chosen and chosen[0] in here:
            series["t"].append(moment)
            series["p"].append(here[chosen[0]])
            series["battery_v"].append(voltage)
    if not [v for v in series["battery_v"] if v is not None]:
        del series["battery_v"]
    said = [f"row {i + 1}: {text}" for i, (_, answer) in enumerate(found) for text in answer["warnings"]]
    if not chosen:
        said.append("No rail pressure is among the answers.")
    last = {}
    for _, answer in found:
        for value in answer["values"]:
            last[value["name"]] = value
    return {
        "values": [last[n] for n in sorted(last)],
        "pressure": chosen[0] if chosen else None,
        "trace": series,
        "warnings": said,
    }


def decode_scan(request: dict) -> dict:
    """Return what a control unit answered.

    Inputs: "text" answers as hex, a line each or several to a line of an adapter ("41 0C 1A F8", with or without blanks,
    headers, frame bytes, prompts); or "rows" [{"t" [s], "text"}], a recorded series.
    Returns: "text": {"values" [{"name", "unit", "value", "pid"}], "supported" [pid], "warnings"}; "rows": {"values" the last
    of each name, "pressure" its name or None, "trace" {"t", "p" [bar], "battery_v" or not there}, ready for the trace call,
    "warnings"}.
    Refuses: missing, not_hex, too_many, not_a_number, not_rising.
    Example: 41 23 0B B8 is 300 bar; 41 6D 07 0B B8 0A 8C 5A is 300 bar commanded, 270 bar actual, 50 degC.
    """
    if request.get("rows") is not None:
        return decode_series(request["rows"])
    return decode_text(request.get("text"), "text")
