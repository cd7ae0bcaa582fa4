"""What a tablet has to fetch: a fresh sheet of sixty motors with every page of the route, and one later page."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient

from app.db import Database
from tests.factories import Plant, make_motor, sign_in

pytestmark = pytest.mark.slow
STATIC = Path(__file__).resolve().parents[2] / "app" / "static"
GZIP = {"Accept-Encoding": "gzip"}


@pytest.fixture
def operator(client: FlaskClient, plant: Plant, app_database: Database) -> FlaskClient:
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        for i in range(2, 61):
            make_motor(session, unit, f"P-{100 + i}", route_order=float(i), service=f"pump {i} of the long walk",
                       area=("Feed", "Evaporators", "Cooling tower")[i % 3])
        session.commit()
    sign_in(client, plant.operator)
    client.get("/sheet")
    return client


def weight(client: FlaskClient, path: str) -> int:
    answer = client.get(path, headers=GZIP)
    assert answer.status_code == 200, path
    size = len(answer.data)
    answer.close()
    return size


def test_a_fresh_sheet_with_all_its_pages_stays_under_300_kb_and_a_later_page_under_25(operator: FlaskClient) -> None:
    whole = weight(operator, "/sheet") + weight(operator, "/tablet/shift") + weight(operator, "/sw.js")
    following: int | None = 0
    pages = 0
    while following is not None:
        answer = operator.get(f"/tablet/pages?from={following}", headers=GZIP)
        whole += len(answer.data)
        told = operator.get(f"/tablet/pages?from={following}").get_json()
        pages, following = pages + len(told["pages"]), told["next"]
    assert pages >= 60 * 3  # at each motor: the entry, skipping, starting
    for path in sorted(STATIC.rglob("*")):  # more than the walk needs: every style and script there is
        if path.suffix in (".css", ".js", ".svg"):
            whole += weight(operator, f"/static/{path.relative_to(STATIC)}")
    whole += weight(operator, "/judge/rules.json")
    assert whole <= 300_000
    for path in ("/motors/2/entry", "/sheet", "/motors/2/start", "/dips", "/lubrication", "/motors/2"):
        assert weight(operator, path) <= 25_000
