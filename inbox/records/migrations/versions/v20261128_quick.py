"""Indexes for the pages of a large ledger, and a fault's recipe and moment beside the fault.

An index over a column that is nearly always empty leads the planner astray once it has counted;
an index over the rows that hold something does not. Recipe and moment are copied from `labels`
by `records.settle`, which is the only writer of both tables.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Moment

revision = "20261128_quick"
down_revision = "20261128_looked_at"
branch_labels = None
depends_on = None

_SELDOM_SET = ("page_recipe_id", "rfc_message_id", "answers_message_id", "doubtful_twin_id")


def upgrade() -> None:
    op.add_column("message_faults", sa.Column("recipe_id", sa.Integer(), nullable=True))
    op.add_column("message_faults", sa.Column("received_at", Moment(), nullable=True))
    op.execute(
        "UPDATE message_faults SET "
        "recipe_id = (SELECT recipe_id FROM labels WHERE labels.message_id = message_faults.message_id), "
        "received_at = (SELECT received_at FROM labels WHERE labels.message_id = message_faults.message_id)"
    )
    op.create_index(
        "ix_message_faults_told", "message_faults", ["fault", "recipe_id", "received_at", "message_id"]
    )
    op.drop_index("ix_message_faults_fault", "message_faults")
    for column in _SELDOM_SET:
        op.drop_index(f"ix_messages_{column}", "messages")
        there = sa.text(f"{column} IS NOT NULL")
        op.create_index(
            f"ix_messages_{column}", "messages", [column], sqlite_where=there, postgresql_where=there
        )
    op.drop_index("ix_messages_received_at", "messages")
    op.drop_index("ix_messages_reader_id", "messages")
    op.create_index("ix_messages_reader", "messages", ["reader_id", "received_at"])
    there = sa.text("hazard IS NOT NULL")
    op.create_index(
        "ix_labels_any_hazard",
        "labels",
        ["received_at", "message_id"],
        sqlite_where=there,
        postgresql_where=there,
    )
    op.create_index("ix_alerts_message_id", "alerts", ["message_id"])


def downgrade() -> None:
    op.drop_index("ix_alerts_message_id", "alerts")
    op.drop_index("ix_labels_any_hazard", "labels")
    op.drop_index("ix_messages_reader", "messages")
    op.create_index("ix_messages_reader_id", "messages", ["reader_id"])
    op.create_index("ix_messages_received_at", "messages", ["received_at"])
    for column in _SELDOM_SET:
        op.drop_index(f"ix_messages_{column}", "messages")
        op.create_index(f"ix_messages_{column}", "messages", [column])
    op.create_index("ix_message_faults_fault", "message_faults", ["fault"])
    op.drop_index("ix_message_faults_told", "message_faults")
    op.drop_column("message_faults", "received_at")
    op.drop_column("message_faults", "recipe_id")
