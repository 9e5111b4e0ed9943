"""Where the answer that a phone gave the customer differs from the server's own assessment of the same entries, and why
somebody at the office has to look at a case."""

PUMP_FAULT = "pump_worn"
FINISHED = ("concluded", "repaired", "confirmed")


def list_differences(case: dict, assessment: dict) -> list[dict]:
    """Compare the entry `concluded` with the assessment.

    *Returns* rows {"what": "verdict" | "fault" | "pump" | "engine" | "limits", "subject", "phone", "server"}; empty when
    nothing was concluded or both agree. An `engine` or `limits` row explains the others and appears only beside them.
    """
    concluded = case.get("concluded")
    if not concluded:
        return []
    rows = list_verdict_differences(concluded, assessment)
    conclusion = assessment.get("conclusion") or {}
    pump = (assessment.get("pump") or {}).get("status")
    if concluded.get("fault") != conclusion.get("fault") and not is_answered_for(concluded, assessment):
        rows.append(describe("fault", "", concluded.get("fault"), conclusion.get("fault")))
    if concluded.get("pump") is not None and concluded["pump"] != pump:
        rows.append(describe("pump", "", concluded["pump"], pump))
    return rows + list_causes(concluded, assessment) if rows else []


def is_answered_for(concluded: dict, assessment: dict) -> bool:
    """True when the pump was named short of proof and a person answers for that in writing: no difference of programs."""
    pump = assessment.get("pump") or {}
    return concluded.get("fault") == PUMP_FAULT and not assessment.get("conclusion") and bool(pump.get("override"))


def list_verdict_differences(concluded: dict, assessment: dict) -> list[dict]:
    ours = {row["reading"]: row for row in assessment.get("verdicts") or []}
    rows = []
    for row in only_objects(concluded.get("verdicts")):
        mine = ours.get(str(row.get("reading")))
        if mine is not None and mine["verdict"] != row.get("verdict"):
            rows.append(describe("verdict", mine.get("name") or mine["quantity"], row.get("verdict"), mine["verdict"]))
    return rows


def list_causes(concluded: dict, assessment: dict) -> list[dict]:
    rows = []
    if concluded.get("engine") not in (None, assessment.get("engine")):
        rows.append(describe("engine", "", concluded["engine"], assessment.get("engine")))
    theirs, ours = next(iter(only_objects([concluded.get("limits")])), {}), assessment.get("limits") or {}
    names = [f"{side.get('profile')} version {side.get('version')}" for side in (theirs, ours)]
    if theirs and names[0] != names[1]:
        rows.append(describe("limits", "", *names))
    return rows


def only_objects(rows) -> list[dict]:
    """What a phone said of itself is not checked by the engine: anything may stand there."""
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def describe(what: str, subject: str, phone, server) -> dict:
    return {"what": what, "subject": subject, "phone": phone, "server": server}


def list_reasons(document: dict, assessment: dict) -> list[str]:
    """Why somebody at the office has to look at a case; none when nobody has to."""
    if document.get("merged_into") or is_reviewed(document):
        return []
    reasons = ["It was finished, and nobody has countersigned it."] if document.get("state") in FINISHED else []
    if document.get("gate_override"):
        reasons.append("The pump was named without proof.")
    if list_differences(document, assessment):
        reasons.append("The phone and the server answer differently.")
    if reasons and document.get("review"):
        reasons.append("It was countersigned once, and something that decides has been entered since.")
    return reasons


def is_reviewed(document: dict) -> bool:
    return bool((document.get("review") or {}).get("holds"))
