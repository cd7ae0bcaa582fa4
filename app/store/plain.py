"""A session whose transaction begins on the driver's own connection: a save mostly needs no more.

The engine's connection and transaction, put together anew for each save, cost a twentieth of it. Prepared statements
(app/store/prepared.py) do without; where models are loaded or stored in the same transaction, the session gets the
engine's connection over the same one of the driver. Whoever listens to the engine's or the session's events hears of
begin and commit as ever, and what goes wrong is told in the engine's words.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NoReturn

from sqlalchemy.engine import Connection, Dialect, Engine
from sqlalchemy.orm import Session

if TYPE_CHECKING:
    from app.store.together import Together

#: For the engine's own begin: the transaction has begun already.
BEGUN = "sqlite_begun"


class Plain:
    """A transaction on a connection of the driver's. It has what a prepared statement and a listener ask of the
    engine's connection: `connection`, `engine`, `dialect`, `info`, `get_execution_options`, `exec_driver_sql`."""

    def __init__(self, engine: Engine) -> None:
        self.engine, self.dialect = engine, engine.dialect
        self._whole: Connection | None = None
        self.connection: Any = engine.raw_connection()
        try:
            for listener in engine.dispatch.begin:
                listener(self)
        except BaseException:
            self.let_go()
            raise

    @property
    def info(self) -> Any:
        return self.connection.info

    def get_execution_options(self) -> Mapping[str, Any]:
        return self.engine.get_execution_options()

    def exec_driver_sql(self, text: str, values: Any = ()) -> Any:
        cursor = self.connection.cursor()
        try:
            return cursor.execute(text, values)
        except self.dialect.loaded_dbapi.Error as error:
            fail(self, error, text, values)

    def whole(self) -> Connection:
        """The engine's connection over this one, for a session."""
        if self._whole is None:
            self._whole = Connection(self.engine, self.connection).execution_options(**{BEGUN: True})
        return self._whole

    @property
    def is_the_sessions(self) -> bool:
        """A session works in the transaction as well, and ends it."""
        return self._whole is not None and self._whole.in_transaction()

    def commit(self) -> None:
        for listener in self.engine.dispatch.commit:
            listener(self)
        try:
            self.connection.commit()
        except self.dialect.loaded_dbapi.Error as error:
            fail(self, error)

    def let_go(self) -> None:
        """Gives the connection back; what was not committed is undone."""
        (self._whole or self.connection).close()


def fail(connection: Connection | Plain, error: Exception, text: str | None = None, values: Any = None) -> NoReturn:
    """Raises the driver's error in the engine's words, as where a statement or a commit of its own fails; a connection
    that broke is given up."""
    whole = connection.whole() if isinstance(connection, Plain) else connection
    whole._handle_dbapi_exception(error, text, values, None, None)


class PlainSession(Session):
    """Begins plainly with its first prepared statement, else as any session."""

    _plain: Plain | None = None
    #: the thread's, where it stores several saves by one commit
    together: Together | None = None

    @property
    def begun_plainly(self) -> Plain | None:
        """The transaction that it has begun for prepared statements, if any."""
        return self._plain

    def plain(self) -> Plain | None:
        """The transaction for prepared statements; None where models were first, or a part that may be undone by itself
        begins with the next statement."""
        if self.in_nested_transaction():
            return None
        if self._plain is None and not self.in_transaction() and isinstance(self.bind, Engine):
            self._plain = Plain(self.bind) if self.together is None else self.together.begin(self.bind)
        return self._plain

    def get_bind(self, *asked: Any, **more: Any) -> Any:
        if self._plain is not None:
            return self._plain.whole()
        if self.together is not None:
            self.together.only_alone()
        return super().get_bind(*asked, **more)

    def commit(self) -> None:
        plain = self._plain
        if plain is None:
            return super().commit()
        if self.in_transaction():
            self.flush()
        if plain.is_the_sessions:
            super().commit()
        else:
            plain.commit()
            self.dispatch.after_commit(self)
            super().rollback()  # nothing was begun in it
        self._let_go()

    def rollback(self) -> None:
        super().rollback()
        self._let_go()

    def close(self) -> None:
        super().close()
        self._let_go()

    def _let_go(self) -> None:
        plain, self._plain = self._plain, None
        if plain is not None:
            plain.let_go()


def dialect_of(session: Any) -> Dialect:
    """Asked without beginning anything."""
    return (session.bind or session.get_bind()).dialect  # type: ignore[no-any-return]
