"""Pages for running the place: settings, accounts, first steps, forms to copy."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.calendar import time_zones
from inbox.occasions import countries
from inbox.records.accounts import accounts, get_account, has_owner, has_password
from inbox.records.tables import Message, Recipe
from inbox.records.tables_out import DigestRow
from inbox.settings import Settings, help_of, owner_settings
from inbox.web.form_words import WORDS, load_words
from inbox.web.page import Page
from inbox.web.phrasing import Choice

GROUPS: Mapping[str, tuple[str, ...]] = {
    "You and your site": ("site_name", "site_url", "owner_name", "owner_email", "timezone", "country"),
    "Planning": ("occasions", "lead_time_weeks", "effort_weight"),
    "The digest": ("digest_weekday", "digest_hour"),
    "Replies": ("reply_hold_minutes", "replies_a_day"),
    "Forms for readers": ("form_ink", "form_accent", "form_typeface", "form_sites"),
    "Comes in by itself": ("feeds",),
    "Learning from you": ("learn_after_labels",),
    "Keeping": ("keep_raw_days",),
}


def _countries() -> list[Choice]:
    return [("", "not said"), *countries()]


@dataclass(frozen=True)
class SettingLine:
    """One setting as it counts, and whether it is the page's to change."""

    name: str
    label: str
    help: str
    value: str
    is_given: bool
    wrong: str = ""


LABELS = {
    "site_name": "Name of your site",
    "site_url": "Address of your site",
    "owner_name": "Your first name",
    "owner_email": "Your e-mail address",
    "timezone": "Your time zone",
    "country": "Your country",
    "occasions": "Occasions you plan for",
    "lead_time_weeks": "Weeks to plan ahead",
    "effort_weight": "How much the work counts",
    "digest_weekday": "Day of the digest",
    "digest_hour": "Hour of the digest",
    "form_ink": "Colour of the words",
    "form_accent": "Colour of the button",
    "form_typeface": "Typeface",
    "form_sites": "Sites that may show the forms",
    "feeds": "Feeds of comments",
    "learn_after_labels": "Learn after so many corrections",
    "reply_hold_minutes": "Minutes a reply waits before it goes",
    "replies_a_day": "Most replies in a day",
    "keep_raw_days": "Days to keep the originals",
}
"""What the settings are called on the page; their names are for files and the command."""


@dataclass(frozen=True)
class PersonLine:
    """Somebody who may sign in."""

    id: int
    name: str
    role: str
    since: datetime
    gives_code: bool


@dataclass(frozen=True)
class SecondStepPage(Page):
    """Somebody else's second step, to be switched off."""

    template: ClassVar[str] = "owner/second_step.html"
    id: int
    name: str
    is_on: bool
    is_me: bool
    has_password: bool
    """Whether the owner has one to give."""
    trouble: str = ""


def load_second_step(session: Session, account_id: int, me: int, trouble: str = "") -> SecondStepPage:
    """The page about one person's second step, for the owner `me`."""
    person = get_account(session, account_id)
    return SecondStepPage(
        id=person.id,
        name=person.name,
        is_on=person.code_secret is not None,
        is_me=person.id == me,
        has_password=has_password(session, me),
        trouble=trouble,
    )


@dataclass(frozen=True)
class SettingsPage(Page):
    """What the owner may change."""

    template: ClassVar[str] = "owner/settings.html"
    holds_secret: ClassVar[bool] = True
    groups: list[tuple[str, list[SettingLine]]]
    people: list[PersonLine]
    me: int
    link: str = ""
    troubles: list[tuple[str, str]] = field(default_factory=list)
    zones: list[str] = field(default_factory=time_zones)
    countries: list[Choice] = field(default_factory=_countries)


def load_settings(
    session: Session,
    counted: Settings,
    me: int,
    *,
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
) -> SettingsPage:
    """The settings page; `typed` and `wrong` show a form that could not be kept."""
    typed, wrong = typed or {}, wrong or {}
    grouped = {name for names in GROUPS.values() for name in names}
    rest = tuple(name for name in owner_settings() if name not in grouped)
    return SettingsPage(
        groups=[
            (title, [_setting_line(name, counted, typed, wrong) for name in names])
            for title, names in {**GROUPS, "Further": rest}.items()
            if names
        ],
        people=[
            PersonLine(row.id, row.name, row.role, row.created_at, row.code_secret is not None)
            for row in accounts(session)
        ],
        me=me,
        troubles=list(wrong.items()),
    )


def _setting_line(
    name: str,
    counted: Settings,
    typed: Mapping[str, str],
    wrong: Mapping[str, str],
) -> SettingLine:
    return SettingLine(
        name=name,
        label=LABELS.get(name, name.replace("_", " ").capitalize()),
        help=help_of(name),
        value=typed.get(name, str(getattr(counted, name))),
        is_given=name in counted.given,
        wrong=wrong.get(name, ""),
    )


@dataclass(frozen=True)
class Step:
    """One of the first steps: what, where, whether it is done."""

    name: str
    words: str
    href: str
    is_done: bool


@dataclass(frozen=True)
class SetupPage(Page):
    """The first steps; before there is an owner the first of them is a form."""

    template: ClassVar[str] = "owner/setup.html"
    is_begun: bool
    steps: list[Step]
    typed: Mapping[str, str]
    troubles: list[tuple[str, str]]
    has_messages: bool
    zones: list[str] = field(default_factory=time_zones)
    countries: list[Choice] = field(default_factory=_countries)


def load_setup(
    session: Session,
    counted: Settings,
    *,
    typed: Mapping[str, str] | None = None,
    troubles: list[tuple[str, str]] | None = None,
) -> SetupPage:
    """Where the beginning stands."""

    def there(column: object) -> bool:
        return session.scalar(select(func.max(column))) is not None

    begun = has_owner(session)
    has_messages = there(Message.id)
    return SetupPage(
        is_begun=begun,
        steps=[
            Step("You and your site", "Name, zone and password.", "/settings", begun),
            Step(
                "Your recipes",
                "From the address of a page of yours, or from files.",
                "/bring-in#catalogue",
                there(Recipe.id),
            ),
            Step("What readers wrote so far", "Old mail, a table of comments.", "/bring-in", has_messages),
            Step("A form on your site", "Two lines to copy into a page.", "/forms", bool(counted.site_url)),
            Step(
                "Mail",
                "Optional: until it is set up, mail is written into the folder outbox.",
                "/setup/mail",
                counted.mail_by == "smtp",
            ),
            Step("The first digest", "One page on what matters.", "/digest", there(DigestRow.id)),
        ],
        typed=typed or {},
        troubles=troubles or [],
        has_messages=has_messages,
    )


@dataclass(frozen=True)
class MailPage(Page):
    """How mail is set up: by the environment, since it holds a password."""

    template: ClassVar[str] = "owner/mail.html"
    mail_by: str
    smtp_host: str
    imap_host: str
    outbox: str


@dataclass(frozen=True)
class FormsPage(Page):
    """Forms to copy into the owner's site."""

    template: ClassVar[str] = "owner/forms.html"
    base: str
    slug: str
    recipe: str
    recipes: list[tuple[str, str]]
    words: Mapping[str, str]
    forms: list[str]
    frame_sites: list[str]


@dataclass(frozen=True)
class FormWordsPage(Page):
    """The texts on readers' forms, to reword."""

    template: ClassVar[str] = "owner/form_words.html"
    words: Mapping[str, str]
    usual: Mapping[str, str]
    trouble: str = ""


def load_form_words(
    session: Session, typed: Mapping[str, str] | None = None, trouble: str = ""
) -> FormWordsPage:
    """The texts as they count, or as they were typed."""
    return FormWordsPage({**load_words(session), **(typed or {})}, WORDS, trouble)
