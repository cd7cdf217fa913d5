"""How Alembic runs the migrations: always on the connection that `inbox.records.migrate` hands in."""

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext

from inbox.records import tables, tables_out  # noqa: F401  (they fill the metadata)
from inbox.records.base import Document, Moment, Row
from inbox.records.migrate import is_described


def in_our_words(kind: str, item: Any, _autogenerate: AutogenContext) -> str | Literal[False]:
    """Write our own column types by the names that `script.py.mako` imports."""
    if kind == "type" and isinstance(item, Moment):
        return "Moment()"
    if kind == "type" and item is Document:
        return "Document"
    return False


connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=Row.metadata,
    render_as_batch=True,  # SQLite changes a table by copying it
    compare_type=True,
    render_item=in_our_words,
    include_object=is_described,
)
with context.begin_transaction():
    context.run_migrations()
