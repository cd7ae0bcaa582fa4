"""`round-sheet doctor`: every invariant of the data, checked by counting what breaks it."""

from __future__ import annotations

from dataclasses import dataclass, field

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import signatures
from app.store import limits, units


@dataclass(frozen=True)
class Result:
    says: str
    count: int
    good: bool
    examples: list[str] = field(default_factory=list)


#: What must be nowhere: words, and the query that finds it (first column: what to show).
BROKEN = {
    "more than one open flag per motor, rule and end":
        "SELECT motor_id FROM flag WHERE closed_at IS NULL GROUP BY motor_id, rule, \"end\" HAVING COUNT(*) > 1",
    "flags seen a number of times that their sightings do not show":
        "SELECT f.id FROM flag f WHERE f.closed_why IS DISTINCT FROM 'entry corrected' AND f.times_seen <> "
        "(SELECT COUNT(*) FROM sighting s WHERE s.flag_id = f.id)",
    "flags closed before they were raised": "SELECT id FROM flag WHERE closed_at < raised_at",
    "flags whose motor is in another unit":
        "SELECT f.id FROM flag f JOIN motor m ON m.id = f.motor_id WHERE m.unit_id <> f.unit_id",
    "readings whose motor or round is in another unit":
        "SELECT r.id FROM reading r JOIN motor m ON m.id = r.motor_id JOIN round o ON o.id = r.round_id "
        "WHERE m.unit_id <> r.unit_id OR o.unit_id <> r.unit_id",
    "readings outside the shift of their round":
        "SELECT r.id FROM reading r JOIN round o ON o.id = r.round_id "
        "WHERE r.taken_at < o.starts_at OR r.taken_at >= o.ends_at",
    "readings observed after they were received": "SELECT id FROM reading WHERE taken_at > received_at",
    "readings judged by another motor's nameplate":
        "SELECT r.id FROM reading r JOIN nameplate p ON p.id = r.nameplate_id WHERE p.motor_id <> r.motor_id",
    "corrections of another motor's reading":
        "SELECT r.id FROM reading r JOIN reading o ON o.id = r.replaces_id WHERE o.motor_id <> r.motor_id",
    "corrections without a reason":
        "SELECT id FROM reading WHERE replaces_id IS NOT NULL AND COALESCE(replaces_why, '') = ''",
    "more than one current line of the chart per bearing":
        "SELECT motor_id FROM lubrication_point WHERE replaced_at IS NULL "
        "GROUP BY motor_id, \"end\" HAVING COUNT(*) > 1",
    "greasings, oil entries and temporary states whose motor is in another unit":
        "SELECT m.tag FROM motor m JOIN greasing g ON g.motor_id = m.id WHERE g.unit_id <> m.unit_id "
        "UNION ALL SELECT m.tag FROM motor m JOIN oil_entry o ON o.motor_id = m.id WHERE o.unit_id <> m.unit_id "
        "UNION ALL SELECT m.tag FROM motor m JOIN temporary_state t ON t.motor_id = m.id WHERE t.unit_id <> m.unit_id",
    "temporary states ended before they began, or by nobody":
        "SELECT id FROM temporary_state WHERE ended_at < since OR (ended_at IS NOT NULL AND ended_by_id IS NULL)",
    "grease guns whose stroke gives nothing": "SELECT name FROM grease_gun WHERE stroke_g <= 0",
    "rounds of the same unit that overlap":
        "SELECT a.id FROM round a JOIN round b ON a.unit_id = b.unit_id AND a.id < b.id "
        "AND a.starts_at < b.ends_at AND b.starts_at < a.ends_at",
    "signed rounds without a name": "SELECT id FROM round WHERE signed_at IS NOT NULL AND signed_by_id IS NULL",
    "handovers taken before every line was answered":
        "SELECT h.id FROM handover h WHERE h.taken_at IS NOT NULL AND EXISTS "
        "(SELECT 1 FROM handover_item i WHERE i.handover_id = h.id AND i.answer IS NULL)",
    "handovers given and taken by the same person":
        "SELECT id FROM handover WHERE given_by_id = taken_by_id",
    "limits changed without a reason": "SELECT name FROM limit_change WHERE COALESCE(why, '') = ''",
    "limits of another unit's motor":
        "SELECT l.name FROM limit_change l JOIN motor m ON m.id = l.motor_id WHERE m.unit_id <> l.unit_id",
    "people of no unit": "SELECT id FROM person WHERE id NOT IN (SELECT person_id FROM person_unit)",
    "supervisors with a PIN": "SELECT sign_in FROM person WHERE role = 'supervisor' AND pin_hash IS NOT NULL",
    "sign-ins that still hold on a revoked tablet":
        "SELECT d.name FROM signed_in s JOIN device d ON d.id = s.device_id "
        "WHERE d.revoked_at IS NOT NULL AND s.ended_at IS NULL AND s.started_at < d.revoked_at",
}
COUNTED = {"units": "unit", "people": "person", "motors": "motor", "rounds": "round", "readings": "reading",
           "greasings": "greasing", "flags": "flag", "changes": "change", "sheets with a code": "signature",
           "handovers": "handover"}


def run(session: Session, most: int = 5) -> list[Result]:
    """One result an invariant, then the counts. Good means that nothing breaks it."""
    results = [_engine(session)]
    for says, query in BROKEN.items():
        found = [row[0] for row in session.execute(sa.text(query))]
        results.append(Result(says, len(found), not found, [_shown(x) for x in found[:most]]))
    results.append(_signed_sheets(session, most))
    results.append(_limits_in_order(session, most))
    for says, table in COUNTED.items():
        count = session.scalar(sa.text(f'SELECT COUNT(*) FROM "{table}"')) or 0
        results.append(Result(says, count, True))
    return results


def _signed_sheets(session: Session, most: int) -> Result:
    """Every chain computed again: unit, round, tag and row of the first thing of a sheet that differs."""
    found = [str(fault) for fault in signatures.faults(session)]
    return Result("signed sheets that are not as they were signed", len(found), not found, found[:most])


def _limits_in_order(session: Session, most: int) -> Result:
    """An alarm at or above its shutdown, for a unit or a motor, once every change counts."""
    found = [f"{unit.name}, {motor.tag if motor else 'the unit'}: {pair.lower} is not below {pair.higher}"
             for unit in units.all_units(session) for motor, pair in limits.out_of_order(session, unit.id)]
    return Result("limits out of order", len(found), not found, found[:most])


def _shown(value: object) -> str:
    return value.hex() if isinstance(value, bytes) else str(value)


def _engine(session: Session) -> Result:
    """The database's own check of itself and of its links."""
    if session.get_bind().dialect.name != "sqlite":
        return Result("database answers (PostgreSQL checks its own links)", 0, True)
    faults = [row[0] for row in session.execute(sa.text("PRAGMA integrity_check")) if row[0] != "ok"]
    broken = session.execute(sa.text("PRAGMA foreign_key_check"))
    faults += [f"broken link from {row[0]} row {row[1]}" for row in broken]
    return Result("faults the database finds in itself", len(faults), not faults, faults[:5])
