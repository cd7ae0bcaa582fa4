"""The floors: the least that any program of this make could need for the same work, measured in the same run."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from flask import Flask, request, template_rendered
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from app.db import Database
from app.store.base import Real, UtcDateTime
from tests.benchmarks.ground import Ground


class _Base(DeclarativeBase):
    pass


class Floor(_Base):
    """One row of what the form at a motor sends."""

    __tablename__ = "floor"

    id: Mapped[int] = mapped_column(primary_key=True)
    state: Mapped[str]
    look: Mapped[str]
    vibration_both: Mapped[str]
    bearing_feel_DE: Mapped[str]
    bearing_feel_ODE: Mapped[str]
    winding_feel: Mapped[str]
    amps_1: Mapped[float] = mapped_column(Real)
    lubricant_both: Mapped[str]
    cleanliness: Mapped[str]
    at: Mapped[datetime] = mapped_column(UtcDateTime)


def bare_save(folder: Path, url: str | None = None) -> Flask:
    """A bare Flask view that commits one ORM row, on the same kind of database with the same durability."""
    database = Database(url or f"sqlite:///{folder / 'floor.sqlite3'}")
    _Base.metadata.drop_all(database.engine)
    _Base.metadata.create_all(database.engine)
    app = Flask("floor")
    app.extensions["database"] = database
    fields = [c.key for c in Floor.__table__.columns if c.key not in ("id", "at", "amps_1")]

    @app.post("/save")
    def save() -> Any:
        with database.writing() as session:
            session.add(Floor(at=datetime.now(UTC), amps_1=float(request.form["amps_1"]),
                              **{name: request.form[name] for name in fields}))
            session.commit()
        return "", 204

    return app


def same_template(ground: Ground, path: str, who: str) -> Callable[[], str]:
    """The page at this address made from values that are ready: its template alone, in a request that asks nothing."""
    kept: list[tuple[Any, dict[str, Any]]] = []

    def keep(sender: Flask, template: Any, context: dict[str, Any], **_: Any) -> None:
        kept.append((template, dict(context)))

    with template_rendered.connected_to(keep, ground.app):
        answer = ground.signed_in(who).get(path)
    assert answer.status_code == 200, (path, answer.status_code)
    template, context = kept[-1]

    def render() -> str:
        with ground.app.test_request_context(path):
            from flask import g

            g.signed_in, g.visitor, g.half_way = context.get("signed_in"), "", []
            return str(template.render(context))

    render()
    return render
