"""The judge against the answer key: what was planted and found, and what was said of motors that had nothing.

Rules only, over facts built from the invented rows as the store would give them: a database adds time, not judgement.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from app.rules import facts, greasing, sheet
from app.rules.findings import ACT_NOW, THIS_SHIFT
from app.rules.limits import Limits
from tests.benchmarks.invented import Fault, Grease, Invented, Machine, Row

#: A flag stands until two rounds do not show it: the same rule again within that is the same flag.
SAME_FLAG = timedelta(hours=30)
#: A trend may still be told so long after a planted change is over; that is no false flag.
AFTERMATH = timedelta(days=12)


@dataclass(frozen=True)
class Said:
    """One flag as it would be raised."""

    motor: int
    at: datetime
    rule: str
    end: str | None
    priority: str


@dataclass
class Score:
    readings: int
    missed: list[Fault]
    planted: int
    false: list[Said]
    by_rule: dict[str, tuple[int, int]] = field(default_factory=dict)  # rule: flags at a planted fault, flags elsewhere
    spoke: dict[str, tuple[int, int]] = field(default_factory=dict)  # rule: of the faults it may speak of, at how many
    found: dict[str, tuple[int, int]] = field(default_factory=dict)  # kind of fault: found, planted

    @property
    def recall(self) -> float:
        """Share of the planted faults that were found."""
        return 1.0 - len(self.missed) / self.planted

    @property
    def false_per_1000(self) -> float:
        """Flags of act now or this shift on motors with nothing planted then, by 1,000 readings."""
        return 1000.0 * sum(s.priority in (ACT_NOW, THIS_SHIFT) for s in self.false) / self.readings

    def lines(self) -> list[str]:
        """Precision and recall, by rule and by kind of fault, for a person to read."""
        told = [f"{self.planted - len(self.missed)} of {self.planted} planted faults found; "
                f"{self.false_per_1000:.2f} false act-now or this-shift flags in 1,000 of {self.readings} readings"]
        told += [f"missed: {f.kind}, motor {f.motor}, from {f.since:%Y-%m-%d}" for f in self.missed]
        told += [f"{kind:34} found {found} of {planted}" for kind, (found, planted) in sorted(self.found.items())]
        told += [f"{rule:34} precision {right / (right + wrong):5.0%}  ({right} right, {wrong} false)"
                 f"{self._recall(rule)}" for rule, (right, wrong) in sorted(self.by_rule.items())]
        return told


    def _recall(self, rule: str) -> str:
        """Several rules may speak of one kind of fault, and one is enough."""
        spoke, could = self.spoke.get(rule, (0, 0))
        return f"  recall {spoke / could:4.0%}  ({spoke} of {could})" if could else ""


def judge(made: Invented) -> Score:
    said: list[Said] = []
    readings = 0
    for machine in made.machines:
        greasings = sorted((g for g in made.greasings if g.motor == machine.number), key=lambda g: g.at)
        said += _greasings_judged(machine, greasings)
        rows = list(made.rows_of(machine))
        readings += len(rows)
        said += _rounds_judged(machine, rows, greasings, [at for number, at in made.starts if number == machine.number])
    return _score(made, said, readings)


def _rounds_judged(machine: Machine, rows: list[Row], greasings: list[Grease], starts: list[datetime]) -> list[Said]:
    """The flags that one motor's rounds raise, in order."""
    history: list[facts.Reading] = []
    last: dict[tuple[str, str | None], datetime] = {}
    said, limits = [], Limits()
    before: Row | None = None
    for row in rows:
        reading = _reading(row) if row.state == facts.RUNNING else _standing(row)
        done = [g for g in greasings if g.at < row.at]
        given = facts.Facts(_motor(machine, row, done), row.at, reading, facts.History(
            running=tuple(history[:20]), greasings=tuple(_greased(g) for g in reversed(done[-20:])),
            stood_at=_stood_at(before, row, starts)))
        for finding in sheet.judge(given, limits):
            key = (finding.rule, finding.end)
            if key not in last or row.at - last[key] > SAME_FLAG:
                said.append(Said(row.motor, row.at, finding.rule, finding.end, finding.priority))
            last[key] = row.at
        if reading.running:
            history.insert(0, reading)
        before = row
    return said


def _stood_at(before: Row | None, row: Row, starts: list[datetime]) -> datetime | None:
    """When it was last seen standing, where no start is logged since: as gathering finds it."""
    if before is None or before.state == facts.RUNNING or any(before.at < at <= row.at for at in starts):
        return None
    return before.at


def _greasings_judged(machine: Machine, greasings: list[Grease]) -> list[Said]:
    said = []
    for i, done in enumerate(greasings):
        before = [g for g in greasings[:i] if g.at < done.at]
        given = facts.Facts(_motor(machine, None, before), done.at, history=facts.History(
            greasings=tuple(_greased(g) for g in reversed(before))))
        said += [Said(machine.number, done.at, f.rule, f.end, f.priority)
                 for f in greasing.check_greasing(_greased(done), given, Limits())]
    return said


def _motor(machine: Machine, row: Row | None, done: list[Grease]) -> facts.Motor:
    def point(end: str) -> facts.LubricationPoint:
        newest = next((g.at for g in reversed(done) if g.end == end), None)
        return facts.LubricationPoint("grease", "motor grease NLGI 2", "polyurea", 30.0, 90.0, last_greased_at=newest)

    plate = facts.Nameplate(key=1 + (row.plate if row else 0), rated_amps=machine.rated_a, service_factor=1.15,
                            volts=460.0, hp=75.0, hz=60.0, rpm=1775.0, poles=4, insulation_class="F", ambient_c=40.0,
                            bearing=facts.Ends("6313", "6312"))
    return facts.Motor(machine.tag, plate, ammeter="three" if machine.phases == 3 else "one",
                       lubrication=facts.Ends(point("DE"), point("ODE")))


def _greased(done: Grease) -> facts.Greasing:
    return facts.Greasing(done.end, done.at, "motor grease NLGI 2", "polyurea", done.grams, "1")


def _reading(row: Row) -> facts.Reading:
    """The row as a complete walk-round entry with nothing else wrong."""
    return facts.Reading(
        facts.RUNNING, row.at, smoke=row.smoke, guard="in place", ground="in place", leak="none",
        vibration_feel=facts.Ends("as usual", "as usual"), bearing_feel=facts.Ends("warm", "warm"),
        bearing_temp_c=facts.Ends(row.de_c, row.ode_c), winding_feel="warm", current_a=row.amps,
        lubricant=facts.Ends("ok", "ok"), cleanliness="clean", method="contact", nameplate_key=1 + row.plate,
        person="1")


def _standing(row: Row) -> facts.Reading:
    """The same of a motor that stands: no heat, amps or vibration."""
    return facts.Reading(
        facts.STANDBY, row.at, smoke=row.smoke, guard="in place", ground="in place", leak="none",
        lubricant=facts.Ends("ok", "ok"), cleanliness="clean", nameplate_key=1 + row.plate, person="1")


def _score(made: Invented, said: list[Said], readings: int) -> Score:
    by_motor: dict[int, list[Said]] = defaultdict(list)
    for flag in said:
        by_motor[flag.motor].append(flag)
    planted = [f for f in made.faults if f.rules]
    heard = [{s.rule for s in by_motor[f.motor] if f.since <= s.at <= f.until + timedelta(days=1)} for f in planted]
    missed = [f for f, rules in zip(planted, heard, strict=True) if not rules & {*f.rules}]
    could, kinds = Counter(rule for f in planted for rule in f.rules), Counter(f.kind for f in planted)
    spoke = Counter(rule for f, rules in zip(planted, heard, strict=True) for rule in rules & {*f.rules})
    at_fault = {id(s) for f in planted for s in by_motor[f.motor] if f.since <= s.at <= f.until + AFTERMATH}
    false = [s for s in said if id(s) not in at_fault]
    right, wrong = Counter(s.rule for s in said if id(s) in at_fault), Counter(s.rule for s in false)
    return Score(readings, missed, len(planted), false,
                 {rule: (right[rule], wrong[rule]) for rule in {*right, *wrong}},
                 {rule: (spoke[rule], count) for rule, count in could.items()},
                 {kind: (count - sum(f.kind == kind for f in missed), count) for kind, count in kinds.items()})
