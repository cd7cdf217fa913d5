"""What all tables share: the naming of constraints, UTC moments, closed lists of words."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, DateTime, Dialect, MetaData, String, TypeDecorator
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import DeclarativeBase

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Moment(TypeDecorator[datetime]):
    """An aware moment, stored in UTC; a naive one is refused."""

    impl = DateTime
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> Any:
        """Time with zone where the database has one."""
        return dialect.type_descriptor(DateTime(timezone=dialect.name == "postgresql"))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To UTC; without the zone on SQLite, which stores text."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no time zone; moments are aware")
        value = value.astimezone(UTC)
        return value if dialect.name == "postgresql" else value.replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Aware, in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


Document = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")
"""A small JSON value."""


def one_of(column: str, words: Sequence[str]) -> CheckConstraint:
    """Constraint that `column` holds one of `words` (or nothing, where it may be empty)."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


class Row(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {  # noqa: RUF012  (SQLAlchemy reads it as a plain dict)
        datetime: Moment,
        dict[str, Any]: Document,
        list[str]: Document,
        list[int]: Document,
        list[dict[str, Any]]: Document,
        str: String,
    }
