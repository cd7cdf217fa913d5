"""Keep which points of a hazard's check list were looked at, and which messages had asked an answered question.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Document, Moment

revision = "20261128_looked_at"
down_revision = "20261128_learnings"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "hazard_ticks",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("point", sa.String(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=True),
        sa.Column("ticked_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_hazard_ticks_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["messages.id"],
            name=op.f("fk_hazard_ticks_message_id_messages"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("message_id", "point", name=op.f("pk_hazard_ticks")),
    )
    with op.batch_alter_table("mended") as batch_op:
        batch_op.add_column(sa.Column("message_ids", Document, nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("mended") as batch_op:
        batch_op.drop_column("message_ids")
    op.drop_table("hazard_ticks")
