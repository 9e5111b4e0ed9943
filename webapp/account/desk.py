"""The person at a desk: what Flask-Login keeps between requests is the secret of one sign-in, looked up each time."""

from flask_login import UserMixin

from webapp.access import database
from webapp.store.entrance import Actor, find_signed_in


class Desk(UserMixin):
    def __init__(self, secret: str, actor: Actor, is_seen_due: bool = False, is_proved: bool = False):
        self.secret, self.actor, self.is_seen_due, self.is_proved = secret, actor, is_seen_due, is_proved

    def get_id(self) -> str:
        return self.secret


def load_desk(secret: str) -> Desk | None:
    with database().reading() as session:
        found = find_signed_in(session, secret)
    return Desk(secret, *found) if found else None
