"""The door's own description, /api/v1/openapi.json: made from the routes and what stands beside each of them."""

from __future__ import annotations

import re
from typing import Any

from flask import current_app, jsonify, request
from werkzeug.routing import Rule

from app import VERSION
from app.api import schema
from app.api.door import bp
from app.api.problems import TITLES
from app.api.schema import Schema, ref

READS = (400, 401, 404, 429, 503)
RECORDS = (400, 401, 403, 409, 413, 415, 422, 429, 503)
ABOUT = ("Control-room values in, reports out, for one process unit. SI units, the unit in each name. A token belongs "
         "to one unit and is slowed, never refused, when it asks too fast. The tool advises and keeps records; it "
         "never says that a motor is safe to work on.")


def document() -> dict[str, Any]:
    """The OpenAPI 3.1 description of every route of the door."""
    paths: dict[str, dict[str, Any]] = {}
    for rule in current_app.url_map.iter_rules():
        if rule.endpoint.startswith("api."):
            view = current_app.view_functions[rule.endpoint]
            path = re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule).removeprefix(bp.url_prefix or "")
            for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
                paths.setdefault(path, {})[method.lower()] = operation(rule, view)
    return {"openapi": "3.1.0", "info": {"title": "Motor Round Sheet", "version": VERSION, "description": ABOUT},
            "servers": [{"url": request.script_root + (bp.url_prefix or "")}], "security": [{"token": []}],
            "paths": {path: paths[path] for path in sorted(paths)},
            "components": {"schemas": schema.NAMED, "securitySchemes": {"token": {
                "type": "http", "scheme": "bearer", "description": "A unit's token; scope read, or record, which "
                                                                   "includes read."}}}}


def operation(rule: Rule, view: Any) -> dict[str, Any]:
    """One route: its parameters, its body, its answers."""
    told: dict[str, Any] = {"operationId": rule.endpoint.partition(".")[2], "summary": _first_line(view),
                            "parameters": _parameters(rule, view), "responses": _answers(view)}
    if getattr(view, "scope", None) is None:
        return {**told, "security": [], "responses": {"200": _answer("This description", {"type": "object"})}}
    if view.takes is not None:
        body = {"anyOf": [view.takes, {"type": "array", "maxItems": view.most, "items": view.takes}]}
        told["requestBody"] = {"required": True, "content": {"application/json": {"schema": body}}}
    return told


def _first_line(view: Any) -> str:
    return (view.__doc__ or "").strip().partition("\n")[0]


def _parameters(rule: Rule, view: Any) -> list[dict[str, Any]]:
    in_path = [{"name": name, "in": "path", "required": True, "schema": {"type": "string", "minLength": 1},
                "description": "As typed in the register, percent-encoded."} for name in sorted(rule.arguments)]
    needed = getattr(view, "needed", ())
    shapes = {**schema.PARAMETERS, **getattr(view, "shapes", {})}
    return in_path + [{"name": name, "in": "query", "required": name in needed, "schema": shapes[name]}
                      for name in getattr(view, "query", ())]


def _answers(view: Any) -> dict[str, Any]:
    problem = {status: _problem(status) for status in (RECORDS if getattr(view, "takes", None) else READS)}
    given: dict[int, Any] = {200: _answer("As asked", getattr(view, "gives", None) or {})}
    if getattr(view, "takes", None):
        items = {"type": "array", "items": {"anyOf": [ref("Recorded"), ref("Refused")]}}
        given = {200: _answer("It was there already; for a list, one answer an item in order",
                              {"anyOf": [ref("Recorded"), items]}),
                 201: _answer("Stored and judged", ref("Recorded"))}
    return {str(status): told for status, told in {**given, **problem}.items()}


def _answer(about: str, shape: Schema, kind: str = "application/json") -> dict[str, Any]:
    return {"description": about, "content": {kind: {"schema": shape}}}


def _problem(status: int) -> dict[str, Any]:
    return _answer(TITLES[status], ref("Problem"), "application/problem+json")


@bp.get("/openapi.json")
def get_openapi() -> Any:
    """This description."""
    return jsonify(document())


get_openapi.allowed = "anyone"  # type: ignore[attr-defined]
