"""Index the words of messages, and remember what can be undone.

The index has the messages table as its content, so no word is stored twice; triggers keep
it in step, whoever writes. On PostgreSQL an index over the words does the same.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Document, Moment

revision = "20261125_finding"
down_revision = "20261125_sketches"
branch_labels = None
depends_on = None

_SQLITE = (
    """
    CREATE VIRTUAL TABLE message_words USING fts5(
        subject, text, content='messages', content_rowid='id', tokenize='porter unicode61 remove_diacritics 2'
    )
    """,
    """
    CREATE TRIGGER message_words_added AFTER INSERT ON messages BEGIN
        INSERT INTO message_words(rowid, subject, text) VALUES (new.id, new.subject, new.text);
    END
    """,
    """
    CREATE TRIGGER message_words_gone AFTER DELETE ON messages BEGIN
        INSERT INTO message_words(message_words, rowid, subject, text)
        VALUES ('delete', old.id, old.subject, old.text);
    END
    """,
    """
    CREATE TRIGGER message_words_changed AFTER UPDATE OF subject, text ON messages BEGIN
        INSERT INTO message_words(message_words, rowid, subject, text)
        VALUES ('delete', old.id, old.subject, old.text);
        INSERT INTO message_words(rowid, subject, text) VALUES (new.id, new.subject, new.text);
    END
    """,
    "INSERT INTO message_words(message_words) VALUES ('rebuild')",
)
_POSTGRESQL = (
    "CREATE INDEX message_words ON messages USING gin "
    "(to_tsvector('english', coalesce(subject, '') || ' ' || text))",
)


def upgrade() -> None:
    op.create_table(
        "undo_steps",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("before", Document, nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"],
            ["accounts.id"],
            name=op.f("fk_undo_steps_account_id_accounts"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_undo_steps")),
    )
    op.create_index(op.f("ix_undo_steps_account_id"), "undo_steps", ["account_id"])
    for statement in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL:
        op.execute(statement)


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for name in ("added", "gone", "changed"):
            op.execute(f"DROP TRIGGER message_words_{name}")
        op.execute("DROP TABLE message_words")
    else:
        op.execute("DROP INDEX message_words")
    op.drop_table("undo_steps")
