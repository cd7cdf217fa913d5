"""Your sign-in: the second step, spare codes, and what happened at the door lately."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

import segno
from sqlalchemy.orm import Session

from inbox.records import door_book, second_step
from inbox.records.accounts import SignedIn, has_password
from inbox.web.page import Page
from inbox.words import DOOR_EVENTS

LINES = 20
"""Events shown; chosen to fit two screens of a phone."""


@dataclass(frozen=True)
class DoorLine:
    """One event at the door."""

    at: datetime
    words: str
    browser: str


@dataclass(frozen=True)
class YourSignInPage(Page):
    """How somebody signs in, and what happened at the door lately."""

    template: ClassVar[str] = "entry/your_sign_in.html"
    has_password: bool
    is_on: bool
    spare_count: int
    lines: list[DoorLine]
    trouble: str = ""


@dataclass(frozen=True)
class PhonePage(Page):
    """The secret for the phone, to scan or to type; `proof` carries it to the next step."""

    template: ClassVar[str] = "entry/phone.html"
    secret: str
    picture: str
    proof: str
    trouble: str = ""


@dataclass(frozen=True)
class SpareCodesPage(Page):
    """Spare codes, which are shown only now."""

    template: ClassVar[str] = "entry/spare_codes.html"
    codes: list[str]


def load_your_sign_in(session: Session, me: SignedIn, trouble: str = "") -> YourSignInPage:
    """The page of one person."""
    return YourSignInPage(
        has_password=has_password(session, me.account_id),
        is_on=second_step.is_on(session, me.account_id),
        spare_count=second_step.count_spare_codes(session, me.account_id),
        lines=[
            DoorLine(
                row.happened_at,
                DOOR_EVENTS.get(row.what, row.what),
                "a browser that was here before" if row.known_browser else "a new browser",
            )
            for row in door_book.newest(session, me.account_id, limit=LINES)
        ],
        trouble=trouble,
    )


def phone_page(secret: str, proof: str, *, name: str, site_name: str, trouble: str = "") -> PhonePage:
    """The page with the secret as a QR code, drawn here as SVG, and in letters of four."""
    address = second_step.address_for_phone(secret, name=name, site_name=site_name)
    picture = segno.make(address, error="m", micro=False).svg_data_uri(scale=5, border=4, light="white")
    spaced = " ".join(secret[at : at + 4] for at in range(0, len(secret), 4))
    return PhonePage(spaced, picture, proof, trouble)
