"""The rule table as data, for the script that judges at the motor while there is no network."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, jsonify

from app.rules.rule_table import rule_table
from app.web.access import ANYONE, allow

bp = Blueprint("judge", __name__)


@bp.get("/judge/rules.json")
@allow(ANYONE)
def rules() -> Any:
    """Words and names only, the same for every unit; the address carries its version, so it may be kept."""
    answer = jsonify(rule_table())
    answer.cache_control.public = True
    answer.cache_control.max_age = 30 * 24 * 3600
    return answer
