"""The command line: `round-sheet …`, and the same commands under `flask --app app …`.

Every command brings the database up to date first, under the same lock; messages go to stderr; 0 only when it worked.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import IO
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import click
from flask import Flask

from app import backups, cli_keeping, data_folder, guessing, set_up
from app import cli_limits as cli_limits  # its commands join the group
from app.cli_ground import fail, main, opened, say, unit_or_fail
from app.db import Database
from app.rules import shifts
from app.store import people, register_file, units
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR, Token

ROLE_WORDS = {"operator": OPERATOR, "head-operator": HEAD_OPERATOR, "supervisor": SUPERVISOR}


# serving ---------------------------------------------------------------------------------------------------


@main.command("serve", with_appcontext=False,
              epilog="Example: round-sheet serve --host 0.0.0.0 --port 8443 --tls-cert site.pem --tls-key site.key")
@click.option("--host", default=None, help="Address to listen on; 127.0.0.1 unless set.")
@click.option("--port", default=None, type=click.IntRange(0, 65535), help="Port; 8000 unless set.")
@click.option("--demo", is_flag=True, help="Fill an empty database with an invented unit first.")
@click.option("--tls-cert", type=click.Path(exists=True, dir_okay=False), help="Certificate chain, PEM.")
@click.option("--tls-key", type=click.Path(exists=True, dir_okay=False), help="Its private key, PEM.")
def serve(host: str | None, port: int | None, demo: bool, tls_cert: str | None, tls_key: str | None) -> None:
    """Bring the database up to date, then serve."""
    from app import serving

    if bool(tls_cert) != bool(tls_key):
        raise fail("Give both --tls-cert and --tls-key, or neither.")
    with opened(create=True) as (settings, database):
        say(f"Instance: {settings.instance}")
        _warn_of_a_share(database)
        if demo:
            _demo(database)
        with cli_keeping.told_plainly(), backups.alone(database, settings.instance):
            with database.writing() as session:
                code = set_up.open_door(session, datetime.now(UTC))
                session.commit()
            serving.serve(settings, host or settings.host, settings.port if port is None else port, tls_cert, tls_key,
                          say, code)


def _warn_of_a_share(database: Database) -> None:
    if not database.is_sqlite or not (file := database.url.database):
        return
    if kind := data_folder.share_under(Path(file).resolve().parent):
        say(f"WARNING: {file} lies on a network share ({kind}). SQLite can be damaged there, and entries lost. Stop, "
            "move the data to a disk of this machine (database_url in config.toml), or use PostgreSQL.")


def _demo(database: Database) -> None:
    import seed_demo

    with database.reading() as session:
        there, filled = [u.name for u in units.all_units(session)], seed_demo.complete(session)
    if seed_demo.UNIT in there and not filled:
        raise fail(seed_demo.begin_again(database))
    if not there:
        say("Filling the empty database with the demo unit; this takes up to a minute …")
        seed_demo.seed(database, datetime.now(UTC), say)
    elif seed_demo.UNIT not in there:
        say("The database is not empty and holds no demo: nothing was added.")
        return
    click.echo(seed_demo.who_can_sign_in())


# units, people, tokens -------------------------------------------------------------------------------------


@main.command("add-unit", with_appcontext=False,
              epilog='Example: round-sheet add-unit "Brine unit" --time-zone America/Chicago '
                     '--shift "Day 06:00" --shift "Night 18:00"')
@click.argument("name")
@click.option("--time-zone", required=True, help="IANA name, such as America/Chicago.")
@click.option("--shift", "shift_words", multiple=True, required=True, help='Name and local start, such as "Day 06:00".')
@click.option("--temperature", type=click.Choice(["C", "F"]), default="C", help="How temperatures are typed and shown.")
def add_unit(name: str, time_zone: str, shift_words: tuple[str, ...], temperature: str) -> None:
    """Add a process unit."""
    name = name.strip()
    if not name or len(name) > 120:
        raise fail("A unit's name has 1 to 120 characters.")
    try:
        ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise fail(f"{time_zone!r} is not an IANA time zone such as America/Chicago.") from error
    starts = [read_shift(words) for words in shift_words]
    if len({s.name for s in starts}) < len(starts) or len({s.at for s in starts}) < len(starts):
        raise fail("Each shift needs its own name and its own start.")
    with opened(create=True) as (settings, database), database.writing() as session:
        if units.unit_named(session, name):
            raise fail(f"There is a unit called {name!r} already.")
        units.add_unit(session, name, time_zone, starts, datetime.now(UTC), temperature)
        session.commit()
        say(f"Added {name} in {settings.instance}.")


def read_shift(words: str) -> shifts.ShiftStart:
    """"Day 06:00" -> its name and start. Raises a ClickException naming what is wrong."""
    name, _, at = words.strip().rpartition(" ")
    if not name.strip():
        raise fail(f'{words!r} is not a name and a start such as "Day 06:00".')
    start = shifts.ShiftStart(name.strip(), at)
    try:
        _ = start.local_time
    except shifts.BadShiftTime as error:
        raise fail(str(error)) from error
    return start


@main.command("add-person", with_appcontext=False,
              epilog='Example: round-sheet add-person ana --unit "Brine unit" --name "Ana Ruiz" --role operator')
@click.argument("sign_in")
@click.option("--unit", "unit_name", required=True, help="The unit the person works in.")
@click.option("--name", required=True, help="The name others know.")
@click.option("--role", required=True, type=click.Choice(list(ROLE_WORDS)))
def add_person(sign_in: str, unit_name: str, name: str, role: str) -> None:
    """Add a person; the secret is asked for, or read from standard input as one line."""
    sign_in, name = sign_in.strip(), name.strip()
    if not sign_in or len(sign_in) > 80 or not sign_in.isprintable():
        raise fail("A sign-in name has 1 to 80 printable characters.")
    if not name or len(name) > 120:
        raise fail("A name has 1 to 120 characters.")
    with opened() as (_, database):
        with database.reading() as session:
            unit_or_fail(session, unit_name)
            there = people.person_by_sign_in(session, sign_in)
        if there is not None:
            raise fail(f"{sign_in!r} is taken by {there.name}.")
        secret = _ask_secret(ROLE_WORDS[role], [sign_in, name, unit_name])
        hashed = guessing.hash_secret(secret)
        with database.writing() as session:
            unit = unit_or_fail(session, unit_name)
            people.add_person(session, sign_in, name, ROLE_WORDS[role], hashed, [unit], datetime.now(UTC))
            session.commit()
    say(f"Added {name} ({role}) to {unit_name}.")


def _ask_secret(role: str, words: list[str]) -> str:
    if sys.stdin.isatty():
        secret = click.prompt("PIN of 6 digits or more" if role != SUPERVISOR else "Pass-phrase of 12 or more",
                              hide_input=True, confirmation_prompt=True, err=True)
    else:
        secret = sys.stdin.readline().rstrip("\r\n")
    try:
        guessing.check_strength(secret, role, words)
    except guessing.WeakSecret as error:
        raise fail(str(error)) from error
    return secret


@main.command("add-token", with_appcontext=False,
              epilog='Example: round-sheet add-token panel --unit "Brine unit" --scope record > token.txt')
@click.argument("name")
@click.option("--unit", "unit_name", required=True)
@click.option("--scope", required=True, type=click.Choice(["read", "record"]), help="record includes read.")
def add_token(name: str, unit_name: str, scope: str) -> None:
    """Make a token for the JSON door; it is printed once, alone, on standard output."""
    token = guessing.new_token()
    with opened() as (_, database), database.writing() as session:
        unit = unit_or_fail(session, unit_name)
        if any(t.name == name for t in people.tokens_of(session, unit)):
            raise fail(f"{unit_name} has a token called {name!r} already.")
        session.add(Token(unit_id=unit.id, name=name, scope=scope, hash=guessing.hash_token(token),
                          created_at=datetime.now(UTC)))
        session.commit()
    click.echo(token)


# register and week -----------------------------------------------------------------------------------------


@main.command("import-register", with_appcontext=False,
              epilog='Example: round-sheet import-register motors.csv --unit "Brine unit" --dry-run')
@click.argument("file", type=click.Path(exists=True, dir_okay=False))
@click.option("--unit", "unit_name", required=True)
@click.option("--dry-run", is_flag=True, help="Only say what would be added or changed.")
def import_register(file: str, unit_name: str, dry_run: bool) -> None:
    """Read a register CSV: all rows or none; every bad row is named."""
    data = Path(file).read_bytes()
    with opened() as (_, database), database.writing() as session:
        unit = unit_or_fail(session, unit_name)
        report = register_file.import_register(session, unit, data, None, datetime.now(UTC), dry_run)
        for fault in report.errors:
            say(str(fault))
        if report.errors:
            count = len(report.errors)
            raise fail(f"Nothing was imported: {count} fault{'' if count == 1 else 's'} to put right.")
        if not dry_run:
            session.commit()
        _tell_import(report, dry_run)


def _tell_import(report: register_file.ImportReport, dry_run: bool) -> None:
    for notice in report.notices:
        say(str(notice))
    if report.not_in_file:
        say(f"Not in the file, left as they are: {', '.join(report.not_in_file)}")
    if report.changed and report.left_out:
        say(f"Columns not in the file, taken as empty: {', '.join(report.left_out)}")
    for line, tag in report.added:
        say(f"{line}: {tag} {'would be' if dry_run else ''} added".replace("  ", " "))
    for change in report.changed:
        told = "; ".join(f"{d.column} {d.before or 'empty'} -> {d.after or 'empty'}" for d in change.differences)
        say(f"{change.line}: {change.tag} {'would be ' if dry_run else ''}{'swapped' if change.swap else 'changed'}: "
            f"{told}")
    say(f"{'Dry run, nothing stored' if dry_run else 'Imported'}: {len(report.added)} added, "
        f"{len(report.changed)} changed, {report.unchanged} unchanged.")


@main.command("export-register", with_appcontext=False,
              epilog='Example: round-sheet export-register --unit "Brine unit" -o motors.csv')
@click.option("--unit", "unit_name", required=True)
@click.option("-o", "output", required=True, type=click.Path(dir_okay=False))
def export_register(unit_name: str, output: str) -> None:
    """Write the register CSV, the same as the page's download."""
    from app.export.register import register_csv

    with opened() as (_, database), database.reading() as session:
        data = register_csv(session, unit_or_fail(session, unit_name))
    _write(output, lambda file: file.write(data))


@main.command("export-week", with_appcontext=False,
              epilog='Example: round-sheet export-week --unit "Brine unit" --latest --format xlsx -o /srv/meetings')
@click.option("--unit", "unit_name", required=True)
@click.option("--week", default=None, help="An ISO week such as 2026-W48, or a span: 2026-W45--2026-W48.")
@click.option("--latest", is_flag=True, help="The last week that is over.")
@click.option("--format", "kind", type=click.Choice(["csv", "xlsx"]), default="csv")
@click.option("--continental", is_flag=True, help="CSV with semicolons and decimal commas.")
@click.option("-o", "output", required=True, type=click.Path(),
              help="The file; or a folder, in which it gets the name that the page would give it.")
def export_week(unit_name: str, week: str | None, latest: bool, kind: str, continental: bool, output: str) -> None:
    """Write a week's exceptions, the same file as the page gives.

    Exit 0: the file is whole and under its name. 1: nothing was written under it, and the reason is on standard
    error. 2: the command was typed wrongly.
    """
    from app.export.week import file_name, week_csv, week_for
    from app.export.week_sheets import week_workbook

    if bool(week) == latest:
        raise click.UsageError("Give either --week 2026-W48 or --latest.")
    if continental and kind != "csv":
        raise click.UsageError("--continental is for --format csv: a workbook shows figures as the reader's own do.")
    now = datetime.now(UTC)
    with opened() as (_, database), database.reading() as session:
        unit = unit_or_fail(session, unit_name)
        try:
            chosen = week_for(unit, week or shifts.next_week(shifts.week_of(now, unit.calendar.zone), -1)).text
        except shifts.BadWeek as error:
            raise fail(f"{error}.") from error
        if Path(output).is_dir():
            output = str(Path(output) / file_name(unit, chosen, now, kind, continental))
        if kind == "csv":
            _write(output, lambda file: file.writelines(week_csv(session, unit, chosen, now, continental)))
        else:
            _write(output, lambda file: week_workbook(session, unit, chosen, now, file))
    say(f"Wrote {output}: {unit_name}, {chosen}.")


def _write(output: str, fill: Callable[[IO[bytes]], object]) -> None:
    """Writes beside the target first, so that a failed export never leaves half a file under its name."""
    path = Path(output)
    half = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        with half.open("wb") as file:
            fill(file)
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
    except BaseException as error:
        half.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise fail(f"{output} cannot be written: {error.strerror}") from error
        raise


@main.command("doctor", with_appcontext=False, epilog="Example: round-sheet doctor")
def doctor() -> None:
    """Check every invariant with counts; exit 1 when one fails."""
    from app import checkup

    with opened() as (_, database), database.reading() as session:
        results = checkup.run(session)
    for result in results:
        click.echo(f"{'ok  ' if result.good else 'FAIL'} {result.says}: {result.count}")
        for line in result.examples:
            click.echo(f"     {line}")
    if not all(r.good for r in results):
        raise fail("An invariant does not hold; see above.")


def register(app: Flask) -> None:
    """Every command, those of the other modules too, under `flask --app app …`."""
    for command in main.commands.values():
        app.cli.add_command(command)
