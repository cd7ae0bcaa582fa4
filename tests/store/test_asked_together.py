"""Several questions in one exchange with PostgreSQL are answered as if asked one after the other, faults too."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa

from app.db import Database
from app.store.prepared import Prepared, Question, ask_together, no_answer
from app.store.units import Unit
from tests import factories

RENAMED = Prepared(lambda: sa.update(Unit.__table__).values(  # type: ignore[arg-type]
    name=sa.bindparam("told", type_=sa.Text())))
NAMES = Prepared(lambda: sa.select(Unit.name).order_by(Unit.name))


def _names() -> Question[list[str]]:
    return Question(NAMES, {}, lambda _, rows: [row[0] for row in rows])


def _renamed(name: Any) -> Question[None]:
    return Question(RENAMED, {"told": name}, no_answer)


def test_each_question_sees_what_the_ones_before_it_changed(database: Database) -> None:
    with database.writing() as session:
        factories.make_unit(session, name="Crude unit")
        assert ask_together(session, _names(), _renamed("Gas plant"), _names()) == [
            ["Crude unit"], None, ["Gas plant"]]
        session.rollback()
    with database.writing() as session:
        assert ask_together(session, _names()) == [[]]


def test_what_one_of_them_breaks_is_told_in_the_engines_words_and_undone_whole(database: Database) -> None:
    with database.writing() as session:
        factories.make_unit(session, name="Crude unit"), factories.make_unit(session, name="Gas plant")
        session.commit()
    with database.writing() as session, pytest.raises(sa.exc.IntegrityError):
        ask_together(session, _names(), _renamed("the same"), _names())
    with database.writing() as session:
        assert ask_together(session, _names()) == [["Crude unit", "Gas plant"]]
