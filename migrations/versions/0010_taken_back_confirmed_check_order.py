"""taken back confirmed check order"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade():
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.add_column(sa.Column("confirmed", sa.JSON(), nullable=True))
        batch_op.add_column(sa.Column("taken_back", sa.Boolean(), server_default=sa.false(), nullable=False))

    with op.batch_alter_table("unit", schema=None) as batch_op:
        batch_op.add_column(sa.Column("check_order", sa.JSON(), nullable=True))


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
