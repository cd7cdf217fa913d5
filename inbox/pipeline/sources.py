"""How this installation brings things in: what imports need of its settings, and fetching its pages."""

from collections.abc import Mapping
from datetime import datetime

from inbox.intake.sources import ImportOptions
from inbox.settings import Settings


def import_options(
    settings: Settings,
    *,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    dates: str | None = None,
    encoding: str | None = None,
) -> ImportOptions:
    """What an import needs to know.

    Parameters
    ----------
    columns : mapping of str to str, optional
        Field to head of a table's column.
    dates : {"day-first", "month-first"}, optional
        How a table writes its dates; None where the file itself must tell.
    encoding : str, optional
        How a CSV file is written; None where the file itself must tell.
    """
    return ImportOptions(
        now=now,
        own_addresses=frozenset(filter(None, [settings.owner_email.casefold()])),
        zone=settings.zone,
        columns=dict(columns) if columns else None,
        day_first=None if dates is None else dates == "day-first",
        encoding=encoding,
        photo_limit_bytes=settings.photo_limit_bytes,
    )
