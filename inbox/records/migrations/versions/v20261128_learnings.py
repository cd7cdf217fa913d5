"""Keep what was learned from hand labels, and whether it was taken.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Document, Moment

revision = "20261128_learnings"
down_revision = "20261125_mentions"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "learnings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tried_at", Moment(), nullable=False),
        sa.Column("taken", sa.Boolean(), nullable=False),
        sa.Column("label_count", sa.Integer(), nullable=False),
        sa.Column("right_before", sa.Double(), nullable=False),
        sa.Column("right_after", sa.Double(), nullable=False),
        sa.Column("labels", Document, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learnings")),
    )


def downgrade() -> None:
    op.drop_table("learnings")
