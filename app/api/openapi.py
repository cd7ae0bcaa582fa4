"""The door's own description, /api/v1/openapi.json."""

from __future__ import annotations

from typing import Any

from flask import jsonify

from app import VERSION
from app.api.door import bp


def document() -> dict[str, Any]:
    return {"openapi": "3.1.0", "info": {"title": "Motor Round Sheet", "version": VERSION}, "paths": {}}


@bp.get("/openapi.json")
def get_openapi() -> Any:
    return jsonify(document())


get_openapi.allowed = "anyone"  # type: ignore[attr-defined]
