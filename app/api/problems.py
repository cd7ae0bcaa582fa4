"""Errors of the JSON door: RFC 9457 problem details, naming the field."""

from __future__ import annotations

from typing import Any

from flask import Response, jsonify

from app.entries import BadEntry, Problem

TITLES = {
    400: "This request cannot be read", 401: "A token is needed", 403: "This token may not do that",
    404: "Not found here", 405: "Not this way", 409: "Known with other content",
    413: "Too much at once", 415: "Send JSON",
    422: "Fields to put right", 429: "Too many wrong tokens", 500: "The server failed",
    503: "The data cannot be reached or written now",
}


class Refused(Exception):
    """A request that is answered with a problem."""

    def __init__(self, status: int, detail: str, problems: list[Problem] | None = None,
                 headers: dict[str, str] | None = None) -> None:
        super().__init__(detail)
        self.status, self.detail, self.problems, self.headers = status, detail, problems or [], headers or {}
        self.title = TITLES.get(status, "This did not work")
        self.about: str | None = None  # the id of the entry it is about, where the sender must know

    def body(self) -> dict[str, Any]:
        told: dict[str, Any] = {"type": "about:blank", "title": self.title, "status": self.status,
                                "detail": self.detail, **({"id": self.about} if self.about else {})}
        if self.problems:
            told["errors"] = [{"field": p.field, "detail": p.says} for p in self.problems]
        return told

    def response(self) -> Response:
        answer = jsonify(self.body())
        answer.status_code = self.status
        answer.content_type = "application/problem+json"
        answer.headers.update(self.headers)
        return answer


def bad_fields(error: BadEntry) -> Refused:
    return Refused(422, str(error), error.problems)


def bad_parameter(name: str, says: str) -> Refused:
    return Refused(400, f"{name}: {says}", [Problem(name, says)])
