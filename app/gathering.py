"""Facts out of the store, as the rules are given them: one motor at one instant, or the whole chart at once."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from weakref import WeakKeyDictionary

from sqlalchemy.orm import Session

from app.rules import facts, regrease
from app.rules import greased as greased_rules
from app.rules.limits import Limits
from app.store import earlier_readings, lubrication, rounds, temporary
from app.store.entry_ground import GREASED_BY, Ground
from app.store.known_before import KnownBefore, known_before
from app.store.lubrication import ChartRow, Greased, Greasing, Interval
from app.store.motors import LubricationPoint, Motor, MotorRun, Nameplate, SeenRun
from app.store.new_reading import NewReading
from app.store.rounds import Reading
from app.store.units import Unit

#: How many entries back the pace of the walk is looked at, for `look_again`.
PACE_LOOK_BACK = 10
_SHARED_PLATES: WeakKeyDictionary[Nameplate, facts.Nameplate] = WeakKeyDictionary()


def plate_facts(plate: Nameplate | None) -> facts.Nameplate:
    if plate is None:
        return facts.Nameplate(amps_unknown_because="no nameplate entered")
    because = None
    if plate.amps is None and plate.amps_stamped:
        because = "connected voltage not chosen"
    if plate.waits:
        because = "plate not confirmed"
    return facts.Nameplate(
        key=plate.id, rated_amps=None if because else plate.amps, service_factor=plate.service_factor,
        service_factor_amps=None if because else plate.service_factor_amps, volts=plate.volts, hp=plate.hp,
        phases=plate.phases, hz=plate.hz, rpm=plate.rpm, poles=plate.poles, insulation_class=plate.insulation_class,
        ambient_c=plate.ambient_c, mounting=plate.mounting, bearing=facts.Ends(plate.de_bearing, plate.ode_bearing),
        frame=plate.frame, amps_unknown_because=because, load_wk2_lbft2=plate.load_wk2_lbft2)


def run_h_between(run: MotorRun | SeenRun | None, greased_at: datetime | None,
                  greased_s: tuple[float | None, float | None], at: datetime) -> tuple[float | None, float | None]:
    """Running hours since a greasing, as estimated, and in how many of them it may have been otherwise.

    greased_s: running and unsure seconds when it was done. Before the first observation a motor is taken to have run,
    and what is older than the record is unsure whole.
    """
    if greased_at is None:
        return None, None
    if run is None:
        since_h = max(0.0, (at - greased_at).total_seconds() / 3600)
        return since_h, since_h
    older_s = -max(0.0, (run.first_observed_at - greased_at).total_seconds())
    run_s, unsure_s = run.until(at)
    then_s, then_unsure_s = (older_s if s is None else s for s in greased_s)
    return max(0.0, (run_s - then_s) / 3600), max(0.0, (unsure_s - then_unsure_s) / 3600)


def point_facts(point: LubricationPoint, greased: Greasing | Greased | None, run: MotorRun | SeenRun | None,
                at: datetime) -> facts.LubricationPoint:
    """One line of the chart with the newest of the recorded greasings and the register's own date."""
    last_at, run_s, unsure_s = (greased.at, greased.run_s, greased.unsure_s) if greased else (None, None, None)
    if last_at is None and point.last_greased_at is not None and point.last_greased_at <= at:
        last_at = point.last_greased_at
    run_h, unsure_h = run_h_between(run, last_at, (run_s, unsure_s), at)
    return facts.LubricationPoint(
        kind=point.kind, lubricant=point.lubricant, thickener=point.thickener, grease_g=point.grease_g,
        interval_days=point.interval_days, interval_run_h=point.interval_run_h, last_greased_at=last_at,
        run_h_since=run_h, run_h_unsure=unsure_h)


def with_offer(point: facts.LubricationPoint, plate: facts.Nameplate, end: str) -> facts.LubricationPoint:
    """The line with what the handbook computes for this bearing and speed where the chart has nothing."""
    bearing, no_interval = plate.bearing[end], point.interval_days is None and point.interval_run_h is None
    if bearing is None or point.kind not in (None, "grease") or (point.grease_g is not None and not no_interval):
        return point
    found = regrease.offer(bearing, plate.rpm)
    return replace(point, computed_grease_g=None if point.grease_g is not None else found.grease_g,
                   computed_interval_run_h=found.interval_run_h if no_interval else None)


def run_then(session: Session, motor: Motor, at: datetime, known: KnownBefore | None = None) -> MotorRun | None:
    """How long the motor had run by an instant: for an entry judged after newer ones are known."""
    run = session.get(MotorRun, motor.id)
    if run is None or at >= run.observed_at:
        return run
    if at < run.first_observed_at:
        return None
    found = (known or known_before(session, motor.id, at)).found
    seen: list[tuple[datetime, str | None]] = [(at, found), *rounds.states_after(session, motor.id, at)]
    later_s = sum((until - since).total_seconds() for (since, state), (until, _) in itertools.pairwise(
        [*seen, (run.observed_at, None)]) if state == facts.RUNNING)
    return MotorRun(motor_id=motor.id, first_observed_at=run.first_observed_at, observed_at=at,
                    state=found or facts.STANDBY, run_s=max(0.0, run.run_s - later_s), unsure_s=run.unsure_s)


def _shared_plate_facts(plate: Nameplate | None) -> facts.Nameplate:
    """The same of a plate that all saves share (app/store/entry_ground.py): nobody changes it."""
    if plate is None:
        return plate_facts(None)
    made = _SHARED_PLATES.get(plate)
    if made is None:
        made = _SHARED_PLATES[plate] = plate_facts(plate)
    return made


def motor_facts(motor: Motor, at: datetime, greased: list[Greased], run: MotorRun | SeenRun | None,
                shared: bool = False) -> facts.Motor:
    """shared: this motor's plates and chart are those that all saves share."""
    plate = (_shared_plate_facts if shared else plate_facts)(motor.nameplate_at(at))

    def chart(end: str) -> facts.LubricationPoint:
        newest = next((g for g in greased if g.end == end and g.grams != 0), None)
        line = point_facts(motor.point(end) or LubricationPoint(), newest, run, at)
        return with_offer(line, plate, end)

    ammeter_there = {"current_a"} if motor.ammeter == "control room" else set()
    return facts.Motor(
        tag=motor.tag, nameplate=plate, ammeter=motor.ammeter, interlock=motor.interlock,
        accepted_normal_feel=motor.accepted_normal_feel, lubrication=facts.Ends(chart("DE"), chart("ODE")),
        by_control_room=frozenset(ammeter_there | {k for k in motor.by_control_room.split(",") if k}))


def _pace(session: Session, reading: Reading | NewReading, fast_s: float,
          ground: Ground | None) -> tuple[float | None, int]:
    """Seconds since this person's entry before, and how many entries in a row came within `fast_s`."""
    lately = ground.lately if ground is not None else None
    before = lately.by_person if lately else earlier_readings.previous_by_person(
        session, reading.person_id, reading.taken_at)
    return pace_of(reading, before[:PACE_LOOK_BACK], fast_s)


def pace_of(reading: Reading | NewReading, before: list[datetime], fast_s: float) -> tuple[float | None, int]:
    """before: when the same person took the readings just before, the newest first."""
    times = [reading.taken_at, *before]
    gaps = [(later - earlier).total_seconds() for later, earlier in itertools.pairwise(times)]
    if not gaps or reading.token_id is not None or reading.entered_later:
        return None, 0  # a time written by hand to the minute says nothing of the pace
    return gaps[0], sum(1 for _ in itertools.takewhile(lambda gap: gap <= fast_s, gaps))


def _temporary(session: Session, motor: Motor, at: datetime,
               known: Ground | KnownBefore) -> tuple[facts.TemporaryState, ...]:
    if not known.half_way:
        return ()
    return tuple(state.as_facts() for state in temporary.standing_then(session, motor.id, at))


def facts_of(session: Session, unit: Unit, motor: Motor, reading: Reading | NewReading | None, at: datetime,
             in_force: Limits | None = None, ground: Ground | None = None) -> facts.Facts:
    """Everything the rules are given for one motor at one instant. ground: what a save has found out already."""
    known = ground if ground is not None else known_before(session, motor.id, at)
    run = known.run if isinstance(known, Ground) else run_then(session, motor, at, known)
    lately = ground.lately if ground is not None else None
    greased = lately.greased if lately else lubrication.last_greased(session, motor.id, at + GREASED_BY)
    running = lately.running if lately else (
        earlier_readings.last_running_past(session, motor.id, at) if reading is not None else [])
    before = [past.facts for past in running]
    fast_s = (in_force or Limits()).value("look_again_pace_s")
    pace_s, fast = _pace(session, reading, fast_s, ground) if reading is not None else (None, 0)
    shared = ground is not None and motor is ground.motor
    return facts.Facts(
        motor=motor_facts(motor, at, greased, run, shared), now=at, reading=reading.as_facts() if reading else None,
        history=facts.History(running=tuple(before), greasings=tuple(g.as_facts() for g in greased),
                              last_start_at=known.last_start_at if reading is not None else None,
                              stood_at=_stood_at(reading, known),
                              temporary=_temporary(session, motor, at, known) if reading is not None else (),
                              new_normal_at=motor.new_normal_at, pace_s=pace_s, fast_in_a_row=fast),
        walked=reading is not None and reading.token_id is None and not reading.skipped and not reading.watch,
        show=unit.show)


def _stood_at(reading: Reading | NewReading | None, known: Ground | KnownBefore) -> datetime | None:
    """Of a motor found running: when it was last known to stand, where nothing on record has started it since."""
    if reading is None or reading.skipped or reading.state != facts.RUNNING:
        return None
    since, state = (known.condition_at, known.condition) if isinstance(known, Ground) else known.newest or (None, None)
    return since if state in (facts.STANDBY, facts.OUT_OF_SERVICE) else None


# what the clock makes due ----------------------------------------------------------------------------------


def due_rows(session: Session, unit: Unit) -> list[ChartRow]:
    """The lines of the chart that have an interval. A bearing whose plate says sealed is off the schedule where the
    chart says nothing of its kind."""
    return [row for row in lubrication.chart_rows(session, unit.id, with_interval=True)
            if row.point.kind is not None
            or greased_rules.sealed_by(point_facts(row.point, None, None, row.point.valid_from), row.bearing) is None]


def since_greased(row: Interval, at: datetime) -> tuple[datetime | None, float | None]:
    """When the bearing of a line was last greased, and its running hours since then, where these count."""
    last_at, run_s = row.greased_at, row.greased_run_s
    if last_at is None and row.last_greased_at is not None and row.last_greased_at <= at:
        last_at, run_s = row.last_greased_at, None
    return last_at, None if row.interval_run_h is None else run_h_between(row.run, last_at, (run_s, None), at)[0]


def due_facts(session: Session, unit: Unit, at: datetime,
              rows: list[ChartRow] | None = None) -> Iterable[tuple[Motor, facts.Facts]]:
    """The motors with a greasing interval, each with just the facts that `greasing.check` needs. One query."""
    by_motor: dict[int, tuple[Motor, dict[str, facts.LubricationPoint]]] = {}
    for point, motor, greased, run, _ in due_rows(session, unit) if rows is None else rows:
        held = by_motor.setdefault(motor.id, (motor, {}))[1]
        held[point.end] = point_facts(point, greased, run, at)
    for motor, ends in by_motor.values():
        chart = facts.Ends(ends.get("DE"), ends.get("ODE"))
        yield motor, facts.Facts(facts.Motor(motor.tag, lubrication=chart), at, show=unit.show)
