"""Text that people enter is text everywhere: no mark of it becomes a tag, an attribute, a header or a statement.

Every free text column of a unit with some history is set to what an attacker would type, then every address is opened.
"""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import IntegerConverter, Rule, UUIDConverter

import seed_demo
from app import create_app
from app.config import Settings
from app.db import Database
from app.store import Base
from app.web.access import TOKEN
from tests.factories import _QUICK_HASH, form_token, try_sign_in

pytestmark = pytest.mark.slow
NOW = datetime(2026, 11, 24, 13, 40, tzinfo=UTC)
#: Out of text, out of an attribute in either quote, out of a script, into a link, into a pattern.
POISON = ("\"'><script>alert(7)</script><img src=x onerror=alert(7)> onfocus=alert(7) autofocus {{7*7}} "
          "javascript:alert(7) %s %n {0.__class__}")
#: Columns that hold what the program wrote or a word of its own, and those that people sign in by.
OURS = {"sign_in", "sign_in_key", "tag_key", "name_key", "key", "hash", "secret_hash", "pin_hash", "content", "code",
        "previous", "time_zone", "power", "vibration", "grease", "rule", "end", "priority", "kind", "cause", "state",
        "shift_name", "raised_cause", "shelved_priority", "condition_before", "smoke", "guard", "ground", "leak",
        "cleanliness", "method", "winding_method", "winding_feel", "code_letter", "insulation_class", "by_control_room",
        "vibration_feel_de", "vibration_feel_ode", "bearing_feel_de", "bearing_feel_ode", "lubricant_de",
        "lubricant_ode", "accepted_normal_feel", "de_bearing", "ode_bearing", "winding", "who", "address", "field",
        "computed", "label_key", "hp_stamped", "volts_stamped", "amps_stamped", "sfa_stamped"}
KEYS = {"motor_id": "motor", "flag_id": "flag", "round_id": "round", "person_id": "person", "dip_id": "dip",
        "trip_id": "trip", "handover_id": "handover", "state_id": "temporary_state", "route_id": "route",
        "device_id": "device", "gun_id": "grease_gun", "plate_id": "nameplate", "token_id": "token"}


@pytest.fixture(scope="module")
def poisoned(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[Database]:
    path = tmp_path_factory.mktemp("poison") / "poison.sqlite3"
    shutil.copyfile(migrated_file, path)
    database = Database(f"sqlite:///{path}")
    seed_demo.seed(database, NOW, lambda _: None, weeks=0.3)
    with database.engine.begin() as connection:
        for table in Base.metadata.sorted_tables:
            checked = " ".join(str(c.sqltext) for c in table.constraints if isinstance(c, sa.CheckConstraint))
            for column in table.columns:
                if isinstance(column.type, sa.String) and column.name not in OURS and (
                        f'"{column.name}"' not in checked and (table.name, column.name) != ("limit_change", "name")):
                    unique = "" if column.name not in ("name", "tag") else " || rowid"
                    connection.exec_driver_sql(f'UPDATE "{table.name}" SET "{column.name}" = ?{unique} '
                                               f'WHERE "{column.name}" IS NOT NULL', (POISON,))
        connection.exec_driver_sql("UPDATE person SET secret_hash = ?", (_QUICK_HASH,))
    yield database
    database.close()


@pytest.fixture(scope="module")
def app(poisoned: Database, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    settings = Settings(instance=tmp_path_factory.mktemp("instance"))
    made = create_app(replace(settings, database_url=poisoned.url.render_as_string()), clock=lambda: NOW)
    made.testing = True
    yield made
    made.extensions["database"].close()


@pytest.fixture(scope="module")
def supervisor(app: Flask) -> FlaskClient:
    client = app.test_client()
    assert try_sign_in(client, "pat", "brass lantern 4071").status_code == 303
    return client


class _Tags(HTMLParser):
    """What a browser would run of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []
        self._data = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.bad += [f"<{tag} {name}>" for name in given if name.startswith("on") or name in ("autofocus", "style")]
        self.bad += [f"<{tag} {name}={value}>" for name, value in attrs
                     if name in ("href", "src", "action") and (value or "").strip().lower().startswith("javascript:")]
        if tag == "script" and "src" not in given and given.get("type") != "application/json":
            self.bad.append("<script> without a file")
        if tag == "img" and given.get("src") == "x":
            self.bad.append("<img> of the attacker")


def run_by(text: str) -> list[str]:
    reader = _Tags()
    reader.feed(text)
    return reader.bad + (["49 out of {{7*7}}"] if "autofocus 49 " in text else [])


def test_the_reader_of_this_test_sees_what_it_looks_for() -> None:
    assert run_by(f"<p>{POISON}</p>") and run_by(f'<input value="{POISON}">') and run_by("<a href='javascript:x'>")


def addresses(app: Flask, database: Database) -> Iterator[tuple[Rule, str]]:
    """Every GET address, with up to three things of each kind in it."""
    with database.engine.connect() as connection:
        ids = {name: [row[0] for row in connection.exec_driver_sql(
            f'SELECT id FROM "{table}" ORDER BY id LIMIT 3')] for name, table in KEYS.items()}
        entries = [uuid.UUID(bytes=row[0]) for row in connection.exec_driver_sql(
            "SELECT id FROM reading ORDER BY remarks DESC LIMIT 3")]
        greasings = [uuid.UUID(bytes=row[0]) for row in connection.exec_driver_sql("SELECT id FROM greasing LIMIT 3")]
    for rule in app.url_map.iter_rules():
        if "GET" not in (rule.methods or ()) or rule.endpoint.endswith("static"):
            continue
        if getattr(app.view_functions[rule.endpoint], "allowed", None) == TOKEN:
            continue
        for i in range(3):
            values: dict[str, object] = {}
            for name, converter in rule._converters.items():
                if isinstance(converter, IntegerConverter):
                    there = ids.get(name) or [1]
                    values[name] = there[i % len(there)]
                elif isinstance(converter, UUIDConverter):
                    there_too = (greasings if "greasing" in rule.rule else entries) or [uuid.UUID(int=9)]
                    values[name] = there_too[i % len(there_too)]
                else:
                    values[name] = {"week": "2026-W48", "name": "night"}.get(name, "x")
            with app.test_request_context():
                yield rule, app.url_map.bind("localhost").build(rule.endpoint, values)
            if not rule._converters:
                break


def test_stored_text_is_never_run_on_any_page(app: Flask, poisoned: Database, supervisor: FlaskClient) -> None:
    opened, showing = 0, 0
    for rule, path in addresses(app, poisoned):
        if rule.endpoint == "accounts.set_theme":
            continue
        answer = supervisor.get(path)
        assert answer.status_code < 500, (path, answer.status_code)
        if answer.content_type.startswith("text/html"):
            text = answer.get_data(as_text=True)
            assert run_by(text) == [], path
            opened, showing = opened + 1, showing + ("alert(7)" in text)
        answer.close()
    assert opened > 60 and showing > 40


def test_what_is_asked_for_in_an_address_is_never_run_nor_put_into_a_header(
        app: Flask, poisoned: Database, supervisor: FlaskClient) -> None:
    names = ("q", "next", "area", "rule", "week", "at", "from", "to", "tag", "state", "priority", "motor", "after",
             "page", "sort", "kind", "end", "crew", "why", "show", "days", "then", "unit", "lubricant", "by")
    evil = POISON + "' OR 1=1 --\r\nX-Evil: 1\u0000../../etc/passwd%00"
    seen = set()
    for rule, path in addresses(app, poisoned):
        if rule.endpoint in seen:
            continue
        seen.add(rule.endpoint)
        answer = supervisor.get(path, query_string=dict.fromkeys(names, evil))
        assert answer.status_code < 500, (path, answer.status_code)
        assert "X-Evil" not in answer.headers and "\n" not in str(answer.headers.get("Location", ""))
        if answer.content_type.startswith("text/html"):
            assert run_by(answer.get_data(as_text=True)) == [], path
        assert b"root:" not in answer.data
        answer.close()


def test_what_is_posted_wrongly_comes_back_as_text(app: Flask, poisoned: Database, supervisor: FlaskClient) -> None:
    token = form_token(supervisor)
    for rule in app.url_map.iter_rules():
        if "POST" not in (rule.methods or ()) or rule.endpoint.startswith(("api.", "tablet", "accounts.")):
            continue
        view = app.view_functions[rule.endpoint]
        if getattr(view, "allowed", TOKEN) in (TOKEN, "anyone"):
            continue
        form = {"csrf_token": token, "id": POISON, "state": "running", **dict.fromkeys((
            "name", "remarks", "amps_1", "bearing_temp_DE", "words", "reason", "why", "tag", "service", "area", "hp",
            "volts", "amps", "serial", "lubricant", "grams", "strokes", "seen_at", "text", "action", "owner", "value",
            "cause", "found", "qualified_name", "kind", "first", "query", "expected_end", "replaces_why", "until"),
            POISON)}
        values = {name: 1 if isinstance(converter, IntegerConverter) else uuid.UUID(int=9)
                  if isinstance(converter, UUIDConverter) else "x" for name, converter in rule._converters.items()}
        with app.test_request_context():
            path = app.url_map.bind("localhost").build(rule.endpoint, values, method="POST")
        answer = supervisor.post(path, data=form)
        assert answer.status_code < 500, (path, answer.status_code)
        if answer.content_type.startswith("text/html"):
            assert run_by(answer.get_data(as_text=True)) == [], path
        answer.close()
