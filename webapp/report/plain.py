"""The customer's part of the report: a few plain sentences, and never more than the evidence carries."""

from webapp.wording import write_day_and_time

PUMP_ANSWERS = {
    "cleared": "The high-pressure pump is not at fault: the tests showed that it makes enough pressure.",
    "open": "Whether the high-pressure pump is at fault has not been shown. Replacing it now would be a guess.",
    "suspected": "The high-pressure pump is under suspicion, but that is not yet proven.",
    "condemned": "The high-pressure pump is worn. The other parts that could cause the same trouble were tested first.",
}


def explain(found: dict) -> list[tuple[str, list[str]]]:
    """Headings with their sentences, in reading order; a heading without sentences is left out."""
    parts = [
        ("What you told us", explain_complaint(found)),
        ("What we found", explain_finding(found)),
        ("The high-pressure pump", explain_pump(found)),
        ("What was done", explain_repair(found)),
        ("After the repair", explain_retest(found)),
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
