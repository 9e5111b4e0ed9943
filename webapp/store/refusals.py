"""What the store refuses, with the status that the web gives it and problems in the one shape used everywhere."""


class Refusal(Exception):
    """Something was not accepted; `problems` name the field, the value and the remedy."""

    status = 422

    def __init__(self, code: str, field: str, text: str, retry_after_s: int | None = None):
        super().__init__(text)
        self.problems = [{"code": code, "field": field, "text": text}]
        self.retry_after_s = retry_after_s


class NotFound(Refusal):
    status = 404

    def __init__(self, text: str):
        super().__init__("not_found", "", text)


class NotSignedIn(Refusal):
    status = 401


class NotAllowed(Refusal):
    status = 403


class Conflict(Refusal):
    status = 409


class TooLarge(Refusal):
    status = 413


class WrongType(Refusal):
    status = 415


class TooManyTries(Refusal):
    status = 429


class NoRoom(Refusal):
    """The disk did not take it. Nothing was confirmed; the phone keeps what it has and tries again."""

    status = 507

    def __init__(self, field: str, text: str):
        super().__init__("no_room", field, f"{text}; nothing was confirmed, make room on the server and try again", 60)


class Away(Refusal):
    """The database or the photos' store cannot be used just now. Nothing was confirmed; trying again later is safe."""

    status = 503

    def __init__(self, field: str, text: str):
        super().__init__("away", field, f"{text}; nothing was confirmed, try again later", 30)
