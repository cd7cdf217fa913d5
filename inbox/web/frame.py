"""What stands around every page: the site's name, who is signed in, what needs the owner now."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from inbox.pipeline.works import is_being_reckoned
from inbox.records.accounts import SignedIn
from inbox.records.hazards import count_waiting
from inbox.settings import Settings


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


def load_frame(session: Session, settings: Settings, account: SignedIn | None, *, now: datetime) -> Frame:
    """Frame for one request."""
    if account is None:
        return Frame.without_ledger(settings)
    return Frame(
        site_name=settings.site_name,
        site_url=settings.site_url,
        zone=settings.zone,
        person=account.name,
        role=account.role,
        open_hazard_count=count_waiting(session, now=now),
        is_being_reckoned=is_being_reckoned(session),
    )
