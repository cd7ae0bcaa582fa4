"""routes"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "route",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("checked_every", sa.Text(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "\"checked_every\" IN ('shift', 'day', 'week')", name=op.f("ck_route_checked_every_known")
        ),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_route_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_route")),
        sa.UniqueConstraint("unit_id", "name", name=op.f("uq_route_unit_id_name")),
    )
    op.create_table(
        "route_stop",
        sa.Column("route_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_route_stop_motor_id_motor")),
        sa.ForeignKeyConstraint(["route_id"], ["route.id"], name=op.f("fk_route_stop_route_id_route")),
        sa.PrimaryKeyConstraint("route_id", "motor_id", name=op.f("pk_route_stop")),
    )
    op.create_index("ix_route_stop_motor", "route_stop", ["motor_id"], unique=False)


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
