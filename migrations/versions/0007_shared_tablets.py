"""Enrolled tablets, a PIN that counts on them, which tablet a session is on."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "device",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("idle_min", sa.Integer(), nullable=False),
        sa.Column("enrolled_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("enrolled_by_id", sa.Integer(), nullable=False),
        sa.Column("last_seen_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["enrolled_by_id"], ["person.id"], name=op.f("fk_device_enrolled_by_id_person")),
        sa.ForeignKeyConstraint(["revoked_by_id"], ["person.id"], name=op.f("fk_device_revoked_by_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_device_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device")),
        sa.UniqueConstraint("key", name=op.f("uq_device_key")),
    )
    with op.batch_alter_table("device", schema=None) as batch_op:
        batch_op.create_index(
            "uq_device_in_use",
            ["unit_id", "name"],
            unique=True,
            sqlite_where=sa.text("revoked_at IS NULL"),
            postgresql_where=sa.text("revoked_at IS NULL"),
        )

    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.add_column(sa.Column("pin_hash", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("pin_given", sa.Boolean(), server_default=sa.false(), nullable=False))

    with op.batch_alter_table("signed_in", schema=None) as batch_op:
        batch_op.add_column(sa.Column("device_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("touched_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.create_index(batch_op.f("ix_signed_in_device_id"), ["device_id"], unique=False)
        batch_op.create_foreign_key(batch_op.f("fk_signed_in_device_id_device"), "device", ["device_id"], ["id"])


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
