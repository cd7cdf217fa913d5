"""Let a reply answer several messages of one reader, and a reader take themselves off by a link."""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Document

revision = "20261125_replies"
down_revision = "20261125_first_tables"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("replies") as batch_op:
        batch_op.add_column(sa.Column("also_answers", Document, nullable=False, server_default="[]"))
        batch_op.alter_column("also_answers", server_default=None)
    with op.batch_alter_table("readers") as batch_op:
        batch_op.add_column(sa.Column("unsubscribe_token", sa.String(), nullable=True))
        batch_op.create_unique_constraint(op.f("uq_readers_unsubscribe_token"), ["unsubscribe_token"])


def downgrade() -> None:
    with op.batch_alter_table("readers") as batch_op:
        batch_op.drop_constraint(op.f("uq_readers_unsubscribe_token"), type_="unique")
        batch_op.drop_column("unsubscribe_token")
    with op.batch_alter_table("replies") as batch_op:
        batch_op.drop_column("also_answers")
