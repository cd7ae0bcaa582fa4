"""A control-room system at the JSON door: a client that sends its token with everything."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from app import guessing
from app.api.pace import Pace
from app.store.people import Token
from app.store.units import Unit
from tests import factories

BASE = "/api/v1"
PROBLEM = "application/problem+json"


def make_token(app: Flask, unit: Unit, scope: str = "record", name: str | None = None) -> str:
    """A new token of a unit, in clear."""
    clear = guessing.new_token()
    with app.extensions["database"].writing() as session:
        session.add(Token(unit_id=unit.id, name=name or f"{scope} {clear[-6:]}", scope=scope,
                          hash=guessing.hash_token(clear), created_at=factories.LONG_AGO))
        session.commit()
    return clear


def pages_hold(monkeypatch: pytest.MonkeyPatch, rows: int) -> None:
    """So many rows are a page of the door's lists."""
    monkeypatch.setattr("app.api.door.PAGE", rows)
    monkeypatch.setattr("app.api.lists.PAGE", rows)


class Door:
    """Asks and tells by token."""

    def __init__(self, app: Flask, token: str) -> None:
        app.extensions["token_pace"] = Pace(per_second=100_000.0)  # the pace has tests of its own
        self.client, self.token = app.test_client(), token

    @property
    def headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}"}

    def get(self, path: str, **query: Any) -> TestResponse:
        return self.client.get(BASE + path, query_string=query or None, headers=self.headers)

    def told(self, path: str, **query: Any) -> Any:
        """The answer of something that is there."""
        answer = self.get(path, **query)
        assert answer.status_code == 200, answer.get_data(as_text=True)
        return answer.get_json()

    def motor(self, tag: str) -> TestResponse:
        return self.get("/motors/" + quote(tag, safe=""))

    def post(self, path: str, body: Any, **options: Any) -> TestResponse:
        return self.client.post(BASE + path, json=body, headers=self.headers, **options)

    def raw(self, path: str, data: bytes | str, content_type: str = "application/json") -> TestResponse:
        return self.client.post(BASE + path, data=data, content_type=content_type, headers=self.headers)

    def send(self, body: dict[str, Any], path: str = "/readings") -> dict[str, Any]:
        """The answer to an entry that is stored."""
        answer = self.post(path, body)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        return dict(answer.get_json())

    def findings(self, body: dict[str, Any], path: str = "/readings") -> dict[tuple[str, str | None], str]:
        """Rule and end -> priority, of an entry that is stored."""
        return {(f["rule"], f["end"]): f["priority"] for f in self.send(body, path)["findings"]}


def fields_of(answer: TestResponse, status: int = 422) -> list[str]:
    """The fields that a problem names."""
    assert answer.status_code == status, answer.get_data(as_text=True)
    assert answer.content_type == PROBLEM
    told = answer.get_json()
    assert {"type", "title", "status", "detail"} <= set(told) and told["status"] == status
    return [error["field"] for error in told.get("errors", [])]
