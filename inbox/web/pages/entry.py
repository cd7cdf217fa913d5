"""Pages of the front door: signing in, words kept over it, and what is not for everybody."""

from dataclasses import dataclass, field
from typing import ClassVar

from werkzeug.datastructures import MultiDict

from inbox.web.page import Page

KEPT_PREFIX = "kept:"
"""Marks the fields of another form that wait in the sign-in form until somebody is signed in."""


@dataclass(frozen=True)
class SignInPage(Page):
    """The sign-in form; `kept` holds the fields of a form that was sent after the sign-in had ended."""

    template: ClassVar[str] = "entry/sign_in.html"
    then: str = ""
    name: str = ""
    trouble: str = ""
    kept: list[tuple[str, str]] = field(default_factory=list)


@dataclass(frozen=True)
class CodePage(Page):
    """The second step: the password was given, as `proof` says, and a code is asked for."""

    template: ClassVar[str] = "entry/code.html"
    holds_secret: ClassVar[bool] = True
    proof: str
    then: str = ""
    trouble: str = ""
    kept: list[tuple[str, str]] = field(default_factory=list)


@dataclass(frozen=True)
class StillHerePage(Page):
    """After signing in again: the words that were on their way, to look at and send."""

    template: ClassVar[str] = "entry/still_here.html"
    path: str
    fields: list[tuple[str, str]]


@dataclass(frozen=True)
class PasswordPage(Page):
    """Where a password is chosen."""

    template: ClassVar[str] = "entry/password.html"
    has_one: bool
    trouble: str = ""


@dataclass(frozen=True)
class NotYours(Page):
    """A helper at a page that only the owner may use."""

    template: ClassVar[str] = "entry/not_yours.html"


@dataclass(frozen=True)
class TroublePage(Page):
    """Something could not be done: what, and what to do."""

    template: ClassVar[str] = "entry/trouble.html"
    title: str
    words: str


def ask_to_sign_in(path: str, form: MultiDict[str, str]) -> SignInPage:
    """Sign-in page for a form that came too late; what was typed waits in it."""
    return SignInPage(
        then=path,
        trouble="Your sign-in has ended. Nothing is lost: sign in, and what you typed is still here.",
        kept=[(KEPT_PREFIX + name, value) for name, value in form.items(multi=True) if name != "password"],
    )


def kept_fields(form: MultiDict[str, str]) -> list[tuple[str, str]]:
    """Fields of the form that waited."""
    return [
        (name.removeprefix(KEPT_PREFIX), value)
        for name, value in form.items(multi=True)
        if name.startswith(KEPT_PREFIX)
    ]
