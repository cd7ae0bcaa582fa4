"""Beside what people use instead: the same readings in a general admin framework's pages and in a workbook.

Three jobs on one year of 200 motors: save one entry, list the shift's exceptions, export a week. Speed only: neither
judges, asks for what was left out, or works without a network.
"""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import openpyxl

from tests.benchmarks.ground import Ground, filled
from tests.benchmarks.invented import Row, invent
from tests.benchmarks.lines import Line, bests_ms, once_ms

MOTORS, DAYS = 200, 365
#: Above it a reading is an exception in the peers' lists.
HOT_C = 76.0
HEAD = ("motor", "taken at", "state", "amps", "DE °C", "ODE °C", "remarks")
JOBS = ("save one entry", "list the shift's exceptions", "export a week")


def missing() -> str:
    """The library that is not installed, or nothing."""
    return "" if find_spec("django") else "django"


def side_by_side() -> Iterator[Line]:
    rows = list(invent(MOTORS, DAYS, shifts=3).rows())
    end = max(row.at for row in rows)
    with tempfile.TemporaryDirectory(prefix="rounds-bench-") as name:
        admin = dict(zip(JOBS, _admin(Path(name), rows, end), strict=True))
        book = dict(zip(JOBS, _workbook(Path(name), rows, end), strict=True))
    with filled(motors=MOTORS, days=DAYS) as ground:
        ours = dict(zip(JOBS, _ours(ground), strict=True))
    for job in JOBS:
        yield Line(f"{job}: this program beside the admin pages", ours[job], "ms", admin[job])
        yield Line(f"{job}: this program beside the workbook", ours[job], "ms", book[job])


def _ours(ground: Ground) -> list[float]:
    client, chief = ground.signed_in(ground.loaded.operator), ground.signed_in(ground.loaded.supervisor)
    turn = iter(list(zip(ground.loaded.motor_ids, ground.loaded.machines, strict=True)))

    def save() -> None:
        motor_id, machine = next(turn)
        ground.clock.advance(seconds=90)
        answer = client.post(f"/motors/{motor_id}/entry", data=ground.entry(machine, ground.loaded.operator))
        assert answer.status_code == 303

    year, week, _ = (ground.clock.now - timedelta(days=7)).isocalendar()
    return bests_ms(15, save, lambda: chief.get("/review").data,
                      lambda: chief.get(f"/week/{year}-W{week:02}.csv").data)


# a general admin framework ---------------------------------------------------------------------------------


def _admin(folder: Path, rows: list[Row], end: datetime) -> list[float]:
    """Its create and list pages on SQLite with the same durability, signed in, by its own test client."""
    import django
    from django.conf import settings

    settings.configure(
        SECRET_KEY="x" * 50, USE_TZ=True, ROOT_URLCONF=__name__, ALLOWED_HOSTS=["testserver"],
        INSTALLED_APPS=["django.contrib.admin", "django.contrib.auth", "django.contrib.contenttypes",
                        "django.contrib.sessions", "django.contrib.messages"],
        MIDDLEWARE=["django.contrib.sessions.middleware.SessionMiddleware",
                    "django.middleware.csrf.CsrfViewMiddleware",
                    "django.contrib.auth.middleware.AuthenticationMiddleware",
                    "django.contrib.messages.middleware.MessageMiddleware"],
        TEMPLATES=[{"BACKEND": "django.template.backends.django.DjangoTemplates", "APP_DIRS": True, "OPTIONS": {
            "context_processors": ["django.template.context_processors.request",
                                   "django.contrib.auth.context_processors.auth",
                                   "django.contrib.messages.context_processors.messages"]}}],
        DATABASES={"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": folder / "admin.sqlite3", "OPTIONS": {
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;", "transaction_mode": "IMMEDIATE"}}},
        DEFAULT_AUTO_FIELD="django.db.models.BigAutoField", STATIC_URL="/static/")
    django.setup()
    return _admin_jobs(rows, end)


def _admin_jobs(rows: list[Row], end: datetime) -> list[float]:
    from django.contrib import admin
    from django.contrib.auth.models import User
    from django.core.management import call_command
    from django.db import connection, models
    from django.test import Client

    class Entry(models.Model):
        motor = models.CharField(max_length=40, db_index=True)
        taken_at = models.DateTimeField(db_index=True)
        state = models.CharField(max_length=20)
        amps = models.FloatField(null=True, blank=True)
        de_c = models.FloatField(null=True, blank=True)
        ode_c = models.FloatField(null=True, blank=True)
        remarks = models.TextField(blank=True)

        class Meta:
            app_label = "auth"  # any installed one
            db_table = "entry"

    class Entries(admin.ModelAdmin):  # type: ignore[type-arg]
        list_display = ("motor", "taken_at", "state", "amps", "de_c", "ode_c")
        list_per_page = 200
        show_full_result_count = False

    admin.site.register(Entry, Entries)
    urlpatterns.append(_path(admin))
    call_command("migrate", verbosity=0)
    with connection.schema_editor() as editor:
        editor.create_model(Entry)
    Entry.objects.bulk_create((Entry(motor=f"M-{r.motor:04d}", taken_at=r.at, state="running", amps=max(r.amps),
                                     de_c=r.de_c, ode_c=r.ode_c) for r in rows), batch_size=5000)
    client = Client()
    client.force_login(User.objects.create_superuser("chief"))
    form = {"motor": "M-0001", "taken_at_0": f"{end:%Y-%m-%d}", "taken_at_1": f"{end:%H:%M:%S}", "state": "running",
            "amps": "81", "de_c": "60", "ode_c": "58", "remarks": ""}
    shift, week = end - timedelta(hours=8), end - timedelta(days=7)

    def save() -> None:
        assert client.post("/admin/auth/entry/add/", form).status_code == 302

    def exceptions() -> None:
        answer = client.get("/admin/auth/entry/", {"taken_at__gte": shift.isoformat(), "de_c__gt": HOT_C})
        assert answer.status_code in (200, 302)

    def export() -> None:
        text = io.StringIO()
        csv.writer(text).writerows(Entry.objects.filter(taken_at__gte=week, de_c__gt=HOT_C).values_list())

    return bests_ms(15, save, exceptions, export)


urlpatterns: list[Any] = []


def _path(admin: Any) -> Any:
    from django.urls import path

    return path("admin/", admin.site.urls)


# a workbook ------------------------------------------------------------------------------------------------


def _workbook(folder: Path, rows: list[Row], end: datetime) -> list[float]:
    """One file for the year, as it is kept on a shared drive: each job opens it, as its next user does."""
    path = folder / "year.xlsx"
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("Rounds")
    sheet.append(HEAD)
    for row in rows:
        sheet.append((f"M-{row.motor:04d}", row.at.replace(tzinfo=None), "running", max(row.amps), row.de_c, row.ode_c))
    book.save(path)

    def save() -> None:
        opened = openpyxl.load_workbook(path)
        opened.active.append(("M-0001", end.replace(tzinfo=None), "running", 81.0, 60.0, 58.0))
        opened.save(path)

    def found(since: datetime) -> list[tuple[Any, ...]]:
        opened = openpyxl.load_workbook(path, read_only=True)
        return [r for r in opened.active.iter_rows(min_row=2, values_only=True)
                if r[1] >= since.replace(tzinfo=None) and r[4] > HOT_C]

    def export() -> None:
        csv.writer(io.StringIO()).writerows(found(end - timedelta(days=7)))

    return [once_ms(save), once_ms(lambda: found(end - timedelta(hours=8))), once_ms(export)]
