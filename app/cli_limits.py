"""The commands about limits: setting, listing, rehearsing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import click

from app import rehearsal
from app.cli_ground import fail, main, opened, say, unit_or_fail
from app.rehearsal import Asked, BadRehearsal, Rehearsal
from app.rules import shifts
from app.rules.limits import DEFAULTS
from app.store import limits, motors
from app.store.units import Unit


@main.command("set-limit", with_appcontext=False,
              epilog='Example: round-sheet set-limit bearing_hot_grease_alarm_c 85 --unit "Brine unit" --why "plate"')
@click.argument("name")
@click.argument("value")
@click.option("--unit", "unit_name", required=True)
@click.option("--motor", "tag", default=None, help="Only for this motor's tag.")
@click.option("--why", required=True)
@click.option("--from", "begins", default=None, metavar="'YYYY-MM-DD HH:MM'",
              help="Local time of the unit from which it counts; from now on unless given.")
def set_limit(name: str, value: str, unit_name: str, tag: str | None, why: str, begins: str | None) -> None:
    """Change a limit; what came before is not judged by it. VALUE is in SI, or the word `default`."""
    figure = None if value == "default" else read_figure(value)
    now = datetime.now(UTC)
    with opened() as (_, database), database.writing() as session:
        unit = unit_or_fail(session, unit_name)
        at = local_time(begins, unit) if begins else now
        try:
            limits.change_limit(session, unit, name, figure, tag, why, None, at, now=now)
        except limits.BadLimit as error:
            raise fail(str(error)) from error
        motor = motors.motor_by_tag(session, unit.id, tag) if tag else None
        stands = limits.limits_at(session, unit.id, motor.id if motor else None, at)[name]
        session.commit()
    say(f"{name} is {stands.value:g} {stands.unit} from {begins or 'now'} on" + (f" for {tag}." if tag else "."))


def read_figure(text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise fail(f"{text!r} is not a number such as 85 or 2.8, nor the word default.") from error


def local_time(text: str, unit: Unit) -> datetime:
    """"2026-12-01 06:00" in the unit's zone; a time that the clocks skip is the first instant after."""
    try:
        wall = datetime.strptime(text, "%Y-%m-%d %H:%M")  # noqa: DTZ007 - the zone is the unit's
    except ValueError as error:
        raise fail(f"{text!r} is not a local time such as 2026-12-01 06:00.") from error
    return shifts.local_instant(wall.date(), wall.time(), unit.calendar.zone)


@main.command("limits", with_appcontext=False, epilog='Example: round-sheet limits --unit "Brine unit"')
@click.option("--unit", "unit_name", required=True)
@click.option("--motor", "tag", default=None, help="As they are in force for this motor's tag.")
def show_limits(unit_name: str, tag: str | None) -> None:
    """List every limit: name, value, unit, default, source."""
    with opened() as (_, database), database.reading() as session:
        unit = unit_or_fail(session, unit_name)
        motor = motors.motor_by_tag(session, unit.id, tag) if tag else None
        if tag and motor is None:
            raise fail(f"No motor of {unit_name} has the tag {tag!r}.")
        in_force = limits.limits_at(session, unit.id, motor.id if motor else None, datetime.now(UTC))
        for name, default in DEFAULTS.items():
            limit = in_force[name]
            click.echo(f"{name}\t{limit.value:g}\t{limit.unit}\tdefault {default.value:g}\t{limit.source}")


@main.command("rehearse", with_appcontext=False,
              epilog='Example: round-sheet rehearse --unit "Brine unit" --weeks 4 --set bearing_hot_grease_alarm_c=85')
@click.option("--unit", "unit_name", required=True)
@click.option("--weeks", default=4, show_default=True, type=int, help="So many weeks, up to now.")
@click.option("--until", default=None, metavar="2026-W47", help="Up to the end of this ISO week instead of now.")
@click.option("--set", "wanted", multiple=True, metavar="NAME=VALUE",
              help="A limit as it would be, SI; may be repeated.")
@click.option("--motor", "tag", default=None, help="The limits are this motor's own, not the unit's.")
def rehearse(unit_name: str, weeks: int, until: str | None, wanted: tuple[str, ...], tag: str | None) -> None:
    """Judge stored weeks again under other limits: flags by rule and motor beside what was raised. Stores nothing.

    Without --set every rule is judged again under the limits as they were: then nothing should differ.
    """
    now = datetime.now(UTC)
    with opened() as (_, database), database.reading() as session:
        unit = unit_or_fail(session, unit_name)
        motor = motors.motor_by_tag(session, unit.id, tag) if tag else None
        if tag and motor is None:
            raise fail(f"No motor of {unit_name} has the tag {tag!r}.")
        try:
            asked = [Asked(*read_setting(words), motor) for words in wanted]
            found = rehearsal.rehearse(session, unit, *rehearsal.span(unit, weeks, now, until), asked, told_progress())
        except BadRehearsal as error:
            raise fail(str(error)) from error
        for line in told_rehearsal(found):
            click.echo(line)


def read_setting(words: str) -> tuple[str, float]:
    name, equals, value = words.partition("=")
    if not equals:
        raise fail(f"{words!r} is not a limit and its value such as bearing_hot_grease_alarm_c=85.")
    return name.strip(), read_figure(value.strip())


def told_progress() -> Callable[[int, int], None]:
    """A line on standard error at each tenth."""
    last = [0]

    def progress(done: int, of: int) -> None:
        tenth = 10 * done // of if of else 10
        if tenth > last[0]:
            last[0] = tenth
            say(f"{done} of {of} motors")

    return progress


def told_rehearsal(found: Rehearsal) -> Iterator[str]:
    """The outcome as a table, its columns parted by tabs: rule, tag, was, would be; each rule's sum, and all."""
    yield "rule\ttag\traised\twould be"
    for rule, was, would, judged in found.by_rule():
        yield f"{rule}\tall\t{was}\t{would}" + ("" if judged else "\tas raised: no limit here has a say")
        for line in found.lines:
            if line.rule == rule:
                yield f"{rule}\t{line.tag}\t{line.was}\t{line.would}"
    yield f"all\tall\t{found.was}\t{found.would}"
