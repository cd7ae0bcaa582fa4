"""Where a session was begun, in plain words."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade():
    with op.batch_alter_table("signed_in", schema=None) as batch_op:
        batch_op.add_column(sa.Column("browser", sa.Text(), nullable=True))


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
