"""What a database's schema says, as lines that can be compared."""

from __future__ import annotations

import sqlalchemy as sa

_POSTGRES = """
SELECT 'column ' || table_name || '.' || column_name || ' ' || data_type || ' null:' || is_nullable || ' '
       || coalesce(column_default, '') FROM information_schema.columns WHERE table_schema = 'public'
UNION ALL SELECT 'constraint ' || conrelid::regclass || ' ' || conname || ' ' || pg_get_constraintdef(oid)
       FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND conrelid <> 0
UNION ALL SELECT 'index ' || indexdef FROM pg_indexes WHERE schemaname = 'public'
"""


def lines(engine: sa.Engine) -> set[str]:
    """Every column, constraint and index, with its rule; Alembic's own table left out."""
    found = _postgres_lines(engine) if engine.dialect.name == "postgresql" else _sqlite_lines(engine)
    return {line for line in found if "alembic_version" not in line}


def _postgres_lines(engine: sa.Engine) -> set[str]:
    with engine.connect() as connection:
        return set(connection.scalars(sa.text(_POSTGRES)))


def _sqlite_lines(engine: sa.Engine) -> set[str]:
    look, found = sa.inspect(engine), set()
    for table in look.get_table_names():
        found |= {f"column {table}.{c['name']} {c['type']} null:{c['nullable']} {c['default']}"
                  for c in look.get_columns(table)}
        found.add(f"primary key {table} {look.get_pk_constraint(table)}")
        found |= {f"foreign key {table} {key}" for key in look.get_foreign_keys(table)}
        found |= {f"unique {table} {rule}" for rule in look.get_unique_constraints(table)}
        found |= {f"check {table} {rule}" for rule in look.get_check_constraints(table)}
    with engine.connect() as connection:
        found |= {" ".join(sql.split()) for sql in connection.scalars(
            sa.text("SELECT sql FROM sqlite_master WHERE type IN ('index', 'trigger') AND sql IS NOT NULL"))}
    return found


def rows(engine: sa.Engine) -> dict[str, int]:
    """How many rows each table has."""
    held = sa.MetaData()
    held.reflect(engine)
    with engine.connect() as connection:
        return {t.name: connection.scalar(sa.select(sa.func.count()).select_from(t)) or 0
                for t in held.tables.values()}
