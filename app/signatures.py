"""The code of a signed sheet: a SHA-256 over what the signature covers, chained to the unit's sheet signed before it.

Canonical form: JSON in UTF-8, keys sorted, no spaces; times in UTC to the microsecond, numbers as Python's repr gives
them (the shortest that reads back the same), ids as text. Each reading of the round, corrected ones too, has a digest
of its own, so that a row that differs can be named. A correction or a late entry is a row of its own that no earlier
signature covers: the code stays what it was. Findings are covered as they stood when the sheet was signed.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from app.sheets import LEFT, SKIPPED, Row, Sheet
from app.store import flags, rounds, signatures
from app.store.people import Person
from app.store.rounds import Reading, Round
from app.store.signatures import Signature
from app.store.units import Unit

#: What a reading's digest is made of, by the version that stands with the signature. A list is never changed: a new
#: column makes a new version, and what was signed under an older one is computed again by that one.
_FIRST = (
    "id", "content", "unit_id", "round_id", "motor_id", "nameplate_id", "person_id", "token_id", "taken_at",
    "taken_at_device", "clock_offset_s", "received_at", "entered_later", "watch", "state", "condition_before",
    "skip_reason", "smoke", "guard", "ground", "leak", "vibration_feel_de", "vibration_feel_ode", "vibration_mm_s_de",
    "vibration_mm_s_ode", "bearing_feel_de", "bearing_feel_ode", "bearing_temp_c_de", "bearing_temp_c_ode",
    "winding_feel", "winding_temp_c", "winding_method", "current_a_1", "current_a_2", "current_a_3", "voltage_v_1",
    "voltage_v_2", "voltage_v_3", "lubricant_de", "lubricant_ode", "cleanliness", "ambient_c", "method", "unread",
    "typed", "remarks", "replaces_id", "replaces_why")
COLUMNS = {1: _FIRST, 2: (*_FIRST, "confirmed", "taken_back")}
VERSION = max(COLUMNS)
HEADER = ("unit_id", "id", "shift_date", "shift_name", "starts_at", "ends_at", "signed_at", "signed_by_id",
          "signed_state")
#: An entry on its way when the sheet was signed may be stamped a little before the signature.
ON_ITS_WAY = timedelta(minutes=5)


@dataclass(frozen=True)
class Fault:
    """The first thing of a signed sheet that is not as it was signed."""

    unit: str
    sheet: str
    tag: str | None
    row: str

    def __str__(self) -> str:
        return ", ".join(part for part in (self.unit, self.sheet, self.tag, self.row) if part)


# the canonical form ----------------------------------------------------------------------------------------


def canonical(value: Any) -> bytes:
    """One spelling for one content, on any machine and database."""
    return json.dumps(_plain(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"),
                      allow_nan=False).encode()


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, uuid.UUID):
        return str(value)
    if isinstance(value, dict):
        return {key: _plain(held) for key, held in value.items()}
    return [_plain(held) for held in value] if isinstance(value, (list, tuple)) else value


def digest(value: Any) -> str:
    return hashlib.sha256(canonical(value)).hexdigest()


def in_groups(code: str) -> str:
    """As it is printed and read aloud: groups of four.

    >>> in_groups("0123456789ab")
    '0123 4567 89ab'
    """
    return " ".join(code[i:i + 4] for i in range(0, len(code), 4))


# signing ---------------------------------------------------------------------------------------------------


def seal(session: Session, unit: Unit, opened: Round, person: Person, shown: Sheet) -> Signature:
    """Puts the code on a round that was just signed. What it covers is read back as the database holds it."""
    session.flush()
    before = signatures.last_signature(session, unit.id)
    stored = signatures.rows_as_stored(session, opened.id, COLUMNS[VERSION])
    tags = {row.motor.id: row.motor.tag for row in shown.rows}
    covers = {
        "version": VERSION, "header": _plain(_header(opened)), "signed_by": person.name,
        "rows": [_row(row) for row in shown.rows], "left": [row.motor.tag for row in shown.of(LEFT)],
        "readings": [{"id": str(row["id"]), "tag": tags.get(row["motor_id"], ""), "digest": digest(row)}
                     for row in stored],
        "findings": _findings(flags.findings_of(session, [row["id"] for row in stored])),
    }
    made = Signature(unit_id=unit.id, round_id=opened.id, number=before.number + 1 if before else 1,
                     previous=before.code if before else None, code="", covers=covers)
    made.code = _code(made)
    session.add(made)
    session.flush()
    return made


def _header(opened: Round) -> dict[str, Any]:
    return {name: getattr(opened, name) for name in HEADER}


def _row(row: Row) -> dict[str, Any]:
    skips = [r.skip_reason for r in (row.reading, *row.also) if r is not None and r.skipped]
    return {"tag": row.motor.tag, "status": row.status, "condition": row.motor.condition,
            "entry": str(row.reading.id) if row.reading else None,
            "skip_reason": skips[0] if row.status == SKIPPED and skips else None}


def _findings(found: dict[uuid.UUID, list[flags.Finding]]) -> dict[str, list[dict[str, Any]]]:
    return {str(key): [_finding(f) for f in sorted(of_one, key=lambda f: (f.rule, f.end))]
            for key, of_one in found.items()}


def _finding(f: flags.Finding) -> dict[str, Any]:
    return {"rule": f.rule, "end": f.end, "priority": f.priority, "value": f.value, "limit": f.limit,
            "unit_of_measure": f.unit_of_measure, "source": f.source, "says": f.says}


def _code(signed: Signature) -> str:
    return digest({"unit": signed.unit_id, "round": signed.round_id, "number": signed.number,
                   "previous": signed.previous, "covers": signed.covers})


# checking --------------------------------------------------------------------------------------------------


def faults(session: Session) -> Iterator[Fault]:
    """Every chain from its beginning: the first row that differs of each sheet that is not as it was signed."""
    before: Signature | None = None
    for signature_id in signatures.ids_in_order(session):
        signed = session.get_one(Signature, signature_id)
        before = before if before is not None and before.unit_id == signed.unit_id else None
        found = _broken_link(signed, before) or fault_of(session, signed)
        if found is not None:
            yield found
        before = signed
    for opened in signatures.unsealed(session):
        unit = session.get_one(Unit, opened.unit_id)
        yield Fault(unit.name, opened.label, None, "the signature has no code, though sheets signed before it have")


def _broken_link(signed: Signature, before: Signature | None) -> Fault | None:
    expected = (before.number + 1, before.code) if before is not None else (1, None)
    if signed.number != expected[0]:
        return _fault(signed, None, f"signed sheet number {expected[0]} is gone: the next on record is {signed.number}")
    if signed.previous != expected[1]:
        return _fault(signed, None, "the code of the sheet signed before it is not the one it was chained to")
    return None


def _fault(signed: Signature, tag: str | None, row: str) -> Fault:
    return Fault(signed.unit.name, signed.round.label, tag or None, row)


def fault_of(session: Session, signed: Signature,
             found: dict[uuid.UUID, list[flags.Finding]] | None = None) -> Fault | None:
    """The first row of one sheet that is not as it was signed, or None.

    found: the findings of its round's entries, where somebody has them already.
    """
    covers = signed.covers
    now = {str(row["id"]): row for row in signatures.rows_as_stored(
        session, signed.round_id, COLUMNS[signed.covers["version"]])}
    for line in covers["readings"]:
        row = now.get(line["id"])
        if row is None:
            return _fault(signed, line["tag"], f"reading {line['id']} is gone")
        if digest(row) != line["digest"]:
            return _fault(signed, line["tag"], f"reading {line['id']}, taken {_plain(row['taken_at'])}, "
                                               "is not as it was signed")
    header = _plain(_header(signed.round))
    differs = [name for name in HEADER if header[name] != covers["header"][name]]
    if differs:
        return _fault(signed, None, f"row {signed.round_id} of round is not as it was signed: {', '.join(differs)}")
    if _code(signed) != signed.code:
        return _fault(signed, None, f"row {signed.id} of signature does not give the code it carries")
    if found is None:
        found = flags.findings_of(session, sorted(signed.readings))
    return _finding_that_differs(session, signed, now, _findings(found))


def _finding_that_differs(session: Session, signed: Signature, now: dict[str, dict[str, Any]],
                          found: dict[str, list[dict[str, Any]]]) -> Fault | None:
    """A finding changed where nothing arrived later that would have had its entry judged again."""
    as_signed = signed.covers["findings"]
    differ = [line for line in signed.covers["readings"]
              if found.get(line["id"], []) != as_signed.get(line["id"], [])]
    since = (signed.round.signed_at or signed.round.ends_at) - ON_ITS_WAY
    motors = {line["id"]: now[line["id"]]["motor_id"] for line in differ}
    arrived = signatures.arrived_since(session, set(motors.values()), since, signed.readings) if differ else set()
    for line in differ:
        if motors[line["id"]] not in arrived:
            return _fault(signed, line["tag"], f"the findings of reading {line['id']} are not as they were signed, "
                                               "and nothing arrived that would have changed them")
    return None


# what came afterwards --------------------------------------------------------------------------------------


class Addenda(NamedTuple):
    late: list[Reading]  # of this round: what its signature, where it has one, does not cover
    on_duty: list[Reading]  # of any signed sheet: what was received in this round's shift and is not covered


def addenda(session: Session, opened: Round) -> Addenda:
    """Late arrivals and corrections, as the review of a round shows them."""
    received, own, signed = signatures.received_and_of(session, opened)
    return Addenda(_not_covered(signed.get(opened.id), own), _left(received, signed))


def _left(found: list[Reading], signed: dict[int, Signature]) -> list[Reading]:
    return [r for r in found if _not_covered(signed.get(r.round_id), [r])]


def addenda_to(session: Session, opened: Round, signed: Signature | None) -> list[Reading]:
    """Entries of a signed round that its signature, which is at hand, does not cover: late arrivals and corrections."""
    return _not_covered(signed, rounds.readings_of_round(session, opened.id))


def addenda_received(session: Session, unit: Unit, start: datetime, end: datetime) -> list[Reading]:
    """Addenda to any signed sheet that were received in [start, end): they go to the shift on duty then."""
    found, signed = signatures.received_between(session, unit.id, start, end)
    return _left(found, signed)


def _not_covered(signed: Signature | None, found: list[Reading]) -> list[Reading]:
    if signed is not None:
        covered = signed.readings
        return [r for r in found if r.id not in covered]
    return [r for r in found if r.round.signed_at is not None and r.received_at > r.round.signed_at]
