"""Things of several kinds in one statement: each kind is an arm of a union, and what it has not is NULL."""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa


def arm(columns: Mapping[str, Any], model: Any, kind: str, **given: Any) -> sa.Select[Any]:
    """One kind. columns: every arm's columns after `kind`, by name, with their types; given: those that it has."""
    missing = {name: sa.cast(sa.null(), type_) for name, type_ in columns.items() if name not in given}
    held = missing | given
    return sa.select(sa.literal(kind).label("kind"), *(held[name].label(name) for name in columns)).select_from(model)


def line_of(columns: Iterable[str]) -> Any:
    """What a row of such a union is read as: a named tuple of `kind` and the columns."""
    return namedtuple("Line", ("kind", *columns))
