"""An index of the readings with words, for the search."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

HAS_WORDS = "(remarks <> '' OR skip_reason IS NOT NULL)"


def upgrade():
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(
            "ix_reading_words",
            ["unit_id", "taken_at"],
            unique=False,
            sqlite_where=sa.text(HAS_WORDS),
            postgresql_where=sa.text(HAS_WORDS),
        )


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
