"""starts trips dips insulation"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "dip",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_dip_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_dip_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dip")),
    )
    with op.batch_alter_table("dip", schema=None) as batch_op:
        batch_op.create_index("ix_dip_unit", ["unit_id", "at"], unique=False)

    op.create_table(
        "dip_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("dip_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "\"answer\" IN ('came back by itself', 'did not come back', 'started again', 'left down', 'did not stop')",
            name=op.f("ck_dip_answer_answer_known"),
        ),
        sa.ForeignKeyConstraint(["dip_id"], ["dip.id"], name=op.f("fk_dip_answer_dip_id_dip")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_dip_answer_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_dip_answer_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dip_answer")),
    )
    with op.batch_alter_table("dip_answer", schema=None) as batch_op:
        batch_op.create_index("ix_dip_answer_dip", ["dip_id", "motor_id"], unique=False)

    op.create_table(
        "prestart_check",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("answers", sa.JSON(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_prestart_check_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_prestart_check_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_prestart_check_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_prestart_check")),
    )
    with op.batch_alter_table("prestart_check", schema=None) as batch_op:
        batch_op.create_index("ix_prestart_check_motor", ["motor_id", "at"], unique=False)

    op.create_table(
        "release",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_release_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_release_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_release")),
    )
    with op.batch_alter_table("release", schema=None) as batch_op:
        batch_op.create_index("ix_release_motor", ["motor_id", "at"], unique=False)

    op.create_table(
        "shaft_turn",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_shaft_turn_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_shaft_turn_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shaft_turn")),
    )
    with op.batch_alter_table("shaft_turn", schema=None) as batch_op:
        batch_op.create_index("ix_shaft_turn_motor", ["motor_id", "at"], unique=False)

    op.create_table(
        "start",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("at_device", sa.DateTime(timezone=True), nullable=False),
        sa.Column("clock_offset_s", sa.Double(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("duration_s", sa.Double(), nullable=True),
        sa.Column("condition_before", sa.Text(), nullable=True),
        sa.Column("then_continuous", sa.Boolean(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=True),
        sa.Column("dip_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "\"outcome\" IN ('ran', 'did not start', 'tripped while starting', 'automatic')",
            name=op.f("ck_start_outcome_known"),
        ),
        sa.ForeignKeyConstraint(["dip_id"], ["dip.id"], name=op.f("fk_start_dip_id_dip")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_start_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_start_person_id_person")),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name=op.f("fk_start_token_id_token")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_start_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_start")),
    )
    with op.batch_alter_table("start", schema=None) as batch_op:
        batch_op.create_index("ix_start_motor", ["motor_id", "at"], unique=False)
        batch_op.create_index("ix_start_unit", ["unit_id", "at"], unique=False)

    op.create_table(
        "stop",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("at_device", sa.DateTime(timezone=True), nullable=False),
        sa.Column("clock_offset_s", sa.Double(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_stop_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_stop_person_id_person")),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name=op.f("fk_stop_token_id_token")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_stop_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stop")),
    )
    with op.batch_alter_table("stop", schema=None) as batch_op:
        batch_op.create_index("ix_stop_motor", ["motor_id", "at"], unique=False)
        batch_op.create_index("ix_stop_unit", ["unit_id", "at"], unique=False)

    op.create_table(
        "trip",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("at_device", sa.DateTime(timezone=True), nullable=False),
        sa.Column("clock_offset_s", sa.Double(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("protection", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=True),
        sa.Column("dip_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "\"protection\" IN ('overload relay', 'low voltage', 'fuse', 'circuit breaker', 'unknown')",
            name=op.f("ck_trip_protection_known"),
        ),
        sa.ForeignKeyConstraint(["dip_id"], ["dip.id"], name=op.f("fk_trip_dip_id_dip")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_trip_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_trip_person_id_person")),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name=op.f("fk_trip_token_id_token")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_trip_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trip")),
    )
    with op.batch_alter_table("trip", schema=None) as batch_op:
        batch_op.create_index("ix_trip_motor", ["motor_id", "at"], unique=False)
        batch_op.create_index("ix_trip_unit", ["unit_id", "at"], unique=False)

    op.create_table(
        "insulation_test",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("nameplate_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("r1_mohm", sa.Double(), nullable=False),
        sa.Column("r10_mohm", sa.Double(), nullable=True),
        sa.Column("temp_c", sa.Double(), nullable=True),
        sa.Column("winding", sa.Text(), nullable=True),
        sa.Column("wound_year", sa.Integer(), nullable=True),
        sa.Column("test_volts", sa.Double(), nullable=True),
        sa.Column("measured_by", sa.Text(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_insulation_test_motor_id_motor")),
        sa.ForeignKeyConstraint(
            ["nameplate_id"], ["nameplate.id"], name=op.f("fk_insulation_test_nameplate_id_nameplate")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_insulation_test_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_insulation_test_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_insulation_test")),
    )
    with op.batch_alter_table("insulation_test", schema=None) as batch_op:
        batch_op.create_index("ix_insulation_test_motor", ["motor_id", "at"], unique=False)

    op.create_table(
        "trip_act",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trip_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("qualified_name", sa.Text(), nullable=True),
        sa.Column("found", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "\"kind\" IN ('relay reset', 'head operator agrees', 'cleared')", name=op.f("ck_trip_act_kind_known")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_trip_act_person_id_person")),
        sa.ForeignKeyConstraint(["trip_id"], ["trip.id"], name=op.f("fk_trip_act_trip_id_trip")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trip_act")),
    )
    with op.batch_alter_table("trip_act", schema=None) as batch_op:
        batch_op.create_index("ix_trip_act_trip", ["trip_id"], unique=False)

    with op.batch_alter_table("motor", schema=None) as batch_op:
        batch_op.add_column(sa.Column("restart_order", sa.Double(), nullable=True))

    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.add_column(sa.Column("watch", sa.Boolean(), server_default=sa.false(), nullable=False))
        batch_op.create_index(
            "ix_reading_out",
            ["motor_id", "taken_at"],
            unique=False,
            sqlite_where=sa.text("state IN ('out of service', 'locked out')"),
            postgresql_where=sa.text("state IN ('out of service', 'locked out')"),
        )

    with op.batch_alter_table("unit", schema=None) as batch_op:
        batch_op.add_column(sa.Column("restart_spacing_s", sa.Integer(), nullable=True))



def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
