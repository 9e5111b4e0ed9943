"""The customer's part of the report: a few plain sentences, and never more than the evidence carries."""

from webapp.wording import write_day_and_time

PUMP_ANSWERS = {
    "cleared": "The high-pressure pump is not at fault: the tests showed that it makes enough pressure.",
    "open": "Whether the high-pressure pump is at fault has not been shown. Replacing it now would be a guess.",
    "suspected": "The high-pressure pump is under suspicion, but that is not yet proven.",
    "condemned": "The high-pressure pump is worn. The other parts that could cause the same trouble were tested first.",
}

MOST_PROOFS = 5  # the customer's page is one page; all readings stand in the technical part


def explain(found: dict) -> list[tuple[str, list[str]]]:
    """Headings with their sentences, in reading order; a heading without sentences is left out."""
    parts = [
        ("What you told us", explain_complaint(found)),
        ("What we found", explain_finding(found)),
        ("How it was proven", explain_proof(found)),
        ("What was ruled out", explain_ruled_out(found)),
        ("The high-pressure pump", explain_pump(found)),
        ("What was done", explain_repair(found)),
        ("After the repair", explain_retest(found)),
        ("What we advise", explain_advice(found)),
        ("What this report does not say", explain_limits_of_proof(found)),
    ]
    return [(heading, sentences) for heading, sentences in parts if sentences]


def explain_complaint(found: dict) -> list[str]:
    return [f"{name}." for name in found["complaints"]]


def count_readings(found: dict) -> str:
    count = sum(1 for row in found["readings"] if row["phase"] == "before" and row["verdict"])
    return f"{count} reading{'' if count == 1 else 's'}"


def explain_finding(found: dict) -> list[str]:
    if found["outcome"]:
        return [f"It is confirmed: {name_fault(found, found['outcome']).lower()}.", found["outcome"].get("text") or ""]
    if found["concluded"]:
        said = found["concluded"].get("text") or f"{name_fault(found, found['concluded'])}."
        doubt = "A later check of the same readings comes to another result. Ask before a part is replaced."
        return [f"After {count_readings(found)} the technician concluded:", said, doubt if found["differences"] else ""]
    conclusion = found["assessment"].get("conclusion")
    if conclusion:
        return [
            f"{count_readings(found).capitalize()} point to this: {conclusion['name'].lower()}.",
            "The technician has not yet confirmed it.",
        ]
    return [
        f"The search is not finished. {count_readings(found).capitalize()} have been taken so far.",
        "No part should be replaced on what is known today.",
    ]


def tell_in_one_line(found: dict) -> tuple[str, str]:
    """How sure it is, and the finding itself, for the head of the page."""
    if found["outcome"]:
        return "Confirmed", f"{name_fault(found, found['outcome'])}."
    if found["concluded"]:
        label = "Concluded, but a later check differs" if found["differences"] else "Concluded by the technician"
        return label, f"{name_fault(found, found['concluded'])}."
    conclusion = found["assessment"].get("conclusion")
    if conclusion:
        return "The readings point to this, not yet confirmed", f"{conclusion['name']}."
    return "The search is not finished", "Nothing is proven yet."


def explain_proof(found: dict) -> list[str]:
    """The readings that carry the conclusion: those outside limits, of the parts that the ledger points at."""
    if not found["assessment"].get("conclusion"):
        return []
    texts = {row["id"]: row["text"] for row in found["readings"] if row["verdict"] == "fail"}
    named = [id_ for row in list_parts(found, "points_here") for id_ in row["by"] if id_ in texts]
    if not texts:
        return ["Every reading that was judged lies within its limits."]
    return [texts[id_] for id_ in named or texts][:MOST_PROOFS]


def list_parts(found: dict, status: str) -> list[dict]:
    return [row for row in found["assessment"].get("ledger") or [] if row["status"] == status]


def explain_ruled_out(found: dict) -> list[str]:
    names = [row["name"].lower() for row in list_parts(found, "ruled_out")]
    return [f"Tested and not the cause: {'; '.join(names)}."] if names else []


def explain_advice(found: dict) -> list[str]:
    """What follows from the record as it stands, in the engine's words; nothing is advised on a doubtful conclusion."""
    conclusion, next_ = found["assessment"].get("conclusion"), found["assessment"].get("next")
    if found["row"].state == "confirmed" and found["retest"]["status"] == "passed":
        return ["Nothing more is asked for by this record."]
    if next_:
        return [f"Next: {next_[0]['name'].lower()}, about {next_[0]['minutes']} minutes. {next_[0]['reason']}"]
    if conclusion and not found["differences"] and not found["repairs"]:
        return [conclusion["action"]]
    return []


def name_fault(found: dict, stated: dict) -> str:
    return found["faults"].get(stated.get("fault") or "", "No single fault named")


def explain_pump(found: dict) -> list[str]:
    if found["is_elsewhere"]:
        return ["The fault lies elsewhere. Nothing that was measured speaks for replacing the high-pressure pump."]
    answer = PUMP_ANSWERS.get(found["row"].pump or "", PUMP_ANSWERS["open"])
    missing = found["pump_missing"]
    if found["row"].pump in ("cleared", "condemned") or not missing:
        return [answer, *explain_naming(found)]
    return [answer, f"Still to be shown: {', '.join(name.lower() for name in missing)}.", *explain_naming(found)]


def explain_naming(found: dict) -> list[str]:
    """Who names the pump although it is not proven, and why; that nobody answers for it stands above as a warning."""
    override = found["override"]
    if override is None:
        return []
    when = write_day_and_time(override["at"])
    return [
        f"{override['by']} answers for naming the pump although this is not proven ({when}). Reason: {override['reason']}"
    ]


def explain_repair(found: dict) -> list[str]:
    return [row["text"] for row in found["repairs"]]


def explain_retest(found: dict) -> list[str]:
    after = [row["after"]["text"] for row in found["comparison"] if row["after"]["verdict"]]
    if found["repairs"] and not after:
        return ["The tests have not been repeated after the repair yet."]
    standing = [] if found["retest"]["status"] == "not_due" else [found["retest"]["text"]]
    return standing + after


def explain_limits_of_proof(found: dict) -> list[str]:
    sentences = ["It does not replace the vehicle maker's instructions."]
    if any(row["basis"] in ("judgement", "common practice") for row in found["readings"]):
        sentences.append("Some limits are starting values or trade practice, not the vehicle maker's data; they are marked.")
    if found["not_measured"]:
        names = ", ".join(row["name"].lower() for row in found["not_measured"])
        sentences.append(f"These could not be measured: {names}.")
    if found["differences"]:
        sentences.append("The phone's answer and the later check at the office differ; see the technical part.")
    return sentences
