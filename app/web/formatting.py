"""How figures, times and words are shown: in the unit's zone, in its units, never ambiguous."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from flask import Flask, g

from app.rules import facts, findings, wording
from app.rules.units import kw_from_hp
from app.store.units import Unit

DASH = "–"


def _unit() -> Unit | None:
    return g.signed_in.unit if g.get("signed_in") else None


def local(value: datetime, unit: Unit | None = None) -> datetime:
    unit = unit or _unit()
    return value.astimezone(unit.calendar.zone) if unit else value


def clock(value: datetime | None) -> str:
    """07:12, and "01:30 (second)" in the hour that comes twice."""
    if value is None:
        return DASH
    there = local(value)
    zone = there.tzinfo
    other = there.replace(fold=1 - there.fold)
    twice = zone is not None and other.utcoffset() != there.utcoffset() and _same_wall(there)
    return there.strftime("%H:%M") + (" (second)" if twice and there.fold else " (first)" if twice else "")


def _same_wall(there: datetime) -> bool:
    """True when this wall time really comes twice (and is not one that is skipped)."""
    from datetime import UTC

    both = [there.replace(fold=f).astimezone(UTC).astimezone(there.tzinfo).replace(tzinfo=None) for f in (0, 1)]
    return both[0] == both[1] == there.replace(tzinfo=None)


def day(value: datetime | date | None) -> str:
    """24 Nov 2026: no month and day to mix up."""
    if value is None:
        return DASH
    if isinstance(value, datetime):
        value = local(value).date()
    return f"{value.day} {value.strftime('%b %Y')}"


def moment(value: datetime | None) -> str:
    return DASH if value is None else f"{day(value)}, {clock(value)}"


def clock_s(value: datetime | None) -> str:
    """To the second, where a count runs: 14:37:20."""
    if value is None:
        return DASH
    return local(value).strftime("%H:%M:%S") + clock(value)[5:]


def moment_s(value: datetime | None) -> str:
    return DASH if value is None else f"{day(value)}, {clock_s(value)}"


def iso_local(value: datetime | None, unit: Unit) -> str:
    """The unit's local time with the offset it had then, to the second."""
    return "" if value is None else value.astimezone(unit.calendar.zone).isoformat(timespec="seconds")


def ago(value: datetime | None, now: datetime) -> str:
    if value is None:
        return DASH
    span = now - value
    if span < timedelta(minutes=1):
        return "just now"
    if span < timedelta(hours=1):
        return f"{int(span.total_seconds() // 60)} min ago"
    if span < timedelta(hours=48):
        return f"{int(span.total_seconds() // 3600)} h ago"
    return f"{span.days} days ago"


def span(value: timedelta) -> str:
    """A length of time as said: 40 s, 12 min, 3 h, 5 days."""
    seconds = int(value.total_seconds())
    if seconds < 120:
        return f"{seconds} s"
    if seconds < 7200:
        return f"{seconds // 60} min"
    return f"{seconds // 3600} h" if seconds < 48 * 3600 else f"{value.days} days"


def number(value: float | None, places: int = 1) -> str:
    """A stored figure, trailing zeros off: 87.0 is 87, 91.5 stays; never "-0"."""
    if value is None:
        return DASH
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def exact(value: float | None) -> str:
    """A figure with every digit that was entered."""
    return number(value, wording.MOST_PLACES)


def _show() -> facts.Show:
    unit = _unit()
    return unit.show if unit is not None else facts.Show()


def _scaled(value: float | None, scale: wording.Scale, with_unit: bool, places: int | None) -> str:
    if value is None:
        return DASH
    shown = number(scale.convert(value), scale.places if places is None else places)
    return f"{shown} {scale.unit}" if with_unit else shown


def temperature(value_c: float | None, with_unit: bool = True, places: int | None = None) -> str:
    """A temperature in the unit's own scale."""
    return _scaled(value_c, wording.temperature(_show()), with_unit, places)


def temperature_unit() -> str:
    return wording.temperature(_show()).unit


def vibration(mm_s: float | None, with_unit: bool = True, places: int | None = 2) -> str:
    """A vibration velocity: mm/s RMS, or in/s peak where the unit reads that."""
    return _scaled(mm_s, wording.vibration(_show()), with_unit, places)


def grease(grams: float | None, with_unit: bool = True, places: int | None = None) -> str:
    """An amount of grease: g, or oz where the unit counts that."""
    return _scaled(grams, wording.grease(_show()), with_unit, places)


def power(hp: float | None) -> str:
    """Rated power: hp, or kW where the unit reads that."""
    if hp is None:
        return DASH
    return f"{number(kw_from_hp(hp))} kW" if _show().power == "kW" else f"{number(hp, 2)} hp"


def measure(value: float | None, unit_of_measure: str | None) -> str:
    """A finding's figure or limit in the unit's own scale: 10.2 K is 18.4 °F, with no 32."""
    show = _show()
    scales = {"°C": wording.temperature, "K": wording.difference, "mm/s": wording.vibration, "g": wording.grease}
    if value is None:
        return DASH
    if unit_of_measure in scales:
        return _scaled(value, scales[unit_of_measure](show), True, 2)
    return f"{number(value, 2)} {unit_of_measure or ''}".rstrip()


def priority_class(priority: str) -> str:
    return {findings.ACT_NOW: "act", findings.THIS_SHIFT: "shift", findings.WATCH: "watch"}[priority]


def words(rule: str) -> str:
    """bearings_uneven -> bearings uneven."""
    return rule.replace("_", " ")


def end_words(end: str | None) -> str:
    """The end as it is seen: what a hand looks for."""
    return {"DE": "coupling end (DE)", "ODE": "fan end (ODE)"}.get(end or "", "")


def register(app: Flask) -> None:
    for give in (clock, clock_s, day, moment, moment_s, number, exact, temperature, vibration, grease, power, measure,
                 ago, span, priority_class, words, end_words):
        app.jinja_env.filters[give.__name__] = give
    app.jinja_env.globals.update(temperature_unit=temperature_unit, FACTS=facts, PRIORITIES=findings.PRIORITIES,
                                 half_a_day=timedelta(hours=12))
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
