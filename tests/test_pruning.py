"""Ended sign-ins and wrong tries go after ninety days; whoever is signed in stays, and every entry stays."""

from __future__ import annotations

from datetime import timedelta

import sqlalchemy as sa

from app import pruning
from app.db import Database
from app.store.people import FailedTry, SignedIn
from app.store.rounds import Reading
from tests.factories import NOW, make_plant, make_reading


def test_only_what_ended_long_ago_goes(database: Database) -> None:
    long_ago, lately = NOW - timedelta(days=90, seconds=1), NOW - timedelta(days=90)
    with database.writing() as session:
        plant = make_plant(session)
        for name, expires, ended in (("ended long ago", NOW, long_ago), ("ended lately", NOW, lately),
                                     ("ran out long ago", long_ago, None), ("signed in", NOW, None)):
            session.add(SignedIn(key=name, person_id=plant.operator.id, unit_id=plant.unit.id, address="tablet",
                                 started_at=long_ago, expires_at=expires, ended_at=ended))
        session.add_all([FailedTry(who="operator", address="tablet", at=at) for at in (long_ago, lately)])
        make_reading(session, plant.motor, plant.operator, NOW - timedelta(days=4000))
        session.commit()
        assert pruning.prune(session, NOW) == 3
        session.commit()
        assert sorted(session.scalars(sa.select(SignedIn.key))) == ["ended lately", "signed in"]
        assert list(session.scalars(sa.select(FailedTry.at))) == [lately]
        assert session.scalar(sa.select(sa.func.count()).select_from(Reading)) == 1
