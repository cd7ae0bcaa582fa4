"""Several saves of one thread, stored by one commit.

A commit waits for the disk, and writes a page for every table and index that a save touches; saves one behind the
other touch the same ones. Each is a part that may be undone by itself, and none may be told as stored before
`settle`. Only what is plain (app/store/plain.py) is stored so: who needs models, or is refused by the database, while
others' parts wait, raises Alone, and is answered again by itself.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy.engine import Connection, Engine
from sqlalchemy.exc import DBAPIError

from app.store.plain import Plain

#: For the engine's begin: of this transaction parts may be undone.
IN_PARTS = "sqlite_in_parts"


class Alone(BaseException):
    """What is answered now needs a transaction of its own. No Exception: no answer is made of it."""


class Together:
    """One transaction at a time, for one thread. writer: held while there is one."""

    def __init__(self, writer: threading.Lock) -> None:
        self._writer, self._is_writer, self._writing = writer, False, False
        self._plain: Plain | None = None
        self._parts, self._of_this = 0, False
        #: parts that were kept are gone: whoever is to be told of them has to be answered anew
        self.lost = False

    @property
    def waits(self) -> bool:
        """Whether parts were kept that no commit has put on the disk."""
        return self._parts > 0

    @property
    def at_hand(self) -> Any:
        """The connection on which others' parts wait, to look at what no entry changes; None where none wait."""
        return self._plain.connection if self._plain is not None and self.waits else None

    def next_one(self) -> None:
        """What comes now is somebody else's, who has been told of nothing yet."""
        self._of_this = False

    # for the database --------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def writing(self) -> Iterator[None]:
        """The turn to write is kept as long as parts wait."""
        if not self._is_writer:
            self._is_writer = self._writer.acquire()
        self._writing = True
        try:
            yield
        finally:
            self._writing = False
            self._let_others_write()

    def own_first(self) -> None:
        """Before a look at the database: who has stored something sees it there. Raises what `settle` raises."""
        if self._of_this:
            self.settle()

    def settle(self) -> None:
        """The commit. Raises what the engine tells: then all that was kept is lost."""
        plain, waits = self._plain, self.waits
        if plain is None or not waits:
            return
        self._plain, self._parts = None, 0
        lost_before, self.lost = self.lost, True
        try:
            plain.commit()
            self.lost = lost_before
        finally:
            plain.let_go()
            self._let_others_write()

    def end(self) -> None:
        """Whatever no commit has put on the disk is undone."""
        if self._plain is not None:
            self._forget(self._plain)
        self._let_others_write()

    def _let_others_write(self) -> None:
        if self._is_writer and not self._writing and self._plain is None:
            self._is_writer = False
            self._writer.release()

    # for a session -----------------------------------------------------------------------------------------

    def begin(self, engine: Engine) -> Part:
        """Raises Alone once something is lost: what is stored after it would be told beside what is not."""
        if self.lost:
            raise Alone
        self.own_first()
        if self._plain is None:
            self._plain = _InParts(engine)
        else:
            self._plain.exec_driver_sql("SAVEPOINT part")
        return Part(self, self._plain)

    def only_alone(self) -> None:
        """Raises Alone where others' parts wait, or are lost."""
        if self.waits or self.lost:
            raise Alone

    def keep(self, plain: Plain) -> None:
        if self.waits:
            plain.exec_driver_sql("RELEASE part")
        self._parts += 1
        self._of_this = True

    def undo(self, plain: Plain) -> None:
        """A part that was not kept. Where the database has given up the whole transaction, the others' are lost."""
        try:
            if self.waits and plain.connection.driver_connection.in_transaction:
                plain.exec_driver_sql("ROLLBACK TO part")
                plain.exec_driver_sql("RELEASE part")
                return
        except DBAPIError:  # then nothing of it can be told from the rest
            pass
        self._forget(plain)

    def _forget(self, plain: Plain) -> None:
        self.lost = self.lost or self.waits
        self._plain, self._parts = None, 0
        plain.let_go()


class _InParts(Plain):
    """The transaction of all of them."""

    def get_execution_options(self) -> Mapping[str, Any]:
        return {**super().get_execution_options(), IN_PARTS: True}


class Part(Plain):
    """One save among them, in a session the transaction it has to itself."""

    def __init__(self, together: Together, plain: Plain) -> None:
        self.engine, self.dialect, self.connection = plain.engine, plain.dialect, plain.connection
        self._together, self._shared, self._kept = together, plain, False

    def whole(self) -> Connection:
        """Raises Alone where others' parts wait: what a session of models undoes, it undoes whole."""
        self._together.only_alone()
        return self._shared.whole()

    @property
    def is_the_sessions(self) -> bool:
        return self._shared.is_the_sessions

    def commit(self) -> None:
        self._together.keep(self._shared)
        self._kept = True

    def let_go(self) -> None:
        if not self._kept:
            self._together.undo(self._shared)
