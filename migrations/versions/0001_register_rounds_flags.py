"""the register, rounds, readings, flags"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "failed_try",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_failed_try")),
    )
    with op.batch_alter_table("failed_try", schema=None) as batch_op:
        batch_op.create_index("ix_failed_try_address", ["address", "at"], unique=False)
        batch_op.create_index("ix_failed_try_who", ["who", "at"], unique=False)

    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sign_in", sa.Text(), nullable=False),
        sa.Column("sign_in_key", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("secret_hash", sa.Text(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_sign_in_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "\"role\" IN ('operator', 'head operator', 'supervisor')", name=op.f("ck_person_role_known")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("sign_in_key", name=op.f("uq_person_sign_in_key")),
    )
    op.create_table(
        "unit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("temperature", sa.Text(), nullable=False),
        sa.Column("power", sa.Text(), nullable=False),
        sa.Column("vibration", sa.Text(), nullable=False),
        sa.Column("grease", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("\"temperature\" IN ('C', 'F')", name=op.f("ck_unit_temperature_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unit")),
        sa.UniqueConstraint("name", name=op.f("uq_unit_name")),
    )
    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_change_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_change_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
    )
    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.create_index("ix_change_subject", ["subject", "subject_id", "at"], unique=False)
        batch_op.create_index("ix_change_unit_at", ["unit_id", "at"], unique=False)

    op.create_table(
        "motor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.Text(), nullable=False),
        sa.Column("tag_key", sa.Text(), nullable=False),
        sa.Column("service", sa.Text(), nullable=False),
        sa.Column("area", sa.Text(), nullable=False),
        sa.Column("route_order", sa.Double(), nullable=True),
        sa.Column("checked_every", sa.Text(), nullable=False),
        sa.Column("condition", sa.Text(), nullable=True),
        sa.Column("condition_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lock_tag", sa.Text(), nullable=True),
        sa.Column("lock_owner", sa.Text(), nullable=True),
        sa.Column("interlock", sa.Text(), nullable=True),
        sa.Column("ammeter", sa.Text(), nullable=True),
        sa.Column("by_control_room", sa.Text(), nullable=False),
        sa.Column("standby_partner", sa.Text(), nullable=True),
        sa.Column("start_basis", sa.Text(), nullable=False),
        sa.Column("accepted_normal_feel", sa.Text(), nullable=True),
        sa.Column("new_normal_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("written_starts_per_hour", sa.Double(), nullable=True),
        sa.Column("written_spacing_min", sa.Double(), nullable=True),
        sa.Column("written_run_min", sa.Double(), nullable=True),
        sa.Column("written_tries", sa.Integer(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "\"ammeter\" IN ('none', 'one', 'three', 'control room')", name=op.f("ck_motor_ammeter_known")
        ),
        sa.CheckConstraint("\"checked_every\" IN ('shift', 'day', 'week')", name=op.f("ck_motor_checked_every_known")),
        sa.CheckConstraint(
            "\"condition\" IN ('running', 'standby', 'out of service', 'locked out')",
            name=op.f("ck_motor_condition_known"),
        ),
        sa.CheckConstraint(
            "\"interlock\" IN ('low-voltage protection', 'low-voltage release', 'automatic start')",
            name=op.f("ck_motor_interlock_known"),
        ),
        sa.CheckConstraint(
            "\"start_basis\" IN ('general practice', 'table', 'written procedure')",
            name=op.f("ck_motor_start_basis_known"),
        ),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_motor_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_motor")),
        sa.UniqueConstraint("unit_id", "tag_key", name=op.f("uq_motor_unit_id_tag_key")),
    )
    with op.batch_alter_table("motor", schema=None) as batch_op:
        batch_op.create_index("ix_motor_walk", ["unit_id", "route_order", "id"], unique=False)

    op.create_table(
        "person_unit",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_person_unit_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_person_unit_unit_id_unit")),
        sa.PrimaryKeyConstraint("person_id", "unit_id", name=op.f("pk_person_unit")),
    )
    with op.batch_alter_table("person_unit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_person_unit_unit_id"), ["unit_id"], unique=False)

    op.create_table(
        "round",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("shift_date", sa.Date(), nullable=False),
        sa.Column("shift_name", sa.Text(), nullable=False),
        sa.Column("starts_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("opened_by_id", sa.Integer(), nullable=True),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("signed_by_id", sa.Integer(), nullable=True),
        sa.Column("signed_state", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["opened_by_id"], ["person.id"], name=op.f("fk_round_opened_by_id_person")),
        sa.ForeignKeyConstraint(["signed_by_id"], ["person.id"], name=op.f("fk_round_signed_by_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_round_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round")),
        sa.UniqueConstraint("unit_id", "shift_date", "shift_name", name=op.f("uq_round_unit_id_shift_date_shift_name")),
    )
    with op.batch_alter_table("round", schema=None) as batch_op:
        batch_op.create_index("ix_round_unit_starts", ["unit_id", "starts_at"], unique=False)

    op.create_table(
        "shift_pattern",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("valid_from", sa.DateTime(timezone=True), nullable=True),
        sa.Column("shifts", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_shift_pattern_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shift_pattern")),
    )
    with op.batch_alter_table("shift_pattern", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_shift_pattern_unit_id"), ["unit_id"], unique=False)

    op.create_table(
        "signed_in",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("address", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_signed_in_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_signed_in_unit_id_unit")),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_signed_in")),
    )
    with op.batch_alter_table("signed_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_signed_in_person_id"), ["person_id"], unique=False)

    op.create_table(
        "token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("\"scope\" IN ('read', 'record')", name=op.f("ck_token_scope_known")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_token_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sa.UniqueConstraint("hash", name=op.f("uq_token_hash")),
        sa.UniqueConstraint("unit_id", "name", name=op.f("uq_token_unit_id_name")),
    )
    op.create_table(
        "finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("cause_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("priority", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("limit_value", sa.Double(), nullable=True),
        sa.Column("unit_of_measure", sa.Text(), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("says", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "\"cause\" IN ('reading', 'greasing', 'start', 'round')", name=op.f("ck_finding_cause_known")
        ),
        sa.CheckConstraint(
            "\"priority\" IN ('act now', 'this shift', 'watch')", name=op.f("ck_finding_priority_known")
        ),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_finding_motor_id_motor")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding")),
        sa.UniqueConstraint("cause_id", "rule", "end", name=op.f("uq_finding_cause_id_rule_end")),
    )
    with op.batch_alter_table("finding", schema=None) as batch_op:
        batch_op.create_index("ix_finding_motor", ["motor_id", "at"], unique=False)

    op.create_table(
        "flag",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("priority", sa.Text(), nullable=False),
        sa.Column("raised_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("raised_by_id", sa.Integer(), nullable=True),
        sa.Column("raised_cause", sa.Text(), nullable=False),
        sa.Column("raised_cause_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("last_seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("times_seen", sa.Integer(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("limit_value", sa.Double(), nullable=True),
        sa.Column("unit_of_measure", sa.Text(), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("says", sa.Text(), nullable=False),
        sa.Column("good_rounds", sa.Integer(), nullable=False),
        sa.Column("good_round_id", sa.Integer(), nullable=True),
        sa.Column("improving_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("returned_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("seen_by_id", sa.Integer(), nullable=True),
        sa.Column("shelved_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("action", sa.Text(), nullable=True),
        sa.Column("action_by_id", sa.Integer(), nullable=True),
        sa.Column("action_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("run_on_reason", sa.Text(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_by_id", sa.Integer(), nullable=True),
        sa.Column("closed_why", sa.Text(), nullable=True),
        sa.Column("before_id", sa.Integer(), nullable=True),
        sa.Column("arrived_late", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("\"priority\" IN ('act now', 'this shift', 'watch')", name=op.f("ck_flag_priority_known")),
        sa.ForeignKeyConstraint(["action_by_id"], ["person.id"], name=op.f("fk_flag_action_by_id_person")),
        sa.ForeignKeyConstraint(["before_id"], ["flag.id"], name=op.f("fk_flag_before_id_flag")),
        sa.ForeignKeyConstraint(["closed_by_id"], ["person.id"], name=op.f("fk_flag_closed_by_id_person")),
        sa.ForeignKeyConstraint(["good_round_id"], ["round.id"], name=op.f("fk_flag_good_round_id_round")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_flag_motor_id_motor")),
        sa.ForeignKeyConstraint(["raised_by_id"], ["person.id"], name=op.f("fk_flag_raised_by_id_person")),
        sa.ForeignKeyConstraint(["seen_by_id"], ["person.id"], name=op.f("fk_flag_seen_by_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_flag_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_flag")),
    )
    with op.batch_alter_table("flag", schema=None) as batch_op:
        batch_op.create_index("ix_flag_motor", ["motor_id", "raised_at"], unique=False)
        batch_op.create_index("ix_flag_unit_closed", ["unit_id", "closed_at"], unique=False)
        batch_op.create_index(
            "ix_flag_unit_open",
            ["unit_id", "id"],
            unique=False,
            sqlite_where=sa.text("closed_at IS NULL"),
            postgresql_where=sa.text("closed_at IS NULL"),
        )
        batch_op.create_index("ix_flag_unit_raised", ["unit_id", "raised_at"], unique=False)
        batch_op.create_index(
            "uq_flag_open",
            ["motor_id", "rule", "end"],
            unique=True,
            sqlite_where=sa.text("closed_at IS NULL"),
            postgresql_where=sa.text("closed_at IS NULL"),
        )

    op.create_table(
        "greasing",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("lubricant", sa.Text(), nullable=True),
        sa.Column("thickener", sa.Text(), nullable=True),
        sa.Column("grams", sa.Double(), nullable=True),
        sa.Column("run_s", sa.Double(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("\"end\" IN ('DE', 'ODE')", name=op.f("ck_greasing_end_known")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_greasing_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_greasing_person_id_person")),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name=op.f("fk_greasing_token_id_token")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_greasing_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_greasing")),
    )
    with op.batch_alter_table("greasing", schema=None) as batch_op:
        batch_op.create_index("ix_greasing_motor", ["motor_id", "end", "at"], unique=False)
        batch_op.create_index("ix_greasing_unit", ["unit_id", "at"], unique=False)

    op.create_table(
        "limit_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_limit_change_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_limit_change_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_limit_change_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_limit_change")),
    )
    with op.batch_alter_table("limit_change", schema=None) as batch_op:
        batch_op.create_index("ix_limit_change_unit", ["unit_id", "name", "at"], unique=False)

    op.create_table(
        "lubrication_point",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("lubricant", sa.Text(), nullable=True),
        sa.Column("thickener", sa.Text(), nullable=True),
        sa.Column("grease_g", sa.Double(), nullable=True),
        sa.Column("interval_days", sa.Double(), nullable=True),
        sa.Column("interval_run_h", sa.Double(), nullable=True),
        sa.Column("last_greased", sa.Date(), nullable=True),
        sa.Column("last_greased_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("valid_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.CheckConstraint("\"end\" IN ('DE', 'ODE')", name=op.f("ck_lubrication_point_end_known")),
        sa.CheckConstraint("\"kind\" IN ('grease', 'oil', 'sealed')", name=op.f("ck_lubrication_point_kind_known")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_lubrication_point_motor_id_motor")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_lubrication_point_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lubrication_point")),
    )
    with op.batch_alter_table("lubrication_point", schema=None) as batch_op:
        batch_op.create_index(
            "uq_lubrication_point_current",
            ["motor_id", "end"],
            unique=True,
            sqlite_where=sa.text("replaced_at IS NULL"),
            postgresql_where=sa.text("replaced_at IS NULL"),
        )

    op.create_table(
        "motor_run",
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("first_observed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("observed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("run_s", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_motor_run_motor_id_motor")),
        sa.PrimaryKeyConstraint("motor_id", name=op.f("pk_motor_run")),
    )
    op.create_table(
        "nameplate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("fitted_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("fitted_on", sa.Date(), nullable=True),
        sa.Column("entered_by_id", sa.Integer(), nullable=True),
        sa.Column("confirmed_by_id", sa.Integer(), nullable=True),
        sa.Column("confirmed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("hp_stamped", sa.Text(), nullable=True),
        sa.Column("volts_stamped", sa.Text(), nullable=True),
        sa.Column("amps_stamped", sa.Text(), nullable=True),
        sa.Column("sfa_stamped", sa.Text(), nullable=True),
        sa.Column("hp", sa.Double(), nullable=True),
        sa.Column("connected_volts", sa.Double(), nullable=True),
        sa.Column("volts", sa.Double(), nullable=True),
        sa.Column("amps", sa.Double(), nullable=True),
        sa.Column("service_factor", sa.Double(), nullable=True),
        sa.Column("service_factor_amps", sa.Double(), nullable=True),
        sa.Column("phases", sa.Integer(), nullable=True),
        sa.Column("hz", sa.Double(), nullable=True),
        sa.Column("rpm", sa.Double(), nullable=True),
        sa.Column("poles", sa.Integer(), nullable=True),
        sa.Column("code_letter", sa.Text(), nullable=True),
        sa.Column("frame", sa.Text(), nullable=True),
        sa.Column("enclosure", sa.Text(), nullable=True),
        sa.Column("insulation_class", sa.Text(), nullable=True),
        sa.Column("ambient_c", sa.Double(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("mounting", sa.Text(), nullable=True),
        sa.Column("load_wk2_lbft2", sa.Double(), nullable=True),
        sa.Column("de_bearing", sa.Text(), nullable=True),
        sa.Column("ode_bearing", sa.Text(), nullable=True),
        sa.CheckConstraint("\"mounting\" IN ('rigid', 'flexible')", name=op.f("ck_nameplate_mounting_known")),
        sa.ForeignKeyConstraint(["confirmed_by_id"], ["person.id"], name=op.f("fk_nameplate_confirmed_by_id_person")),
        sa.ForeignKeyConstraint(["entered_by_id"], ["person.id"], name=op.f("fk_nameplate_entered_by_id_person")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_nameplate_motor_id_motor")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_nameplate")),
    )
    with op.batch_alter_table("nameplate", schema=None) as batch_op:
        batch_op.create_index("ix_nameplate_motor", ["motor_id", "fitted_from"], unique=False)

    op.create_table(
        "note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("flag_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["flag_id"], ["flag.id"], name=op.f("fk_note_flag_id_flag")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_note_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_note")),
    )
    with op.batch_alter_table("note", schema=None) as batch_op:
        batch_op.create_index("ix_note_flag", ["flag_id", "at"], unique=False)

    op.create_table(
        "reading",
        sa.Column("id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("motor_id", sa.Integer(), nullable=False),
        sa.Column("nameplate_id", sa.Integer(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=True),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("taken_at_device", sa.DateTime(timezone=True), nullable=False),
        sa.Column("clock_offset_s", sa.Double(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_later", sa.Boolean(), nullable=False),
        sa.Column("state", sa.Text(), nullable=True),
        sa.Column("condition_before", sa.Text(), nullable=True),
        sa.Column("skip_reason", sa.Text(), nullable=True),
        sa.Column("smoke", sa.Text(), nullable=True),
        sa.Column("guard", sa.Text(), nullable=True),
        sa.Column("ground", sa.Text(), nullable=True),
        sa.Column("leak", sa.Text(), nullable=True),
        sa.Column("vibration_feel_de", sa.Text(), nullable=True),
        sa.Column("vibration_feel_ode", sa.Text(), nullable=True),
        sa.Column("vibration_mm_s_de", sa.Double(), nullable=True),
        sa.Column("vibration_mm_s_ode", sa.Double(), nullable=True),
        sa.Column("bearing_feel_de", sa.Text(), nullable=True),
        sa.Column("bearing_feel_ode", sa.Text(), nullable=True),
        sa.Column("bearing_temp_c_de", sa.Double(), nullable=True),
        sa.Column("bearing_temp_c_ode", sa.Double(), nullable=True),
        sa.Column("winding_feel", sa.Text(), nullable=True),
        sa.Column("winding_temp_c", sa.Double(), nullable=True),
        sa.Column("winding_method", sa.Text(), nullable=True),
        sa.Column("current_a_1", sa.Double(), nullable=True),
        sa.Column("current_a_2", sa.Double(), nullable=True),
        sa.Column("current_a_3", sa.Double(), nullable=True),
        sa.Column("voltage_v_1", sa.Double(), nullable=True),
        sa.Column("voltage_v_2", sa.Double(), nullable=True),
        sa.Column("voltage_v_3", sa.Double(), nullable=True),
        sa.Column("lubricant_de", sa.Text(), nullable=True),
        sa.Column("lubricant_ode", sa.Text(), nullable=True),
        sa.Column("cleanliness", sa.Text(), nullable=True),
        sa.Column("ambient_c", sa.Double(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("unread", sa.JSON(), nullable=False),
        sa.Column("typed", sa.JSON(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("replaces_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=True),
        sa.Column("replaces_why", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "\"state\" IN ('running', 'standby', 'out of service', 'locked out')", name=op.f("ck_reading_state_known")
        ),
        sa.CheckConstraint("state IS NOT NULL OR skip_reason IS NOT NULL", name=op.f("ck_reading_state_or_skipped")),
        sa.ForeignKeyConstraint(["motor_id"], ["motor.id"], name=op.f("fk_reading_motor_id_motor")),
        sa.ForeignKeyConstraint(["nameplate_id"], ["nameplate.id"], name=op.f("fk_reading_nameplate_id_nameplate")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_reading_person_id_person")),
        sa.ForeignKeyConstraint(["replaces_id"], ["reading.id"], name=op.f("fk_reading_replaces_id_reading")),
        sa.ForeignKeyConstraint(["round_id"], ["round.id"], name=op.f("fk_reading_round_id_round")),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name=op.f("fk_reading_token_id_token")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_reading_unit_id_unit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index("ix_reading_motor_taken", ["motor_id", "taken_at"], unique=False)
        batch_op.create_index("ix_reading_round", ["round_id"], unique=False)
        batch_op.create_index(
            "ix_reading_running",
            ["motor_id", "taken_at"],
            unique=False,
            sqlite_where=sa.text("state = 'running' AND skip_reason IS NULL"),
            postgresql_where=sa.text("state = 'running' AND skip_reason IS NULL"),
        )
        batch_op.create_index("ix_reading_unit_taken", ["unit_id", "taken_at"], unique=False)
        batch_op.create_index("ix_reading_person", ["person_id", "taken_at"], unique=False)
        batch_op.create_index("uq_reading_replaces", ["replaces_id"], unique=True)

    op.create_table(
        "sighting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("flag_id", sa.Integer(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("cause_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("priority", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("limit_value", sa.Double(), nullable=True),
        sa.Column("unit_of_measure", sa.Text(), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("says", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["flag_id"], ["flag.id"], name=op.f("fk_sighting_flag_id_flag")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sighting_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sighting")),
        sa.UniqueConstraint("flag_id", "cause_id", name=op.f("uq_sighting_flag_id_cause_id")),
    )


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
