"""Statements asked at every save: put together once, and their rows given as the driver has them.

A row of thirty columns costs the driver a few millionths of a second and the mapper a hundred times that. What is made
of such rows is kept (app/store/kept.py), and not made again while they are read unchanged.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from typing import Any, Generic, NamedTuple, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Dialect, Engine
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from app.store.plain import Plain, PlainSession, dialect_of, fail

Row = tuple[Any, ...]
Convert = Callable[[Any], Any] | None
Made = TypeVar("Made")
Entity = TypeVar("Entity")

#: Statements are put together one after the other. What two of them share (models, aliases) fills in parts of itself
#: when it is first used; of threads that did so at once after a start, one found a join that could not be and failed.
_PUTTING_TOGETHER = threading.RLock()


class _Compiled:
    """The statement's text in one database's dialect, with what turns values into the driver's and back."""

    def __init__(self, statement: Any, dialect: Dialect) -> None:
        compiled = statement.compile(dialect=dialect)
        self.text = str(compiled)
        self.said: set[str] = set()
        self.order: Sequence[str] | None = compiled.positiontup
        self.fixed: dict[str, Any] = {name: value for name, value in compiled.params.items() if value is not None}
        if self.order is None:
            self._say_numbers()
        bind: dict[str, Convert] = {
            name: _bind_processor(bound.type, dialect)
            for bound, name in compiled.bind_names.items() if name not in self.said}
        self.bind = list(bind.items())
        #: of a text that names each value once, in its order
        self.in_order = [(name, bind[name]) for name in self.order or ()] if len(self.order or ()) == len(bind) else []
        self.gives_rows = isinstance(statement, sa.SelectBase)
        self._types = [c.type for c in statement.selected_columns] if self.gives_rows else []
        self.back: list[tuple[int, Callable[[Any], Any]]] | None = None

    def _say_numbers(self) -> None:
        """Whole numbers that stand in the statement (how many, above all) become words of its text. Of "the newest $7"
        PostgreSQL knows nothing: the longer the history, the dearer it takes the plan for any $7 to be, and from some
        length on it plans the statement anew each time it is asked."""
        self.said = {name for name, value in self.fixed.items() if type(value) is int}
        for name in self.said:
            self.text = self.text.replace(f"%({name})s", str(self.fixed.pop(name)))

    def learn_back(self, dialect: Dialect, described: Sequence[Any]) -> None:
        """Which columns are turned back and how, once the driver has told what it gives (PEP 249 `description`)."""
        how = [type_.dialect_impl(dialect).result_processor(dialect, told[1])
               for type_, told in zip(self._types, described, strict=True)]
        self.back = [(place, convert) for place, convert in enumerate(how) if convert is not None]

    def values(self, given: dict[str, Any]) -> Any:
        whole = self.fixed | given if self.fixed else given
        if self.in_order:
            return tuple([whole[name] if convert is None else convert(whole[name])
                          for name, convert in self.in_order])
        turned = {name: whole[name] if convert is None else convert(whole[name]) for name, convert in self.bind}
        return turned if self.order is None else tuple([turned[name] for name in self.order])


def _bind_processor(type_: Any, dialect: Dialect) -> Convert:
    """How a value is turned for the driver. JSON is mostly empty: said once, not written out at every save."""
    convert: Convert = type_.dialect_impl(dialect).bind_processor(dialect)
    if convert is None or not isinstance(type_, sa.JSON):
        return convert
    nothing, empty = convert(None), convert({})
    return lambda value: nothing if value is None else empty if value == {} else convert(value)


class Prepared:
    """A statement with named parameters and a fixed shape, compiled once for each kind of database."""

    def __init__(self, make: Callable[[], Any]) -> None:
        """make: gives the statement; asked for when it is first used, for it may name models not yet put together."""
        self._make = make
        self._statement: Any = None
        self._compiled: dict[str, _Compiled] = {}

    def _for(self, dialect: Dialect) -> _Compiled:
        compiled = self._compiled.get(dialect.name)
        if compiled is None:
            with _PUTTING_TOGETHER:
                compiled = self._compiled.get(dialect.name)  # another thread may have been first
                if compiled is None:
                    if self._statement is None:
                        self._statement = self._make()
                    compiled = self._compiled[dialect.name] = _Compiled(self._statement, dialect)
        return compiled

    def rows(self, session: Session | Glance, given: dict[str, Any]) -> list[Row]:
        """The rows as the driver gives them: to be compared, counted, or made into something by `values`."""
        if isinstance(session, Glance):
            return session.rows(self, given)
        return self.asked(_connection_seeing(session), given)

    def asked(self, connection: Connection | Plain, given: dict[str, Any]) -> list[Row]:
        """The same on a session's connection."""
        compiled = self._for(connection.dialect)
        cursor = connection.connection.cursor()
        try:
            _fetch(connection, cursor, compiled.text, compiled.values(given), _listeners(connection.engine))
            return self._fetched(compiled, connection.dialect, cursor)
        finally:
            cursor.close()

    def glanced(self, engine: Engine, given: dict[str, Any], held: Any) -> list[Row]:
        """The same on a connection of the driver's own, outside any transaction. Raises the driver's errors."""
        compiled = self._for(engine.dialect)
        cursor = held.cursor()
        try:
            _told(held, cursor, compiled.text, compiled.values(given), _listeners(engine))
            return self._fetched(compiled, engine.dialect, cursor)
        finally:
            cursor.close()

    @staticmethod
    def _fetched(compiled: _Compiled, dialect: Dialect, cursor: Any) -> list[Row]:
        if not compiled.gives_rows:
            return []
        if compiled.back is None:
            compiled.learn_back(dialect, cursor.description)
        return cursor.fetchall()  # type: ignore[no-any-return]

    def sent(self, connection: Connection | Plain, given: dict[str, Any]) -> Any:
        """Sends it without waiting for what comes of it; the cursor, for `received`."""
        compiled = self._for(connection.dialect)
        cursor, values = connection.connection.cursor(), compiled.values(given)
        _told(connection, cursor, compiled.text, values, _listeners(connection.engine))
        return cursor

    def received(self, connection: Connection | Plain, cursor: Any) -> list[Row]:
        """Its rows, once everything sent was answered."""
        try:
            return self._fetched(self._for(connection.dialect), connection.dialect, cursor)
        finally:
            cursor.close()

    def all_values(self, session: Session | Glance, rows: Iterable[Row],
                   until: int | None = None) -> Iterator[list[Any]]:
        """The values of every row, or their first ones, as `values` gives them of one; for many rows. What is empty
        stays so: no type of ours makes anything of NULL."""
        back = [(place, convert) for place, convert in self._for(dialect_of(session)).back or ()
                if until is None or place < until]
        for row in rows:
            made = list(row[:until])
            for place, convert in back:
                if made[place] is not None:
                    made[place] = convert(made[place])
            yield made

    def values(self, session: Session | Glance, row: Row, since: int = 0, until: int | None = None) -> list[Any]:
        """A row's values, or a slice of them, as the models have them: instants with their zone, keys, yes and no."""
        back = self._compiled[dialect_of(session).name].back
        assert back is not None  # the row came from `rows`
        values = list(row[since:until])
        beyond = since + len(values)
        for place, convert in back:
            if since <= place < beyond:
                values[place - since] = convert(values[place - since])
        return values


def _fetch(connection: Connection | Plain, cursor: Any, text: str, values: Any, listeners: _Listeners) -> None:
    """Runs a query on the driver's own cursor: describing a hundred columns to the engine takes longer than the query.
    What goes wrong is told as the engine tells it."""
    try:
        _told(connection, cursor, text, values, listeners)
    except connection.dialect.loaded_dbapi.Error as error:
        fail(connection, error, text, values)


#: Of the engine's statements: before and after each.
_Listeners = tuple[Iterable[Callable[..., Any]], Iterable[Callable[..., Any]]]


def _listeners(engine: Engine) -> _Listeners:
    """Whoever counts or times the engine's statements."""
    return engine.dispatch.before_cursor_execute or (), engine.dispatch.after_cursor_execute or ()


def _told(connection: Any, cursor: Any, text: str, values: Any, listeners: _Listeners) -> None:
    before, after = listeners
    for listener in before:
        listener(connection, cursor, text, values, None, False)
    cursor.execute(text, values)
    for listener in after:
        listener(connection, cursor, text, values, None, False)


def _connection_seeing(session: Session) -> Connection | Plain:
    """The session's connection, on which what the session holds is seen: as a query of models would see it."""
    plain = session.plain() if isinstance(session, PlainSession) else None
    if session.autoflush:
        session.flush()
    return plain or _connection(session)


def _connection(session: Session) -> Connection:
    """The session's connection, looked up once a transaction: a save asks ten times."""
    transaction = session.get_transaction()
    kept = session.info.get(_connection)
    if kept is None or transaction is None or kept[0] is not transaction or session.in_nested_transaction():
        connection = session.connection()
        session.info[_connection] = session.get_transaction(), connection
        return connection
    return kept[1]  # type: ignore[no-any-return]


class Question(NamedTuple, Generic[Made]):
    """A prepared statement with its values and what is made of its rows; of one without rows, nothing."""

    statement: Prepared
    given: dict[str, Any]
    answer: Callable[[Session, list[Row]], Made]


def no_answer(_session: Session, _rows: list[Row]) -> None:
    """Of a statement that gives no rows."""


def ask(session: Session, question: Question[Made]) -> Made:
    return question.answer(session, question.statement.rows(session, question.given))


def ask_together(session: Session, *questions: Question[Any]) -> list[Any]:
    """Each question's answer, asked in this order. PostgreSQL is told all before it answers the first: a server
    elsewhere costs one way there and back. What goes wrong is told as the engine tells it."""
    connection = _connection_seeing(session)
    if connection.dialect.name != "postgresql":
        return _asked_in_order(session, connection, questions)
    driver: Any = connection.connection.driver_connection
    try:
        with driver.pipeline():  # its end waits for all answers
            cursors = [question.statement.sent(connection, question.given) for question in questions]
    except connection.dialect.loaded_dbapi.Error as error:
        fail(connection, error)
    rows = [question.statement.received(connection, cursor)
            for question, cursor in zip(questions, cursors, strict=True)]
    return [question.answer(session, found) for question, found in zip(questions, rows, strict=True)]


def _asked_in_order(session: Session, connection: Connection | Plain, questions: Iterable[Question[Any]]) -> list[Any]:
    """With one cursor for all of them, and whoever counts or times statements looked for once: a save asks ten."""
    dialect, listeners = connection.dialect, _listeners(connection.engine)
    cursor, answers = connection.connection.cursor(), []
    try:
        for statement, given, answer in questions:
            compiled = statement._for(dialect)
            _fetch(connection, cursor, compiled.text, compiled.values(given), listeners)
            answers.append(answer(session, statement._fetched(compiled, dialect, cursor)))
        return answers
    finally:
        cursor.close()


class Glance:
    """A look at the database without a session, for one prepared statement: no transaction is begun and none ended.

    Where the driver refuses, the statement is asked again in a session, which says what is wrong in the engine's words,
    or has the answer: a query that was cut off changed nothing.
    """

    def __init__(self, engine: Engine, reading: Callable[[], AbstractContextManager[Session]],
                 at_hand: Any = None) -> None:
        """at_hand: a connection that this thread holds anyway; the look is taken on it."""
        self._engine = self.bind = engine
        self._reading, self._at_hand = reading, at_hand
        # PostgreSQL's driver begins a transaction with the first statement unless told otherwise.
        self._begins_by_itself = engine.dialect.name == "postgresql"

    def get_bind(self) -> Engine:
        return self._engine

    def rows(self, asked: Prepared, given: dict[str, Any]) -> list[Row]:
        try:
            return self._rows(asked, given)
        except self._engine.dialect.loaded_dbapi.Error:
            pass
        with self._reading() as session:
            return asked.rows(session, given)

    def _rows(self, asked: Prepared, given: dict[str, Any]) -> list[Row]:
        if self._at_hand is not None:
            return asked.glanced(self._engine, given, self._at_hand)
        held = self._engine.raw_connection()
        try:
            if not self._begins_by_itself:
                return asked.glanced(self._engine, given, held)
            driver: Any = held.driver_connection
            driver.autocommit = True
            rows = asked.glanced(self._engine, given, held)
            driver.autocommit = False
            return rows
        except self._engine.dialect.loaded_dbapi.Error as error:
            gone = self._engine.dialect.is_disconnect(error, held, None)
            held.invalidate()
            if gone:
                self._engine.dispose()  # the server was away: nor do the other connections stand
            raise
        finally:
            held.close()


class _JsonText(sa.types.TypeDecorator[Any]):
    """JSON as its text: PostgreSQL's driver would give objects, which are no key."""

    impl = sa.Text
    cache_ok = True

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else json.loads(value)


def columns_of(entity: type[Any] | Any, without: Iterable[str] = ()) -> list[Any]:
    """The mapped columns of an entity (or an alias of one) in their order, some left out."""
    names = [a.key for a in sa.inspect(entity).mapper.column_attrs]
    return [as_key(getattr(entity, name)) for name in names if name not in set(without)]


def as_key(column: Any) -> Any:
    """The column so that what the driver gives of it can be compared and be a key."""
    if not isinstance(column.type, sa.JSON):
        return column
    return sa.type_coerce(sa.cast(column, sa.Text), _JsonText).label(column.key)


def detached(entity: type[Entity], columns: Sequence[Any], values: Sequence[Any], **related: Any) -> Entity | None:
    """An object of a model as it would come out of a session that is closed, from its columns' values and what it is
    related to; None where the key is NULL, as an outer join gives it."""
    held = {column.key: value for column, value in zip(columns, values, strict=True)}
    key = [held[column.key] for column in sa.inspect(entity).mapper.primary_key]
    if any(part is None for part in key):
        return None
    made = entity(**held)
    for name, what in related.items():
        set_committed_value(made, name, what)
    sa.orm.make_transient_to_detached(made)
    return made
