"""The one-time code that opens the first set-up: only its hash is kept, until the first supervisor is there."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.store.base import Base, UtcDateTime
from app.store.people import SUPERVISOR, Person


class SetUpCode(Base):
    """At most one row: each start of the server puts a new code in the place of the one before."""

    __tablename__ = "set_up_code"

    id: Mapped[int] = mapped_column(primary_key=True)
    hash: Mapped[str] = mapped_column(sa.Text)  # SHA-256 of the code, hex: the code is long and random
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)


def has_supervisor(session: Session) -> bool:
    """Whether anybody was ever made supervisor: then the set-up is closed for good, whoever may still sign in."""
    return session.scalar(sa.select(sa.exists().where(Person.role == SUPERVISOR))) or False


def code_hash(session: Session) -> str | None:
    return session.scalar(sa.select(SetUpCode.hash).order_by(SetUpCode.id.desc()).limit(1))


def put_code(session: Session, hashed: str, now: datetime) -> None:
    """The only code from now on."""
    forget_code(session)
    session.add(SetUpCode(hash=hashed, made_at=now))
    session.flush()


def forget_code(session: Session) -> None:
    session.execute(sa.delete(SetUpCode))
