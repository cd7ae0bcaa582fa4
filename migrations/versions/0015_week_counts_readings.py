"""What makes a motor read stands in the index of a unit's readings: a week is compared with the four before it by
counting them, and need not open each."""

from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade():
    op.drop_index("ix_reading_unit_taken", table_name="reading")
    op.create_index("ix_reading_unit_taken", "reading",
                    ["unit_id", "taken_at", "id", "skip_reason", "watch", "token_id", "smoke"])


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
