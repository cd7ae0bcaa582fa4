"""lubrication oil temporary states"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "grease_gun",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("stroke_g", sa.Double(), nullable=False),
        sa.Column("lubricant", sa.Text(), nullable=True),
        sa.Column("thickener", sa.Text(), nullable=True),
        sa.Column("put_away_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_grease_gun_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grease_gun")),
        sa.UniqueConstraint("unit_id", "name_key", name=op.f("uq_grease_gun_unit_id_name_key")),
    )
    op.create_table(
        "oil_entry",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("level", sa.Text(), nullable=True),
        sa.Column("mark", sa.Text(), nullable=True),
        sa.Column("amount_ml", sa.Double(), nullable=True),
        sa.Column("lubricant", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("\"end\" IN ('DE', 'ODE')", name=op.f("ck_oil_entry_end_known")),
        sa.CheckConstraint("\"kind\" IN ('level', 'top-up', 'renewed')", name=op.f("ck_oil_entry_kind_known")),
        sa.CheckConstraint(
            "\"level\" IN ('at the mark', 'below the mark', 'above the mark', 'could not see')",
            name=op.f("ck_oil_entry_level_known"),
        ),
        sa.CheckConstraint("\"mark\" IN ('running mark', 'stopped mark')", name=op.f("ck_oil_entry_mark_known")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_oil_entry_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_oil_entry_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_oil_entry_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oil_entry")),
    )
    with op.batch_alter_table("oil_entry", schema=None) as batch_op:
        batch_op.create_index("ix_oil_entry_motor", ["motor_id", "end", "at"], unique=False)
        batch_op.create_index("ix_oil_entry_unit", ["unit_id", "at"], unique=False)

    op.create_table(
        "temporary_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expected_end", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("greasing_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by_id", sa.Integer(), nullable=True),
        sa.Column("ended_words", sa.Text(), nullable=False),
        sa.CheckConstraint("\"end\" IN ('', 'DE', 'ODE')", name=op.f("ck_temporary_state_end_known")),
        sa.CheckConstraint(
            "\"kind\" IN ('drain plug out', 'guard off', 'temporary fan', 'bypass', 'other')",
            name=op.f("ck_temporary_state_kind_known"),
        ),
        sa.ForeignKeyConstraint(["ended_by_id"], ["person.id"], name=op.f("fk_temporary_state_ended_by_id_person")),
        sa.ForeignKeyConstraint(["greasing_id"], ["greasing.id"], name=op.f("fk_temporary_state_greasing_id_greasing")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_temporary_state_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_temporary_state_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_temporary_state_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_temporary_state")),
        sa.UniqueConstraint("key", name=op.f("uq_temporary_state_key")),
    )
    with op.batch_alter_table("temporary_state", schema=None) as batch_op:
        batch_op.create_index("ix_temporary_state_motor", ["motor_id", "since"], unique=False)
        batch_op.create_index(
            "ix_temporary_state_standing",
            ["unit_id", "since"],
            unique=False,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )

    with op.batch_alter_table("greasing", schema=None) as batch_op:
        batch_op.add_column(sa.Column("unsure_s", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("gun", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("stroke_g", sa.Double(), nullable=True))
        batch_op.add_column(sa.Column("strokes", sa.Double(), nullable=True))

    with op.batch_alter_table("lubrication_point", schema=None) as batch_op:
        batch_op.add_column(sa.Column("greased_while", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("drain_plug", sa.Boolean(), nullable=True))
        batch_op.add_column(sa.Column("computed", sa.Text(), nullable=True))

    with op.batch_alter_table("motor_run", schema=None) as batch_op:
        batch_op.add_column(sa.Column("unsure_s", sa.Double(), server_default=sa.text("0"), nullable=False))


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
