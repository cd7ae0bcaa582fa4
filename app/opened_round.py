"""What the clock alone has brought about by the time a round is opened: flagged, or given back, once a round."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from app import half_way, judging, oil_judging
from app.store.rounds import Round
from app.store.units import Unit


def judge(session: Session, unit: Unit, opened: Round, at: datetime) -> None:
    """Overdue greasing, temporary states past their end, oil that is back within its normal."""
    judging.judge_opened_round(session, unit, opened, at)
    half_way.judge_opened_round(session, unit, opened, at)
    oil_judging.judge_opened_round(session, unit, opened, at)
