"""How the program itself stands: the page, the metrics for those with a token, and a log without private text."""

from __future__ import annotations

import json
import logging
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from prometheus_client.parser import text_string_to_metric_families

from app import create_app, running_state
from app.config import Settings
from app.db import Database
from app.web.request_log import JsonLine
from tests import factories
from tests.api.door import make_token
from tests.conftest import Clock
from tests.factories import NOW, Plant, post_form, sign_in, try_sign_in
from tests.web.at_motor import words_of


def test_waiting_entries_and_clocks_that_are_off_are_counted(client: FlaskClient, plant: Plant,
                                                             app_database: Database) -> None:
    with app_database.writing() as session:
        motor = session.merge(plant.motor)
        at_once = factories.make_reading(session, motor, plant.operator, NOW - timedelta(hours=1))
        waited = factories.make_reading(session, motor, plant.operator, NOW - timedelta(hours=5))
        waited.received_at = NOW - timedelta(hours=1)
        at_once.taken_at_device = at_once.taken_at - timedelta(minutes=7)
        factories.make_reading(session, motor, plant.operator, NOW - timedelta(hours=30))
        session.commit()
    page = words_of(sign_in(client, plant.supervisor).get("/settings/running"))
    assert "Entries received 2, the last" in page
    assert "Waited over 30 min on a tablet 1, the longest 4 h" in page
    assert "Tablet clocks over 2 min off 1 entry, the furthest by 7 min" in page
    assert "Last copy of the data never" in page


def test_the_last_copy_is_told(client: FlaskClient, plant: Plant, settings: Settings) -> None:
    running_state.note_copy(settings.instance, NOW - timedelta(hours=5), Path("/backup/x"), 12)
    assert "5 h ago" in words_of(sign_in(client, plant.supervisor).get("/settings/running"))


def test_there_are_no_metrics_unless_the_settings_say_so(client: FlaskClient) -> None:
    assert client.get("/metrics").status_code == 404


def test_metrics_are_for_a_token_and_read_by_prometheus_own_reader(app: Flask, plant: Plant, settings: Settings,
                                                                   app_database: Database, clock: Clock) -> None:
    token = make_token(app, plant.unit, "read")
    url = app_database.url.render_as_string(hide_password=False)
    watched = create_app(replace(settings, database_url=url, metrics=True), clock=clock).test_client()
    assert watched.get("/metrics").status_code == 401
    answer = watched.get("/metrics", headers={"Authorization": f"Bearer {token}"})
    families = {f.name: f for f in text_string_to_metric_families(answer.get_data(as_text=True))}
    assert families["round_sheet_requests"].samples[0].value == 1
    assert families["round_sheet_last_copy_age_seconds"].samples[0].value == -1


def test_the_answer_and_the_log_carry_the_same_id_and_nothing_private(client: FlaskClient, plant: Plant,
                                                                     caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, logger="round_sheet"):
        try_sign_in(client, "operator", "a secret nobody has")
        answer = sign_in(client, plant.operator).get("/motors?q=grumbling+pump")
    lines = [json.loads(JsonLine().format(record)) for record in caplog.records if record.name == "round_sheet"]
    assert lines[-1]["request_id"] == answer.headers["X-Request-Id"]
    assert (lines[-1]["path"], lines[-1]["status"], lines[-1]["person"]) == ("/motors", 200, plant.operator.id)
    told = json.dumps(lines)
    for private in ("a secret nobody has", factories.SECRET, "Operator", "grumbling"):
        assert private not in told


def told(caplog: pytest.LogCaptureFixture) -> list[tuple[str, str | None, int | None]]:
    """Event, how and about whom of each line about access since the last time; none holds what is nobody's business."""
    records = [r for r in caplog.records if r.name == "round_sheet.access"]
    lines = [json.loads(JsonLine().format(record)) for record in records]
    for private in ("a secret nobody has", "nobody-here", factories.SECRET, "Operator", "483920", "17 grey herons"):
        assert private not in json.dumps(lines)
    assert [line for line in lines if not line["at"].endswith("+00:00") or line["from"] != "127.0.0.1"] == []
    caplog.clear()
    return [(line["event"], line.get("how"), line.get("about")) for line in lines]


def test_the_log_says_who_came_in_who_was_refused_and_what_changed_about_who_may(
        app: Flask, client: FlaskClient, plant: Plant, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, logger="round_sheet.access")
    who = plant.operator.id
    try_sign_in(client, "operator", "a secret nobody has")
    try_sign_in(client, "nobody-here\n{}", "a secret nobody has")
    try_sign_in(client, "operator", factories.SECRET)
    assert told(caplog) == [("wrong secret", "name and secret", who), ("wrong secret", "name and secret", None),
                            ("signed in", "name and secret", who)]
    client.get("/settings")
    client.post("/sign-out", data={"csrf_token": "forged"})
    post_form(client, "/sign-out", {})
    assert told(caplog) == [("refused", "403", None), ("form without its token", None, None),
                            ("signed out", "every desk", None)]
    app.test_client().get("/api/v1/motors", headers={"Authorization": "Bearer wrong"})
    assert told(caplog) == [("refused", "401", None)]
    boss = sign_in(app.test_client(), plant.supervisor)
    assert told(caplog) == [("signed in", "name and secret", plant.supervisor.id)]
    post_form(boss, f"/settings/people/{who}", {
        "name": "Operator", "role": "head operator", "state": "active", "secret": "17 grey herons",
        "again": "17 grey herons", "units": str(plant.unit.id), "offered": str(plant.unit.id)})
    assert told(caplog) == [("person changed", "role", who), ("person changed", "secret", who)]
    post_form(boss, f"/settings/people/{who}/pin", {"secret": "483920", "again": "483920"})
    assert told(caplog) == [("person changed", "PIN", who)]
    post_form(boss, "/settings/tablets", {"name": "Operator's", "idle_min": "10"})
    assert told(caplog)[0][:2] == ("tablet changed", "enrolled")


def test_a_failed_statement_leaves_what_was_typed_out_of_the_log(app_database: Database) -> None:
    with pytest.raises(Exception, match="hidden") as caught, app_database.engine.begin() as connection:
        connection.exec_driver_sql("INSERT INTO note (no_such_column) VALUES (?)", ("smells odd to Casey",))
    assert "smells odd" not in str(caught.value)


def test_an_id_from_outside_is_not_taken_without_a_proxy_of_ours(client: FlaskClient) -> None:
    assert client.get("/livez", headers={"X-Request-Id": "forged-12345678"}).headers["X-Request-Id"] != (
        "forged-12345678")
