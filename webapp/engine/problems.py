"""How the engine says that its input is wrong.

Rules for this file: no imports from the engine; nothing here knows what is judged.
A *problem* names the field, says what was found and what to do. A bad call raises one EngineError with all problems
that could be found, so that a person mends a form once. A result that could not be decided is no problem: it is an
ordinary answer with a reason.
"""

from collections import namedtuple

MAX_SHOWN_CHARACTERS = 60

Problem = namedtuple("Problem", ("code", "field", "text"))


class EngineError(ValueError):
    """Input that the engine refuses; `problems` holds at least one Problem, `code` and `field` are those of the first."""

    def __init__(self, problems: list) -> None:
        super().__init__("; ".join([f"{p.field}: {p.text}" for p in problems]))
        self.problems = problems
        self.code = problems[0].code
        self.field = problems[0].field


def refuse(code: str, field: str, text: str) -> EngineError:
    """Return an EngineError of one problem, to be raised by the caller."""
    return EngineError([Problem(code, field, text)])


def show(value: object) -> str:
    """Return a value as a person may read it in an error: short, on one line, text in quotes."""
    if value is None:
        return "nothing"
    if value is True or value is False:
        return "yes" if value else "no"
    text = f"'{value}'" if isinstance(value, str) else str(value)
    text = text.replace("\n", " ")
    return text if len(text) <= MAX_SHOWN_CHARACTERS else text[:MAX_SHOWN_CHARACTERS] + "..."


def problem_rows(problems: list) -> list:
    """Return problems as plain dicts, the shape that leaves the engine."""
    return [{"code": p.code, "field": p.field, "text": p.text} for p in problems]
