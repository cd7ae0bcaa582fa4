"""limits from a date; the code of the first set-up"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade():
    with op.batch_alter_table("limit_change", schema=None) as batch_op:
        batch_op.add_column(sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=True))

    op.create_table(
        "set_up_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_set_up_code")),
    )


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
