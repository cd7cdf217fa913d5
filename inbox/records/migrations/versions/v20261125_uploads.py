"""Keep uploads in pieces.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

revision = "20261125_uploads"
down_revision = "20261125_replies"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "upload_pieces",
        sa.Column("work_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["work_id"], ["long_work.id"], name=op.f("fk_upload_pieces_work_id_long_work"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("work_id", "number", name=op.f("pk_upload_pieces")),
    )
    with op.batch_alter_table("long_work", schema=None) as batch_op:
        batch_op.drop_column("upload")


def downgrade() -> None:
    with op.batch_alter_table("long_work", schema=None) as batch_op:
        batch_op.add_column(sa.Column("upload", sa.BLOB(), nullable=True))

    op.drop_table("upload_pieces")
