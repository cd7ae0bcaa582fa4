"""Secrets and tokens: their hashes, their strength, and slowing those who guess without locking a crew out.

A wrong try is counted per name and per address. The wait grows with each and never passes half a minute. The count
over all addresses does not bind where this person has signed in before, so nobody can keep a crew off its own tablet
by guessing from elsewhere.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session
from werkzeug.security import check_password_hash, generate_password_hash

from app import known_secrets
from app.store import people
from app.store.people import SUPERVISOR, FailedTry, Person

WINDOW = timedelta(minutes=15)
FREE_TRIES = 5  # for one name from one address
FREE_TRIES_NAME = 15  # for one name over all addresses
FREE_TRIES_ADDRESS = 60  # one address is a whole crew's tablet, or a proxy
LONGEST_WAIT_S = 30

#: The parameters of scrypt that OWASP's cheat sheet on storing passwords names for N = 2^15; a hash says its own.
METHOD = "scrypt:32768:8:3"
#: Checked for names that do not exist, so that they take as long as those that do.
_NOBODY = generate_password_hash(secrets.token_urlsafe(16), METHOD)


class WeakSecret(ValueError):
    """A secret that is too short or too plain, with what to do about it."""


def check_strength(secret: str, role: str, words: Iterable[str] = ()) -> None:
    """Raises WeakSecret unless the secret is long enough for the role and not what others try first.

    words: the person's sign-in name and name and their units' names, of which it may not be made.
    """
    _check_length(secret, role)
    _check_first_tries(secret, words)


def _check_length(secret: str, role: str) -> None:
    if role == SUPERVISOR:
        if len(secret) < 12:
            raise WeakSecret("A supervisor's pass-phrase has 12 characters or more.")
        if len(set(secret)) < 5:
            raise WeakSecret("Choose a pass-phrase with at least five different characters.")
        return
    if len(secret) < 6:
        raise WeakSecret("A PIN has 6 digits or more.")
    if len(set(secret)) < 2 or secret in "01234567890123456789" or secret in "98765432109876543210":
        raise WeakSecret("Choose a PIN that is not one digit repeated or a plain sequence.")


SHORTEST_PIN, LONGEST_PIN = 6, 12


def check_pin(pin: str, words: Iterable[str] = ()) -> None:
    """Raises WeakSecret unless it is figures only, long enough, no plain pattern and not what others try first."""
    if not (pin.isascii() and pin.isdigit()):
        raise WeakSecret("A PIN is figures only, 0 to 9.")
    if not SHORTEST_PIN <= len(pin) <= LONGEST_PIN:
        raise WeakSecret(f"A PIN has {SHORTEST_PIN} to {LONGEST_PIN} figures.")
    repeats = any(pin == (pin[:n] * len(pin))[:len(pin)] for n in (1, 2, 3))
    if repeats or pin in "01234567890123456789" or pin in "98765432109876543210":
        raise WeakSecret("Choose a PIN that is no plain pattern, such as 111111, 121212, 123123 or 123456.")
    _check_first_tries(pin, words)


def check_own_phrase(secret: str, role: str, words: Iterable[str] = ()) -> None:
    """For one that a person chooses for themselves: it counts anywhere, so figures alone are not enough."""
    check_strength(secret, role, words)
    if len(secret) < 8 or secret.isdigit():
        raise WeakSecret("Choose 8 characters or more, and not figures only: it counts from anywhere.")


def _check_first_tries(secret: str, words: Iterable[str]) -> None:
    if known_secrets.is_known(secret):
        raise WeakSecret("Choose another: many people have chosen these characters or digits, so they are tried first.")
    if known_secrets.is_of_the_place(secret, words):
        raise WeakSecret("Choose other characters or digits: these are little but names and words known here.")


def words_of(person: Person) -> list[str]:
    """What may not make up this person's secret."""
    return [person.sign_in, person.name, *(u.name for u in person.units)]


def hash_secret(secret: str) -> str:
    """A salted scrypt hash: slow on purpose, so never inside a write transaction."""
    return generate_password_hash(secret, METHOD)


def secret_fits(stored: str | None, secret: str) -> bool:
    fits = check_password_hash(stored or _NOBODY, secret)
    return fits and stored is not None


def _wait(count: int, free: int) -> int:
    return 0 if count < free else min(2 ** (count - free + 1), LONGEST_WAIT_S)


def wait_s(session: Session, who: str, address: str, now: datetime) -> int:
    """Whole seconds this name at this address must still wait; 0 when it may try."""
    since = now - WINDOW
    pair = people.newest_failures(session, since, who=who, address=address)
    place = people.newest_failures(session, since, address=address)
    waits = [(_wait(pair[0], FREE_TRIES), pair[1]), (_wait(place[0], FREE_TRIES_ADDRESS), place[1])]
    if not people.has_signed_in_from(session, who, address):
        name = people.newest_failures(session, since, who=who)
        waits.append((_wait(name[0], FREE_TRIES_NAME), name[1]))
    left = [(last + timedelta(seconds=wait) - now).total_seconds() for wait, last in waits if wait and last]
    return max(0, -int(-max(left, default=0.0) // 1))


def count_try(session: Session, who: str, address: str, now: datetime) -> FailedTry:
    """Counts a try as failed before it is checked, so that parallel guesses all count; forgive() takes it back."""
    tried = FailedTry(who=who, address=address, at=now)
    session.add(tried)
    session.flush()
    return tried


def forgive(session: Session, who: str, address: str) -> None:
    """After a right secret: this name's wrong tries from here no longer count."""
    session.execute(sa.delete(FailedTry).where(FailedTry.who == who, FailedTry.address == address))


def hash_token(token: str) -> str:
    """Tokens are long and random: a plain SHA-256 is enough and fast."""
    return hashlib.sha256(token.encode()).hexdigest()


def new_token() -> str:
    return "rs_" + secrets.token_urlsafe(32)
