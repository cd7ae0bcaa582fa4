"""Tags that spreadsheets, addresses and programs like to change survive import, pages, links, export and re-import."""

from __future__ import annotations

import csv
import html
import io
import re
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient

from app.db import Database
from app.store.motors import motors_of
from app.store.people import Token
from app.web.access import hashed
from tests.conftest import on_both
from tests.factories import NOW, Plant, form_token, make_motor, sign_in

TAGS = ("1E05", "3-4", "007", "P‑101B", "Pumpe №2", "a/b?c#d", "=1+1", "<b>&\"'", "'q")
PAGES = ("/sheet", "/motors", "/register", "/register/routes/own", "/register/labels", "/sheet/paper?paper=a4",
         "/sheet/paper/entries", "/lubrication/chart", "/dips")


@on_both
def test_hard_tags_survive_import_pages_links_export_and_coming_back(client: FlaskClient, app_database: Database,
                                                                     plant: Plant) -> None:
    sign_in(client, plant.supervisor)
    out = io.StringIO(newline="")
    csv.writer(out).writerows([["tag", "area"], *([("'" + t if t[0] in "='" else t), "North"] for t in TAGS)])

    def send(data: bytes) -> str:
        return client.post("/register/import", data={
            "csrf_token": form_token(client), "file": (io.BytesIO(data), "a.csv")}).get_data(as_text=True)

    page = send(out.getvalue().encode())
    fields = dict(re.findall(r'name="(file|shown)" value="([^"]*)"', page))
    assert client.post("/register/import/confirm",
                       data={"csrf_token": form_token(client), **fields}).status_code == 303
    with app_database.reading() as session:
        ids = {m.tag: m.id for m in motors_of(session, plant.unit.id)}
    assert set(ids) == {*TAGS, "P-101A"}
    for path in PAGES:
        answer = client.get(path)
        text = html.unescape(answer.get_data(as_text=True))
        assert answer.status_code == 200 and [t for t in TAGS if t not in text] == [], path
    for tag, key in ids.items():
        for path in (f"/motors/{key}", f"/motors/{key}/entry", f"/register/{key}", f"/register/{key}/swap"):
            answer = client.get(path)
            assert answer.status_code == 200 and html.escape(tag, quote=False).replace("'", "&#39;").replace(
                '"', "&#34;") in answer.get_data(as_text=True), path
    exported = client.get("/register/register.csv").data
    again = send(exported)
    assert "The file holds nothing new" in again and '<b>10</b> unchanged' in again
    assert {row["tag"] for row in csv.DictReader(io.StringIO(exported.decode("utf-8-sig")))} == {
        "P-101A", *(("'" + t if t[0] in "='" else t) for t in TAGS)}


@pytest.mark.parametrize("tag", TAGS)
def test_a_hard_tag_is_found_percent_encoded_at_the_door(client: FlaskClient, app_database: Database, plant: Plant,
                                                         tag: str) -> None:
    with app_database.writing() as session:
        make_motor(session, session.merge(plant.unit), tag)
        session.add(Token(unit_id=plant.unit.id, name="reports", scope="read", hash=hashed("secret"), created_at=NOW))
        session.commit()
    answer = client.get(f"/api/v1/motors/{quote(tag, safe='')}", headers={"Authorization": "Bearer secret"})
    assert answer.status_code == 200 and answer.get_json()["tag"] == tag
