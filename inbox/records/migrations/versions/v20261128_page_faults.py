"""How often each fault of a recipe's page was told of since it was mended, kept instead of counted by pages.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

revision = "20261128_page_faults"
down_revision = "20261128_second_step"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "page_faults",
        sa.Column("recipe_id", sa.Integer(), nullable=False),
        sa.Column("fault", sa.String(), nullable=False),
        sa.Column("told_count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recipe_id"], ["recipes.id"], name=op.f("fk_page_faults_recipe_id_recipes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("recipe_id", "fault", name=op.f("pk_page_faults")),
    )
    op.create_index(op.f("ix_page_faults_told_count"), "page_faults", ["told_count"])
    op.execute(
        "INSERT INTO page_faults (recipe_id, fault, told_count) "
        "SELECT told.recipe_id, told.fault, count(*) FROM message_faults AS told "
        "LEFT JOIN (SELECT recipe_id, what, max(mended_at) AS at FROM mended GROUP BY recipe_id, what) "
        "AS done ON done.recipe_id = told.recipe_id AND done.what = told.fault "
        "WHERE told.fault IN ('wrong_amount', 'missing_step', 'unclear_step', 'wrong_time', 'wrong_yield', "
        "'page_fault') AND told.recipe_id IS NOT NULL "
        "AND (done.at IS NULL OR told.received_at > done.at) GROUP BY told.recipe_id, told.fault"
    )


def downgrade() -> None:
    op.drop_table("page_faults")
