"""Where everything of a picture stands: panels of figures turned into the drawing's own coordinates and words.

The page's templates write the SVG; nothing here knows of tags or styles. Figures are shown in the unit's scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from app.motor_trends import AMPS, DIFFERENCE, TEMPERATURE, LimitLine, Mark, Panel, Point
from app.rules import axis, wording
from app.rules.axis import Axis
from app.rules.facts import Show
from app.rules.findings import ACT_NOW
from app.rules.wording import Scale
from app.store.units import Unit
from app.web.formatting import moment, number

WIDTH, HEIGHT = 960, 260
LEFT, RIGHT, TOP, BOTTOM = 66, 806, 16, 206
#: Below the time axis: what was done, each on a line of its own.
MARKS_Y = 246
LABEL_APART = 15.0
KINDS = {"": "", "contact": "by contact", "infrared": "by infrared", "fitted": "by fitted probe", "hand": "by hand"}
LETTERS = {"greased": "G", "started": "S", "tripped": "T", "plate changed": "N"}


@dataclass(frozen=True)
class Dot:
    x: float
    y: float
    kind: str
    says: str
    corrected: bool
    over: str | None


@dataclass(frozen=True)
class Line:
    """A limit as steps. label_y: moved so that no two labels meet."""

    path: str
    priority: str
    label: str
    label_y: float


@dataclass(frozen=True)
class Band:
    x: float
    y: float
    width: float
    height: float
    middle: float
    says: str


@dataclass(frozen=True)
class Letter:
    x: float
    letter: str
    says: str


@dataclass(frozen=True)
class Picture:
    name: str
    unit: str
    ticks: tuple[tuple[float, str], ...]
    days: tuple[tuple[float, str], ...]
    zero_y: float | None
    runs: tuple[str, ...]
    dots: tuple[Dot, ...]
    lines: tuple[Line, ...]
    band: Band | None
    letters: tuple[Letter, ...]
    kinds: tuple[str, ...]
    words: str


def scale_of(measure: str, show: Show) -> Scale:
    if measure == TEMPERATURE:
        return wording.temperature(show)
    if measure == DIFFERENCE:
        return wording.difference(show)
    return wording.PERCENT if measure == AMPS else wording.vibration(show)


@dataclass(frozen=True)
class _Ground:
    """Both axes of one panel, and how its figures are shown."""

    unit: Unit
    start: datetime
    end: datetime
    across: Axis
    up: Axis
    scale: Scale

    def x(self, at: datetime) -> float:
        return self.across.at((at - self.start).total_seconds())

    def y(self, value: float) -> float:
        return self.up.at(self.scale.convert(value))

    def told(self, value: float) -> str:
        return wording.figure(value, self.scale)

    def limit(self, line: LimitLine, value: float) -> str:
        """Which end is hotter is said in the name, not by a sign."""
        return f"{line.name} {self.told(abs(value) if line.either_way else value)}"


def picture(panel: Panel, marks: tuple[Mark, ...], unit: Unit, start: datetime, end: datetime) -> Picture:
    """One panel drawn between two instants."""
    scale = scale_of(panel.measure, unit.show)
    known = [p.value for p in panel.points if p.value is not None]
    known += [value for line in panel.limits for _, value in line.steps if value is not None]
    known += [panel.normal.low, panel.normal.high] if panel.normal else []
    up = axis.values([scale.convert(v) for v in known], from_zero=panel.from_zero, about_zero=panel.about_zero)
    ground = _Ground(unit, start, end, axis.seconds(start, end).drawn(LEFT, RIGHT), up.drawn(BOTTOM, TOP), scale)
    dots = tuple(_dot(p, ground) for p in panel.points if p.value is not None)
    letters = tuple(Letter(ground.x(m.at), LETTERS[m.what], f"{moment(m.at)}: {m.says}") for m in marks
                    if not m.end or m.end in panel.ends)
    return Picture(
        panel.name, panel.measure if panel.measure == AMPS else scale.unit,
        tuple((ground.up.at(t), number(t, up.places)) for t in up.ticks), _days(ground),
        ground.up.at(0.0) if panel.about_zero else None, _runs(panel, ground), dots, _lines(panel, ground),
        _band(panel, ground), letters, tuple(sorted({KINDS[d.kind] for d in dots} - {""})), _words(panel, ground))


def _dot(point: Point, ground: _Ground) -> Dot:
    value = point.value or 0.0
    how = f", {KINDS[point.kind]}" if KINDS[point.kind] else ""
    also = ", corrected since" if point.corrected else f", above a limit: {point.over}" if point.over else ""
    return Dot(ground.x(point.at), ground.y(value), point.kind, f"{moment(point.at)}: {ground.told(value)}{how}{also}",
               point.corrected, point.over)


def _days(ground: _Ground) -> tuple[tuple[float, str], ...]:
    found = axis.days(ground.start, ground.end, ground.unit.calendar.zone)
    return tuple((ground.x(at), f"{day.day} {day.strftime('%b')}") for day, at in found)


def _runs(panel: Panel, ground: _Ground) -> tuple[str, ...]:
    """Lines only between readings with nothing missed between them; a corrected one is not on any."""
    counted = [p for p in panel.points if not p.corrected]
    gap = axis.gap_after([p.at for p in counted])
    runs = axis.pieces([(p.at, p.value, p.kind) for p in counted], gap)
    return tuple(" ".join(f"{ground.x(counted[i].at):g},{ground.y(counted[i].value or 0.0):g}" for i in run)
                 for run in runs if len(run) > 1)


def _lines(panel: Panel, ground: _Ground) -> tuple[Line, ...]:
    found = []
    for line in panel.limits:
        newest = next((value for _, value in reversed(line.steps) if value is not None), None)
        if newest is not None:
            found.append(Line(_steps(line, ground), line.priority, ground.limit(line, newest),
                              ground.y(newest)))
    return tuple(_apart(sorted(found, key=lambda one: one.label_y)))


def _apart(lines: list[Line]) -> list[Line]:
    """Labels from the top down, none nearer to the one above than a line of text."""
    placed: list[Line] = []
    for line in lines:
        least = placed[-1].label_y + LABEL_APART if placed else line.label_y
        placed.append(Line(line.path, line.priority, line.label, max(line.label_y, least)))
    return placed


def _steps(line: LimitLine, ground: _Ground) -> str:
    """M and H and V of a path: level while in force, broken where none is known."""
    path, pen_down = [], False
    for i, (since, value) in enumerate(line.steps):
        until = line.steps[i + 1][0] if i + 1 < len(line.steps) else ground.end
        if value is None:
            pen_down = False
            continue
        y = ground.y(value)
        path.append(f"V{y:g}" if pen_down else f"M{ground.x(since):g},{y:g}")
        path.append(f"H{ground.x(until):g}")
        pen_down = True
    return " ".join(path)


def _band(panel: Panel, ground: _Ground) -> Band | None:
    own = panel.normal
    if own is None or own.since >= ground.end:
        return None
    left, top, bottom = ground.x(max(own.since, ground.start)), ground.y(own.high), ground.y(own.low)
    says = (f"Its own normal: {ground.told(own.low)} to {ground.told(own.high)}, the middle {ground.told(own.centre)}, "
            f"from its last {own.count} like readings")
    return Band(left, top, round(RIGHT - left, 1), round(bottom - top, 1), ground.y(own.centre), says)


def _words(panel: Panel, ground: _Ground) -> str:
    """The picture told without eyes."""
    read = panel.read
    if not read:
        return f"{panel.name}: every reading was corrected since."
    values = [p.value or 0.0 for p in read]
    over = sum(1 for p in read if p.over)
    grave = sum(1 for p in read if p.over == ACT_NOW)
    told = (f"{panel.name}, {len(read)} reading{'' if len(read) == 1 else 's'} from {moment(read[0].at)} to "
            f"{moment(read[-1].at)}: first {ground.told(values[0])}, newest {ground.told(values[-1])}, lowest "
            f"{ground.told(min(values))}, highest {ground.told(max(values))}.")
    limits = ", ".join(ground.limit(line, value) for line in panel.limits
                       if (value := line.steps[-1][1]) is not None)
    told += f" Limits: {limits}. Above one: {over}, of them act now {grave}." if limits else " No limit is known."
    own = _band(panel, ground)
    return f"{told} {own.says}." if own else told
