"""Signatures of round sheets: what each covers, its code, and the code of the unit's sheet signed before it."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import Base, Key16
from app.store.lubrication import Greasing
from app.store.people import with_name
from app.store.rounds import Reading, Round, replaced_by
from app.store.units import Unit


class Signature(Base):
    """One a signed round, numbered within the unit. Never changed: what comes later is an addendum."""

    __tablename__ = "signature"
    __table_args__ = (sa.UniqueConstraint("unit_id", "number"), sa.UniqueConstraint("round_id"))

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    round_id: Mapped[int] = mapped_column(sa.ForeignKey("round.id"))
    number: Mapped[int] = mapped_column()  # 1 the unit's first
    previous: Mapped[str | None] = mapped_column(sa.Text)  # code of number - 1
    code: Mapped[str] = mapped_column(sa.Text)  # SHA-256, 64 hexadecimal figures
    #: as signed: who, when, rows, findings, and a SHA-256 of every reading
    covers: Mapped[dict[str, Any]] = mapped_column(sa.JSON)
    round: Mapped[Round] = relationship()
    unit: Mapped[Unit] = relationship()

    @property
    def readings(self) -> set[uuid.UUID]:
        """The ids of the entries that it covers."""
        return {uuid.UUID(line["id"]) for line in self.covers["readings"]}


def signed_sheet(session: Session, unit_id: int, round_id: int) -> Signature | None:
    """The signature of a round of the unit, with the round and the unit's name."""
    return session.scalar(sa.select(Signature).where(Signature.round_id == round_id, Signature.unit_id == unit_id)
                          .options(sa.orm.joinedload(Signature.round), sa.orm.joinedload(Signature.unit)
                                   .lazyload(Unit.patterns)))


def last_signature(session: Session, unit_id: int) -> Signature | None:
    """The newest; the unit is held until the transaction ends, so that two signing at once make one chain."""
    session.execute(sa.select(Unit.id).where(Unit.id == unit_id).with_for_update())
    return session.scalar(sa.select(Signature).where(Signature.unit_id == unit_id)
                          .order_by(Signature.number.desc()).limit(1))


def ids_in_order(session: Session) -> list[int]:
    """Every signature's id, each unit's chain from its beginning."""
    return list(session.scalars(sa.select(Signature.id).order_by(Signature.unit_id, Signature.number)))


def rows_as_stored(session: Session, round_id: int, columns: tuple[str, ...]) -> list[dict[str, Any]]:
    """The round's readings as the database holds them, corrected ones too, in the order they were taken."""
    table = Reading.__table__.c
    query = sa.select(*(table[name] for name in columns)).where(table.round_id == round_id)
    query = query.order_by(table.taken_at, table.received_at, table.id)
    return [dict(row) for row in session.execute(query).mappings()]


def unsealed(session: Session) -> list[Round]:
    """Rounds that carry a signature but no code, though their unit's sheets had one by then."""
    mine = sa.orm.aliased(Round)
    began = (sa.select(sa.func.min(Round.signed_at)).join(Signature, Signature.round_id == Round.id)
             .where(Signature.unit_id == mine.unit_id).correlate(mine).scalar_subquery())
    return list(session.scalars(sa.select(mine).where(
        mine.signed_at > began, ~sa.exists().where(Signature.round_id == mine.id)).order_by(mine.starts_at)))


def arrived_since(session: Session, motor_ids: set[int], since: datetime, covered: set[uuid.UUID]) -> set[int]:
    """For which of these motors an entry came in that no signature covered: then older ones were judged once more."""
    ids = sa.select(Reading.motor_id, Reading.id).where(
        Reading.motor_id.in_(motor_ids), Reading.received_at >= since)
    greased = sa.select(Greasing.motor_id, sa.cast(sa.null(), Key16)).where(
        Greasing.motor_id.in_(motor_ids), Greasing.received_at >= since)
    return {motor_id for motor_id, key in session.execute(ids.union_all(greased)) if key not in covered}


def _received(unit_id: int, start: datetime, end: datetime) -> sa.Select[Any]:
    """Ids of entries of rounds that are signed, received in [start, end)."""
    return sa.select(Reading.id).join(Round, Round.id == Reading.round_id).where(
        Reading.unit_id == unit_id, Reading.received_at >= start, Reading.received_at < end,
        Round.signed_at.is_not(None))


def _with_signatures(session: Session, ids: Any) -> tuple[list[tuple[Reading, bool]], dict[int, Signature]]:
    """These entries, the one received first first, each with whether no later one replaces it; and their rounds'
    signatures. One statement; a signature, which is long, comes once."""
    asked = ids.subquery()
    found = (sa.select(Reading.id, sa.func.row_number().over(
        partition_by=Reading.round_id, order_by=(Reading.received_at, Reading.id)).label("place"))
        .join(asked, asked.c.id == Reading.id).subquery())
    rows = list(session.execute(
        sa.select(Reading, replaced_by(), Signature).join(found, found.c.id == Reading.id)
        .join(Round, Round.id == Reading.round_id)
        .outerjoin(Signature, sa.and_(Signature.round_id == Reading.round_id, found.c.place == 1))
        .order_by(Reading.received_at, Reading.id)
        .options(sa.orm.contains_eager(Reading.round), sa.orm.joinedload(Reading.motor), with_name(Reading.person))))
    return [(entry, newer is None) for entry, newer, _ in rows], {
        signed.round_id: signed for _, _, signed in rows if signed is not None}


def received_between(session: Session, unit_id: int, start: datetime,
                     end: datetime) -> tuple[list[Reading], dict[int, Signature]]:
    """Entries of rounds that are signed, received in [start, end), the oldest first, and these rounds' signatures."""
    rows, signed = _with_signatures(session, _received(unit_id, start, end))
    return [entry for entry, _ in rows], signed


def received_and_of(session: Session, opened: Round) -> tuple[list[Reading], list[Reading], dict[int, Signature]]:
    """The same for a round's shift; and, where the round is signed, its own entries as `readings_of_round` has them."""
    received = _received(opened.unit_id, opened.starts_at, opened.ends_at)
    rows, signed = _with_signatures(session, received if opened.signed_at is None else sa.union(
        received, sa.select(Reading.id).where(Reading.round_id == opened.id)))
    in_shift = [entry for entry, _ in rows if opened.starts_at <= entry.received_at < opened.ends_at]
    own = [entry for entry, counts in rows if entry.round_id == opened.id and counts and not entry.taken_back]
    if opened.signed_at is None:
        return in_shift, [], signed
    return in_shift, sorted(own, key=lambda r: (r.taken_at, r.received_at, r.id)), signed
