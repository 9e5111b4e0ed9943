"""How often guarded doors may be tried: counters in the database, so that all server processes share them."""

import time
from collections.abc import Callable
from typing import NamedTuple

from sqlalchemy import delete, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from webapp.store.models import Attempt
from webapp.store.refusals import TooManyTries


class Allowance(NamedTuple):
    """At most `tries` within each window of `window_s` seconds."""

    name: str
    tries: int
    window_s: int


# The narrow rows stop guessing at one account or from one address; the wide rows stop it from many addresses at once.
SIGN_IN_ACCOUNT_ADDRESS = Allowance("sign-in account from", 10, 900)
SIGN_IN_ACCOUNT = Allowance("sign-in account", 100, 900)
SIGN_IN_ADDRESS = Allowance("sign-in address", 30, 900)
SIGN_IN_ALL = Allowance("sign-in all", 600, 900)
SIGN_IN_BROWSER = Allowance("sign-in browser", 10, 900)
PROVE = Allowance("prove", 10, 900)
PAIR_ADDRESS = Allowance("pair address", 10, 600)
PAIR_ALL = Allowance("pair all", 200, 600)


def count_try(session: Session, allowance: Allowance, who: str, clock: Callable[[], float] = time.time) -> None:
    """Count one try. *Refuses* with TooManyTries when the allowance is used up; that try is then rolled back, so that
    whoever is refused at one row does not use up the others."""
    moment = clock()
    window = int(moment // allowance.window_s)
    key = f"{allowance.name}:{who}"[:200]
    if raise_count(session, key, window) > allowance.tries:
        wait = int((window + 1) * allowance.window_s - moment) + 1
        raise TooManyTries("too_many_tries", "", f"Too many tries. Wait {-(-wait // 60)} min, then try again.", wait)


def count_sign_in(session: Session, account: str, address: str, browser: str | None) -> None:
    """Count one try at an account. A browser in which this account has signed in before has an allowance of its own:
    however many strangers guess, from wherever, they cannot lock its owner out."""
    if browser:
        count_try(session, SIGN_IN_BROWSER, f"{account}:{browser}")
        return
    # One account from one address is stopped first, so that nobody can lock a colleague out from elsewhere.
    count_try(session, SIGN_IN_ACCOUNT_ADDRESS, f"{account}:{address}")
    count_try(session, SIGN_IN_ACCOUNT, account)
    count_try(session, SIGN_IN_ADDRESS, address)
    count_try(session, SIGN_IN_ALL, "")


def forget_sign_in(session: Session, account: str, address: str, browser: str | None) -> None:
    """After a success: an honest person who mistyped is not held up later."""
    forget_tries(session, SIGN_IN_ACCOUNT_ADDRESS, f"{account}:{address}")
    if browser:
        forget_tries(session, SIGN_IN_BROWSER, f"{account}:{browser}")


def raise_count(session: Session, key: str, window: int) -> int:
    mine = (Attempt.key == key) & (Attempt.window == window)
    raised = update(Attempt).where(mine).values(count=Attempt.count + 1).returning(Attempt.count)
    count = session.execute(raised).scalar()
    if count is not None:
        return count
    try:
        with session.begin_nested():
            session.add(Attempt(key=key, window=window, count=1))
        session.execute(delete(Attempt).where(Attempt.key == key, Attempt.window < window))
        return 1
    except IntegrityError:  # another process was first
        return session.execute(raised).scalar_one()


def forget_tries(session: Session, allowance: Allowance, who: str) -> None:
    session.execute(delete(Attempt).where(Attempt.key == f"{allowance.name}:{who}"[:200]))
