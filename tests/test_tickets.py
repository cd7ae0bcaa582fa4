"""The tablet's ticket: whose entries, of which unit and shift, how long it is taken."""

from __future__ import annotations

import base64
import json
from dataclasses import replace
from datetime import timedelta

import pytest

from app import tickets
from app.rules.shifts import Calendar, Pattern
from app.tickets import BadTicket, Ticket
from tests.factories import NOW, TWELVE_HOURS

SECRET = b"the server's own"
DAY = Calendar("America/Chicago", (Pattern(TWELVE_HOURS),)).shift_of(NOW)  # 06:00 to 18:00, 12:00 to 24:00 UTC
GIVEN = tickets.for_shift(7, 2, DAY, NOW)
SECOND = timedelta(seconds=1)


def test_a_ticket_read_back_says_what_was_put_in() -> None:
    read = tickets.read(SECRET, tickets.issue(SECRET, GIVEN), NOW)
    assert read == GIVEN
    assert (read.person_id, read.unit_id, read.shift) == (7, 2, "Day 2026-11-24")


def test_a_ticket_is_taken_for_six_weeks_and_not_a_second_longer() -> None:
    text = tickets.issue(SECRET, GIVEN)
    end = NOW + timedelta(days=42)
    assert tickets.read(SECRET, text, end - SECOND) == GIVEN
    with pytest.raises(BadTicket, match="run out"):
        tickets.read(SECRET, text, end)


@pytest.mark.parametrize(("hours", "seconds", "covered"), [
    pytest.param(-12, -1, False, id="over 12 h before the shift"),
    pytest.param(-12, 0, True, id="12 h before the shift"),
    pytest.param(0, 0, True, id="as the shift begins"),
    pytest.param(12, 0, True, id="as the shift ends: the walk ran over"),
    pytest.param(24, -1, True, id="just under 12 h after the shift"),
    pytest.param(24, 0, False, id="12 h after the shift"),
])
def test_a_ticket_speaks_for_what_was_observed_in_and_around_its_shift(
        hours: int, seconds: int, covered: bool) -> None:
    assert GIVEN.covers(DAY.starts_at + timedelta(hours=hours, seconds=seconds)) is covered


def forged(**changed: object) -> str:
    """A ticket's content changed, its seal left as it was."""
    body, seal = tickets.issue(SECRET, GIVEN).split(".")
    told = {**json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4))), **changed}
    return f"{base64.urlsafe_b64encode(json.dumps(told).encode()).decode().rstrip('=')}.{seal}"


@pytest.mark.parametrize("text", [
    "", ".", "x", "a.b", "ä.ö", "=.=", "a" * 5000, forged(person_id=8), forged(unit_id=3),
    forged(expires_at=4_000_000_000), tickets.issue(b"another server's", GIVEN),
    tickets.issue(SECRET, GIVEN)[:-2], tickets.issue(SECRET, GIVEN).split(".")[0] + ".",
], ids=range(13))
def test_what_this_server_did_not_seal_is_no_ticket(text: str) -> None:
    with pytest.raises(BadTicket):
        tickets.read(SECRET, text, NOW)


def test_a_ticket_seals_nothing_else_of_the_server() -> None:
    """The same secret seals forms too: one must never pass as the other."""
    import hashlib
    import hmac

    body = tickets.issue(SECRET, GIVEN).split(".")[0]
    raw = base64.urlsafe_b64decode(body + "=" * (-len(body) % 4))
    other = base64.urlsafe_b64encode(hmac.new(SECRET, b"form " + raw, hashlib.sha256).digest()).decode().rstrip("=")
    with pytest.raises(BadTicket):
        tickets.read(SECRET, f"{body}.{other}", NOW)
    assert replace(GIVEN, person_id=8) != Ticket(**vars(GIVEN))
