"""A machine swapped in: who confirms its plate, what its overload relay is to be set to, and what is judged anew.

The tool reminds and records; it sets nothing. The setting rule is the NEC's, see app/rules/overload.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app import judging
from app.rules import overload, tables
from app.store import changes, register, rounds
from app.store.changes import Change
from app.store.motors import Motor, Nameplate
from app.store.people import Person
from app.store.units import Unit

SETTING = "overload setting"


@dataclass(frozen=True)
class OverloadRule:
    """What the overload relay may be set to for this plate, by the rule; amps None: rated amps are not known."""

    percent: float
    ceiling_percent: float
    amps: float | None
    ceiling_amps: float | None
    because: str
    source: str
    confirmed: str

    def above(self, setting_a: float) -> str:
        """What a setting above the rule asks; empty where it is not above, or the rule has no amps."""
        if self.amps is None or self.ceiling_amps is None or setting_a <= self.amps:
            return ""
        past = setting_a > self.ceiling_amps
        return (f"{setting_a:g} A is above {self.amps:g} A ({self.percent:g} % of nameplate amps)"
                + (f" and above {self.ceiling_amps:g} A ({self.ceiling_percent:g} %), the most where a motor will not "
                   "start or carry its load" if past else "") + ". Is this right? Ask who set it.")


def overload_rule(plate: Nameplate) -> OverloadRule:
    """125 % with a service factor of 1.15 or more, else 115 %. The plate's marked rise, which allows 125 % too, is not
    in the register."""
    percent = overload.setting_percent(plate.service_factor)
    row = tables.row("overload_protection", rule="service factor" if percent > overload.rule("other") else "other")
    known = plate.service_factor
    because = (f"service factor {known:g}, which is 1.15 or more" if known is not None and known >= 1.15 else
               f"service factor {known:g}, below 1.15" if known is not None else "service factor not known") + (
                   "" if known is not None and known >= 1.15 else "; a marked temperature rise of 40 °C or less would "
                                                                  "allow 125 %")
    ceiling = overload.ceiling_percent(plate.service_factor)
    return OverloadRule(
        percent, ceiling, round(plate.amps * percent / 100, 2) if plate.amps else None,
        round(plate.amps * ceiling / 100, 2) if plate.amps else None, because,
        f"{row['source']} {row['table_or_clause']}", row["confirmed_how"])


def setting_on_record(session: Session, plate: Nameplate) -> Change | None:
    """The newest record of what the relay was set to for this plate."""
    found = [c for c in changes.changes_of(session, "nameplate", plate.id) if c.field == SETTING]
    return found[0] if found else None


def reminds(session: Session, motor: Motor, plate: Nameplate | None) -> bool:
    """Another machine is fitted, and nobody has said what its overload relay is set to."""
    return plate is not None and plate is not motor.nameplates[0] and setting_on_record(session, plate) is None


def record_setting(session: Session, motor: Motor, plate: Nameplate, setting_a: float, set_by: str, person: Person,
                   now: datetime) -> None:
    """What a qualified person set the relay to, as told."""
    before = setting_on_record(session, plate)
    changes.note_change(session, unit_id=motor.unit_id, at=now, person=person, subject="nameplate",
                        subject_id=plate.id, label=motor.tag, field=SETTING, before=before.after if before else None,
                        after=f"{setting_a:g} A, set by {set_by}")
    session.flush()


def confirm(session: Session, unit: Unit, motor: Motor, plate: Nameplate, person: Person, now: datetime) -> None:
    """A second person has read the plate: load in percent counts again, for what was read since under this plate too.

    Raises RegisterErrors for the one who entered it.
    """
    register.confirm_plate(session, motor, plate, person, now)
    taken = [r.taken_at for r in rounds.newest_readings(session, motor.id, judging.AGAIN_AFTER_LATE)
             if r.nameplate_id == plate.id and not r.skipped]
    if taken:
        judging.judge_anew(session, unit, motor, min(taken), now)
