"""Keep mentions on readers' own sites until they are verified, and after.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Moment

revision = "20261125_mentions"
down_revision = "20261125_finding"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "mentions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("target", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("received_at", Moment(), nullable=False),
        sa.Column("checked_at", Moment(), nullable=True),
        sa.Column("tried_count", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=True),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "state IN ('waiting', 'verified', 'refused', 'gone')", name=op.f("ck_mentions_state_known")
        ),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["messages.id"],
            name=op.f("fk_mentions_message_id_messages"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mentions")),
        sa.UniqueConstraint("source", "target", name=op.f("uq_mentions_source_target")),
    )
    op.create_index(op.f("ix_mentions_state"), "mentions", ["state"])
    op.create_index(op.f("ix_mentions_message_id"), "mentions", ["message_id"])


def downgrade() -> None:
    op.drop_table("mentions")
