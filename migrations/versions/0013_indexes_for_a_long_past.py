"""Indexes for what a page asks of a long past: corrections only, flags that stood, a motor's chart."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

REPLACES = sa.text("replaces_id IS NOT NULL")


def upgrade():
    op.drop_index("uq_reading_replaces", table_name="reading")
    op.create_index("uq_reading_replaces", "reading", ["replaces_id"], unique=True,
                    sqlite_where=REPLACES, postgresql_where=REPLACES)
    op.drop_index("ix_flag_unit_closed", table_name="flag")
    op.create_index("ix_flag_unit_closed", "flag", ["unit_id", "closed_at", "raised_at"])
    op.create_index("ix_flag_motor_closed", "flag", ["motor_id", "closed_at"])
    op.create_index("ix_greasing_motor_at", "greasing", ["motor_id", "at"])
    op.create_index("ix_lubrication_point_motor", "lubrication_point", ["motor_id", "valid_from"])


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
