"""A second program beside the server, on the same database: `python -m tests.store.beside URL`."""

from __future__ import annotations

import sys

import sqlalchemy as sa

from app.db import Database
from app.store.units import Unit
from tests.factories import make_unit

TIMES = 60


def read_then_write(database: Database, who: str) -> None:
    """Units named after how many there were: each write rests on a read of the same transaction."""
    for _ in range(TIMES):
        with database.writing() as session:
            count = session.scalar(sa.select(sa.func.count()).select_from(Unit))
            make_unit(session, f"{who} {count}")
            session.commit()


if __name__ == "__main__":
    database = Database(sys.argv[1])
    print("ready", flush=True)
    sys.stdin.readline()
    read_then_write(database, "command")
    database.close()
