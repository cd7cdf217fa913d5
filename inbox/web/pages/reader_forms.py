"""What readers see: the forms, the thanks, what is kept of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import NotFoundError
from inbox.intake.form_guard import make_stamp
from inbox.intake.forms import FORMS, HIDDEN_FIELD, QUESTIONS
from inbox.records.tables import Recipe
from inbox.settings import Settings
from inbox.web.form_words import WORDS, load_words
from inbox.web.page import Page


@dataclass(frozen=True)
class ReaderForm(Page):
    """One form, empty or with what was typed."""

    template: ClassVar[str] = "forms/form.html"
    form: str
    slug: str
    recipe: str
    recipe_url: str
    words: Mapping[str, str]
    questions: list[str]
    stamp: str
    typed: Mapping[str, str]
    problems: Mapping[str, str] = field(default_factory=dict)
    lead: str = ""
    hidden_field: str = HIDDEN_FIELD
    owner_name: str = ""

    @property
    def path(self) -> str:
        """Address that the form is sent to."""
        return f"/f/{self.form}/{self.slug}" if self.slug else f"/f/{self.form}"


@dataclass(frozen=True)
class ReaderChoice(Page):
    """The forms to choose from, for a recipe or for the site."""

    template: ClassVar[str] = "forms/choice.html"
    slug: str
    recipe: str
    words: Mapping[str, str]
    forms: list[str]


@dataclass(frozen=True)
class Thanks(Page):
    """What a reader sees once the words are safe."""

    template: ClassVar[str] = "forms/thanks.html"
    form: str
    recipe: str
    recipe_url: str
    words: Mapping[str, str]


@dataclass(frozen=True)
class Privacy(Page):
    """What this installation keeps of readers, in plain words, from its settings."""

    template: ClassVar[str] = "forms/privacy.html"
    owner_name: str
    owner_email: str
    site_name: str
    keep_raw_days: int
    reads_mailbox: bool
    reads_feeds: bool


@dataclass(frozen=True)
class Unsubscribe(Page):
    """A reader who no longer wants to be told."""

    template: ClassVar[str] = "forms/unsubscribe.html"
    holds_secret: ClassVar[bool] = True
    token: str
    done: bool
    known: bool


def load_form(
    session: Session, form: str, slug: str, settings: Settings, *, now: datetime, stamped: bool = True
) -> ReaderForm:
    """The empty form; raises NotFoundError for a form or recipe that there is not."""
    if form not in FORMS:
        raise NotFoundError("There is no such form.")
    recipe = find_recipe(session, slug)
    return ReaderForm(
        form=form,
        slug=slug,
        recipe=recipe.title if recipe else "",
        recipe_url=(recipe.url or "") if recipe else settings.site_url,
        words=load_words(session),
        questions=[name for name, _ in QUESTIONS[form]],
        stamp=make_stamp(session, form, now=now) if stamped else "",
        typed={},
        owner_name=settings.owner_name,
    )


def form_without_ledger(form: str, slug: str, typed: Mapping[str, str], settings: Settings) -> ReaderForm:
    """The form with the reader's words, when nothing can be read or written."""
    return ReaderForm(
        form=form if form in FORMS else "general",
        slug=slug,
        recipe="",
        recipe_url="",
        words=WORDS,
        questions=[name for name, _ in QUESTIONS.get(form, ())],
        stamp=typed.get("stamp", ""),
        typed=typed,
        problems={"": "Not taken, please try again in a minute. Your words are still in the form."},
        owner_name=settings.owner_name,
    )


def find_recipe(session: Session, slug: str) -> Recipe | None:
    """Recipe that a form stands on; None for the site's own."""
    if not slug:
        return None
    recipe = session.scalar(select(Recipe).where(Recipe.slug == slug))
    if recipe is None:
        raise NotFoundError(
            "There is no such recipe here. It may have moved; the site's own form still works."
        )
    return recipe


def load_choice(session: Session, slug: str) -> ReaderChoice:
    """The forms for one recipe, or for the site."""
    recipe = find_recipe(session, slug)
    return ReaderChoice(
        slug=slug,
        recipe=recipe.title if recipe else "",
        words=load_words(session),
        forms=[form for form in FORMS if recipe or form not in ("made_it", "went_wrong")],
    )


def load_thanks(session: Session, form: str, slug: str, settings: Settings) -> Thanks:
    """The thanks; an unknown form or recipe is passed over, since the words are safe already."""
    recipe = session.scalar(select(Recipe).where(Recipe.slug == slug)) if slug else None
    return Thanks(
        form=form if form in FORMS else "general",
        recipe=recipe.title if recipe else "",
        recipe_url=(recipe.url or "") if recipe else settings.site_url,
        words=load_words(session),
    )
