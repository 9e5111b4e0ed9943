"""Allowances: counted in the database, so that all processes share them, and over when the window is over."""

import pytest

from tests.conftest import BOTH
from webapp.store import attempts
from webapp.store.attempts import Allowance, count_try, forget_tries
from webapp.store.models import Attempt
from webapp.store.refusals import TooManyTries

DATABASES = BOTH

THREE = Allowance("door", 3, 60)


def try_door(database, who="me", clock=lambda: 600.0) -> None:
    with database.writing() as session:
        count_try(session, THREE, who, clock)


def test_the_fourth_try_is_refused_until_the_window_ends(database):
    for _ in range(3):
        try_door(database)
    with pytest.raises(TooManyTries) as caught:
        try_door(database, clock=lambda: 630.0)
    assert caught.value.retry_after_s == 31
    try_door(database, clock=lambda: 660.0)


def test_others_are_not_held_up(database):
    for _ in range(3):
        try_door(database)
    try_door(database, who="you")


def test_a_success_forgets(database):
    for _ in range(3):
        try_door(database)
    with database.writing() as session:
        forget_tries(session, THREE, "me")
    try_door(database)


def test_old_windows_are_swept(database):
    for minute in range(5):
        try_door(database, clock=lambda minute=minute: 60.0 * minute)
    with database.reading() as session:
        assert session.query(Attempt).count() == 1


def test_narrow_allowances_are_narrower_than_wide_ones():
    assert attempts.SIGN_IN_ACCOUNT_ADDRESS.tries < attempts.SIGN_IN_ADDRESS.tries < attempts.SIGN_IN_ACCOUNT.tries
    assert attempts.PAIR_ADDRESS.tries < attempts.PAIR_ALL.tries
