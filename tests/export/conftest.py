"""The exports are made from one session on each database, with a plant in it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy.orm import Session

from app.db import Database
from tests import factories
from tests.factories import Plant


@pytest.fixture
def session(database: Database) -> Iterator[Session]:
    with database.writing() as opened:
        yield opened


@pytest.fixture
def plant(session: Session) -> Plant:
    return factories.make_plant(session)
