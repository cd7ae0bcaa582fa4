"""Measured figures in bulk, as plain columns: for looking at many readings at once without loading each whole."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules import facts
from app.store.flags import Finding
from app.store.motors import Motor
from app.store.rounds import Reading, not_corrected

COLUMNS = (Reading.motor_id, Reading.nameplate_id, Reading.taken_at, Reading.state, Reading.bearing_temp_c_de,
           Reading.bearing_temp_c_ode, Reading.winding_temp_c, Reading.winding_method, Reading.vibration_mm_s_de,
           Reading.vibration_mm_s_ode, Reading.current_a_1, Reading.current_a_2, Reading.current_a_3,
           Reading.voltage_v_1, Reading.voltage_v_2, Reading.voltage_v_3)


def running_figures(session: Session, unit_id: int, since: datetime, most: int) -> Iterator[
        tuple[int, int | None, facts.Reading]]:
    """Motor, plate and figures of the newest running readings since an instant, corrected ones left out."""
    rows = session.execute(sa.select(*COLUMNS).where(
        Reading.unit_id == unit_id, Reading.taken_at >= since, Reading.state == facts.RUNNING,
        Reading.skip_reason.is_(None), not_corrected()).order_by(Reading.taken_at.desc()).limit(most))
    for motor_id, plate_id, at, state, de, ode, winding, method, v_de, v_ode, a1, a2, a3, u1, u2, u3 in rows:
        yield motor_id, plate_id, facts.Reading(
            state or facts.RUNNING, at, bearing_temp_c=facts.Ends(de, ode), winding_temp_c=winding,
            winding_method=method, vibration_mm_s=facts.Ends(v_de, v_ode),
            current_a=tuple(a for a in (a1, a2, a3) if a is not None),
            voltage_v=tuple(u for u in (u1, u2, u3) if u is not None))


def findings_by_rule(session: Session, unit_id: int, since: datetime) -> dict[str, int]:
    """How many findings each rule has had since an instant."""
    rows = session.execute(sa.select(Finding.rule, sa.func.count()).join(Motor, Motor.id == Finding.motor_id).where(
        Motor.unit_id == unit_id, Finding.at >= since).group_by(Finding.rule))
    return {rule: int(count) for rule, count in rows}
