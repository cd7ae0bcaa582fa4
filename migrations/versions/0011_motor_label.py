"""A key for each motor that stands in the code on its label."""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"


def upgrade():
    with op.batch_alter_table("motor", schema=None) as batch_op:
        batch_op.add_column(sa.Column("label_key", sa.Text(), nullable=True))

    motor = sa.table("motor", sa.column("id", sa.Integer), sa.column("label_key", sa.Text))
    connection = op.get_bind()
    for key in connection.scalars(sa.select(motor.c.id)).all():
        made = "".join(secrets.choice(LETTERS) for _ in range(8))
        connection.execute(sa.update(motor).where(motor.c.id == key).values(label_key=made))

    with op.batch_alter_table("motor", schema=None) as batch_op:
        batch_op.alter_column("label_key", existing_type=sa.Text(), nullable=False)
        batch_op.create_unique_constraint(batch_op.f("uq_motor_label_key"), ["label_key"])


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
