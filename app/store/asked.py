"""A page's parts ask for the same thing without knowing of each other: in one reading session it is looked up once."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

Query = TypeVar("Query", bound=Callable[..., Any])

#: Where a session that only reads keeps what it was asked. Without it, as in one that writes, nothing is kept.
ASKED = "asked"


def once(query: Query) -> Query:
    """A named query whose answer a reading session keeps. A list is handed out as a copy: who asked may change it."""

    @wraps(query)
    def ask(session: Any, *args: Any, **named: Any) -> Any:
        kept = session.info.get(ASKED)
        if kept is None:
            return query(session, *args, **named)
        key = (query, args, tuple(sorted(named.items())))
        if key not in kept:
            kept[key] = query(session, *args, **named)
        answer = kept[key]
        return list(answer) if isinstance(answer, list) else answer

    return ask  # type: ignore[return-value]
