"""Keep requests made ready for comparison.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

revision = "20261125_sketches"
down_revision = "20261125_uploads"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "request_sketches",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("packed", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["messages.id"],
            name=op.f("fk_request_sketches_message_id_messages"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("message_id", name=op.f("pk_request_sketches")),
    )


def downgrade() -> None:
    op.drop_table("request_sketches")
