"""${message}.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Document, Moment
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = ${repr(branch_labels)}
depends_on = ${repr(depends_on)}


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    ${downgrades if downgrades else "pass"}
