"""Your sign-in: the second step, spare codes, where one is signed in, what happened at the door lately."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

import segno
from sqlalchemy.orm import Session

from inbox.records import door_book, second_step
from inbox.records.accounts import SignedIn, has_password, live_sign_ins
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
class SignInLine:
    """One sign-in that is in force; when it was last used is known to within an hour."""

    id: int
    since: datetime
    seen_at: datetime
    is_this: bool


@dataclass(frozen=True)
class YourSignInPage(Page):
    """How somebody signs in, and what happened at the door lately."""

    template: ClassVar[str] = "entry/your_sign_in.html"
    has_password: bool
    is_on: bool
    spare_count: int
    sign_ins: list[SignInLine]
    lines: list[DoorLine]
    trouble: str = ""
    ending_trouble: str = ""


@dataclass(frozen=True)
class PhonePage(Page):
    """The secret for the phone, to scan or to type; `proof` carries it to the next step."""

    template: ClassVar[str] = "entry/phone.html"
    holds_secret: ClassVar[bool] = True
    secret: str
    picture: str
    proof: str
    trouble: str = ""


@dataclass(frozen=True)
class SpareCodesPage(Page):
    """Spare codes, which are shown only now."""

    template: ClassVar[str] = "entry/spare_codes.html"
    holds_secret: ClassVar[bool] = True
    codes: list[str]


def load_your_sign_in(
    session: Session, me: SignedIn, *, now: datetime, trouble: str = "", ending_trouble: str = ""
) -> YourSignInPage:
    """The page of one person; the troubles are said beside the second step and the list of sign-ins."""
    return YourSignInPage(
        has_password=has_password(session, me.account_id),
        is_on=second_step.is_on(session, me.account_id),
        spare_count=second_step.count_spare_codes(session, me.account_id),
        sign_ins=[
            SignInLine(row.id, row.created_at, row.seen_at, row.id == me.sign_in_id)
            for row in live_sign_ins(session, me.account_id, now=now)
        ],
        lines=[
            DoorLine(
                row.happened_at,
                DOOR_EVENTS.get(row.what, row.what),
                "a browser that was here before" if row.known_browser else "a new browser",
            )
            for row in door_book.newest(session, me.account_id, limit=LINES)
        ],
        trouble=trouble,
        ending_trouble=ending_trouble,
    )


def phone_page(secret: str, proof: str, *, name: str, site_name: str, trouble: str = "") -> PhonePage:
    """The page with the secret as a QR code, drawn here as SVG, and in letters of four."""
    address = second_step.address_for_phone(secret, name=name, site_name=site_name)
    picture = segno.make(address, error="m", micro=False).svg_data_uri(scale=5, border=4, light="white")
    spaced = " ".join(secret[at : at + 4] for at in range(0, len(secret), 4))
    return PhonePage(spaced, picture, proof, trouble)
