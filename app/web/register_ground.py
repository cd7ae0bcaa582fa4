"""What the register's pages share: who is here, the motor held for editing, the plate's pairs in words."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules.plate import read_figures
from app.store.motors import Motor, Nameplate
from app.store.people import Person
from app.store.units import Unit
from app.web import access


def here(session: Session) -> tuple[Unit, Person]:
    """The unit and the person, in this session."""
    return session.get_one(Unit, access.unit().id), session.get_one(Person, access.person().id)


def motor_to_edit(session: Session, unit: Unit, motor_id: int) -> Motor | None:
    """The motor, held until the commit, so that two editors cannot both be first."""
    return session.scalar(sa.select(Motor).where(Motor.unit_id == unit.id, Motor.id == motor_id).with_for_update())


def fahrenheit() -> bool:
    return access.unit().temperature == "F"


def pairs(plate: Nameplate | None) -> list[tuple[str, str, bool]]:
    """(volts, amps, connected) for each connection of a dual-voltage plate; nothing for a plain one."""
    if plate is None or not plate.volts_stamped or "/" not in plate.volts_stamped:
        return []
    volts = plate.volts_stamped.split("/")
    amps = (plate.amps_stamped or "").split("/")
    amps += [""] * (len(volts) - len(amps))
    groups = read_figures(plate.volts_stamped)
    return [(v.strip(), a.strip(), plate.connected_volts in group)
            for v, a, group in zip(volts, amps, groups, strict=False)]


def earlier_plates(motor: Motor) -> list[Nameplate]:
    """The machines that were fitted before, the newest first."""
    return sorted((p for p in motor.nameplates if p is not motor.nameplate), key=lambda p: (p.fitted_from, p.id),
                  reverse=True)
