"""carried entry"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        "carried_entry",
        sa.Column("entry_id", sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql"), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("ticket_issued_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_carried_entry_person_id_person")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_carried_entry_unit_id_unit")),
        sa.PrimaryKeyConstraint("entry_id", name=op.f("pk_carried_entry")),
    )


def downgrade():
    raise NotImplementedError("restore the copy that was made before the upgrade")
