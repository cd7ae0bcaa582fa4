"""What was made of rows, kept: read again unchanged, they are not made into things again.

What a save or a page must know (who asks, the motors with plate and chart, the last readings) is mostly what it was
before. `Kept` keeps what was made of rows under the rows themselves: other content is another key, whichever server or
process wrote it; `Newest` keeps it under the thing's number beside its rows, and compares. Nothing is ever kept by a
number or a time alone, but for earlier readings: they are added and never changed, so id and receipt say all
(app/store/earlier_readings.py).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Generic, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy.orm import Session

Made = TypeVar("Made")


class Kept(Generic[Made]):
    """What was made of rows, by the rows themselves. At most so many; then it begins again."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._made: dict[Any, Made] = {}

    def of(self, key: Any, make: Callable[[], Made]) -> Made:
        """What was made of these rows, made now when they were not seen before. Shared: it must not be changed."""
        made = self._made.get(key)
        if made is None:
            if len(self._made) >= self._most:
                self._made.clear()
            made = self._made[key] = make()
        return made

    def these(self, keys: Iterable[Any]) -> list[Made] | None:
        """What was made under these keys; None where one is missing."""
        try:
            return [self._made[key] for key in keys]
        except KeyError:
            return None

    def last_of(self, keys: Sequence[Any]) -> list[Made]:
        """What was made under the last of these keys, as far back as none is missing."""
        found: list[Made] = []
        for key in reversed(keys):
            made = self._made.get(key)
            if made is None:
                break
            found.insert(0, made)
        return found


class Newest(Generic[Made]):
    """What was made of a thing's rows, by the thing's number and for as long as its rows are the same. A page that
    lists a hundred things compares theirs quicker than it would look them up by all that they hold, as `Kept` does.
    At most so many; then it begins again."""

    def __init__(self, most: int) -> None:
        self._most = most
        #: by database: two in one process number their things alike
        self._held: WeakKeyDictionary[object, dict[Any, tuple[Any, Made]]] = WeakKeyDictionary()

    def each(self, session: Session, things: Iterable[tuple[Any, Any]], make: Callable[[Any], Made]) -> list[Made]:
        """things: number and rows of each. What was made of its rows, made now where they are others than before.
        Shared: it must not be changed."""
        bind = session.bind or session.get_bind()
        held = self._held.get(bind)
        if held is None:
            held = self._held.setdefault(bind, {})
        return [one[1] if (one := held.get(number)) is not None and one[0] == rows
                else self._new(held, number, rows, make) for number, rows in things]

    def _new(self, held: dict[Any, tuple[Any, Made]], number: Any, rows: Any, make: Callable[[Any], Made]) -> Made:
        if len(held) >= self._most:
            held.clear()
        made = make(rows)
        held[number] = rows, made
        return made
