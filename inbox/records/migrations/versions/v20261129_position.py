"""Whether a message is kept apart, in the index that walks messages in order of time.

Counting a thousand messages from readers then reads the index alone.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

from alembic import op

revision = "20261129_position"
down_revision = "20261128_page_faults"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_index("ix_messages_position", "messages")
    op.create_index("ix_messages_position", "messages", ["received_at", "id", "kept_apart"])


def downgrade() -> None:
    op.drop_index("ix_messages_position", "messages")
    op.create_index("ix_messages_position", "messages", ["received_at", "id"])
