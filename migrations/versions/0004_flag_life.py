"""flag life"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "flag_return",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("flag_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("returned_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["flag_id"], ["flag.id"], name=op.f("fk_flag_return_flag_id_flag")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_flag_return_motor_id_motor")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_flag_return")),
    )
    with op.batch_alter_table("flag_return", schema=None) as batch_op:
        batch_op.create_index("ix_flag_return_key", ["motor_id", "rule", "end", "returned_at"], unique=False)

    with op.batch_alter_table("flag", schema=None) as batch_op:
        batch_op.add_column(sa.Column("owner", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("due_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(sa.Column("run_on_watch", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("run_on_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(sa.Column("run_on_review_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(sa.Column("shelved_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(sa.Column("shelved_why", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("shelved_watch", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("shelved_priority", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("shelved_value", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("woken_why", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("unstable_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(
            sa.Column("closed_reading_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=True)
        )


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
