"""Keep the second step of a sign-in, its spare codes, and what happened at the door.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Moment

revision = "20261128_second_step"
down_revision = "20261128_quick"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("accounts") as batch_op:
        batch_op.add_column(sa.Column("code_secret", sa.String(), nullable=True))
        batch_op.add_column(sa.Column("code_step", sa.Integer(), nullable=True))
    op.create_table(
        "spare_codes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("code_hash", sa.String(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("used_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"],
            ["accounts.id"],
            name=op.f("fk_spare_codes_account_id_accounts"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spare_codes")),
        sa.UniqueConstraint("code_hash", name=op.f("uq_spare_codes_code_hash")),
    )
    op.create_index(op.f("ix_spare_codes_account_id"), "spare_codes", ["account_id"])
    op.create_table(
        "door_notes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("happened_at", Moment(), nullable=False),
        sa.Column("known_browser", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"],
            ["accounts.id"],
            name=op.f("fk_door_notes_account_id_accounts"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_door_notes")),
    )
    op.create_index("ix_door_notes_newest", "door_notes", ["account_id", "happened_at"])


def downgrade() -> None:
    op.drop_table("door_notes")
    op.drop_table("spare_codes")
    with op.batch_alter_table("accounts") as batch_op:
        batch_op.drop_column("code_step")
        batch_op.drop_column("code_secret")
