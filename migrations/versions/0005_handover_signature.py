"""handover signature"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "handover",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("first", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("given_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("given_by_id", sa.Integer(), nullable=True),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("taken_by_id", sa.Integer(), nullable=True),
        sa.Column("face_to_face", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.ForeignKeyConstraint(["given_by_id"], ["person.id"], name=op.f("fk_handover_given_by_id_person")),
        sa.ForeignKeyConstraint(["round_id"], ["round.id"], name=op.f("fk_handover_round_id_round")),
        sa.ForeignKeyConstraint(["taken_by_id"], ["person.id"], name=op.f("fk_handover_taken_by_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_handover_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_handover")),
        sa.UniqueConstraint("round_id", name=op.f("uq_handover_round_id")),
    )
    with op.batch_alter_table("handover", schema=None) as batch_op:
        batch_op.create_index("ix_handover_unit", ["unit_id", "made_at"], unique=False)

    op.create_table(
        "signature",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("previous", sa.Text(), nullable=True),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("covers", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["round_id"], ["round.id"], name=op.f("fk_signature_round_id_round")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_signature_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signature")),
        sa.UniqueConstraint("round_id", name=op.f("uq_signature_round_id")),
        sa.UniqueConstraint("unit_id", "number", name=op.f("uq_signature_unit_id_number")),
    )
    op.create_table(
        "handover_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("handover_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=True),
        sa.Column("priority", sa.Text(), nullable=True),
        sa.Column("says", sa.Text(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answer", sa.Text(), nullable=True),
        sa.Column("query", sa.Text(), nullable=False),
        sa.CheckConstraint("\"answer\" IN ('understood', 'query')", name=op.f("ck_handover_item_answer_known")),
        sa.CheckConstraint(
            "\"priority\" IN ('act now', 'this shift', 'watch')", name=op.f("ck_handover_item_priority_known")
        ),
        sa.ForeignKeyConstraint(["handover_id"], ["handover.id"], name=op.f("fk_handover_item_handover_id_handover")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_handover_item_motor_id_motor")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_handover_item")),
        sa.UniqueConstraint("handover_id", "key", name=op.f("uq_handover_item_handover_id_key")),
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(
            "ix_reading_correction",
            ["motor_id", "taken_at"],
            unique=False,
            sqlite_where=sa.text("replaces_id IS NOT NULL"),
            postgresql_where=sa.text("replaces_id IS NOT NULL"),
        )
        batch_op.create_index("ix_reading_unit_received", ["unit_id", "received_at"], unique=False)


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
