"""Runs the versions on the connection that app.db hands over: one transaction, under its lock."""

from alembic import context

from app.store import Base
from app.store.base import Key16, Real, UtcDateTime


def render_item(kind, item, autogen_context):
    """A drafted migration names plain column types, because versions import nothing of the app."""
    if kind != "type":
        return False
    if isinstance(item, UtcDateTime):
        return "sa.DateTime(timezone=True)"
    if isinstance(item, Real):
        return "sa.Double()"
    if isinstance(item, Key16):
        return "sa.LargeBinary(16).with_variant(sa.Uuid(), 'postgresql')"
    return False


def run():
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=Base.metadata,
        render_as_batch=True,
        render_item=render_item,
        transaction_per_migration=False,
        compare_type=True,
    )
    with context.begin_transaction():
        context.run_migrations()


run()
