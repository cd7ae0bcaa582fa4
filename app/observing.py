"""What a motor was seen in: its condition on record, and the running time that is counted from it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from app.rules import facts
from app.rules.running_hours import Seen
from app.store import changes, lubrication, rounds, starts
from app.store.changes import Change
from app.store.motors import Motor, MotorRun
from app.store.rounds import Reading


def condition_then(session: Session, motor: Motor, at: datetime) -> str | None:
    """The motor's condition on record at an instant: for an entry that arrives late, a lock may have come or gone."""
    if motor.condition_at is None or at >= motor.condition_at:
        return motor.condition
    since = [change for change in _by_hand(session, motor) if change.at > at]
    if since:
        return state_word(since[-1].before)
    return None if motor.condition == facts.LOCKED_OUT else motor.condition  # locked by an entry newer than this one


def state_word(on_record: str | None) -> str | None:
    """The condition in a change's words: a lock has its tag and owner behind it."""
    return next((state for state in facts.STATES if on_record and on_record.startswith(state)), None)


def _by_hand(session: Session, motor: Motor) -> list[Change]:
    """The named acts that changed this motor's condition, the newest first."""
    return [c for c in changes.changes_of(session, "motor", motor.id, 200) if c.field == "condition"]


def observe(session: Session, motor: Motor, state: str, at: datetime, exact: bool = True) -> None:
    """The motor was seen in this state. The newest observation is its condition; a lock stands until it is ended.

    exact: a start, stop or change by hand, which says when the state changed; a reading only finds it.
    """
    if motor.condition != facts.LOCKED_OUT and (motor.condition_at is None or at >= motor.condition_at):
        motor.condition, motor.condition_at = state, at
    with session.no_autoflush:  # one flush stores entry, condition and running time together
        run = session.get(MotorRun, motor.id)
    if run is None:
        session.add(MotorRun(motor_id=motor.id, first_observed_at=at, observed_at=at, state=state, run_s=0.0))
    elif at >= run.observed_at:
        run.observe(state, at, exact)
    else:
        rebuild_run(session, motor, run)
    session.flush()


def forget(session: Session, motor: Motor, replaced: Reading) -> None:
    """A corrected reading is no observation any more. A lock it entered stands until it is ended by name."""
    seen = sorted([*rounds.states_seen(session, motor.id), *starts.states_seen(session, motor.id)])
    if motor.condition_at == replaced.taken_at and motor.condition == replaced.state != facts.LOCKED_OUT:
        known = [*seen[-1:], *((c.at, state_word(c.after)) for c in _by_hand(session, motor)[:1])]
        motor.condition_at, motor.condition = max(known, default=(None, None))
    run = session.get(MotorRun, motor.id)
    if run is not None and seen:
        rebuild_run(session, motor, run)
    elif run is not None:
        session.delete(run)
    session.flush()


def rebuild_run(session: Session, motor: Motor, run: MotorRun) -> None:
    """Running time made anew from the entries: one of them arrived late, or was corrected."""
    seen = [Seen(at, state) for at, state in rounds.states_seen(session, motor.id)]
    seen += [Seen(at, state, True) for at, state in starts.states_seen(session, motor.id)]
    seen += [Seen(c.at, c.after, True) for c in _by_hand(session, motor) if c.after in facts.STATES]
    if not seen:
        return
    seen.sort(key=lambda s: s.at)
    done = lubrication.greasings_of(session, motor.id)
    run.first_observed_at, run.observed_at, run.state = seen[0].at, seen[0].at, seen[0].state
    run.run_s = run.unsure_s = 0.0
    for i, here in enumerate(seen):
        if i:
            run.observe(here.state, here.at, here.exact)
        until = seen[i + 1].at if i + 1 < len(seen) else None
        for g in done:
            if here.at <= g.at and (until is None or g.at < until):
                g.run_s, g.unsure_s = run.until(g.at)
