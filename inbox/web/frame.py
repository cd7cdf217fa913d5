"""What stands around every page: the site's name, who is signed in, what needs the owner now."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.pipeline.works import IS_BEING_RECKONED
from inbox.records.accounts import SignedIn
from inbox.records.hazards import counted_waiting, waits_since
from inbox.settings import Settings

HAZARDS_COUNTED_AT_MOST = 100
"""Beyond that every page says "100 or more"; the page of hazards tells the whole number."""

_FRAME = select(counted_waiting(HAZARDS_COUNTED_AT_MOST), IS_BEING_RECKONED)
"""Asked for by every page, so it is one statement and made once."""


@dataclass(frozen=True)
class Frame:
    """The part of a page that is the same on all of them."""

    site_name: str
    site_url: str
    zone: ZoneInfo
    person: str | None = None
    role: str | None = None
    open_hazard_count: int = 0
    is_being_reckoned: bool = False

    @classmethod
    def without_ledger(cls, settings: Settings) -> "Frame":
        """For pages that say that the ledger cannot be reached."""
        return cls(settings.site_name, settings.site_url, settings.zone)

    @property
    def is_owner(self) -> bool:
        """Whether the owner is signed in."""
        return self.role == "owner"

    @property
    def open_hazard_words(self) -> str:
        """How many hazards wait, such as "3" or "100 or more"."""
        more = " or more" if self.open_hazard_count >= HAZARDS_COUNTED_AT_MOST else ""
        return f"{self.open_hazard_count}{more}"


def load_frame(session: Session, settings: Settings, account: SignedIn | None, *, now: datetime) -> Frame:
    """Frame for one request."""
    if account is None:
        return Frame.without_ledger(settings)
    open_hazard_count, being_reckoned = (
        session.connection().execute(_FRAME, {"since": waits_since(now)}).one()
    )
    return Frame(
        site_name=settings.site_name,
        site_url=settings.site_url,
        zone=settings.zone,
        person=account.name,
        role=account.role,
        open_hazard_count=open_hazard_count,
        is_being_reckoned=bool(being_reckoned),
    )
