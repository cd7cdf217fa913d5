"""The words on readers' forms: English as they come, reworded by the owner as saved values."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from sqlalchemy import delete
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.saved import keep, saved_settings
from inbox.records.tables_out import SavedSetting

_PREFIX = "form_words."
LONGEST = 400

WORDS: Final[Mapping[str, str]] = {
    "made_it.name": "I made it",
    "made_it.intro": "How did it go? A line is enough, and the bad ones help most.",
    "made_it.text": "How it went",
    "made_it.changes": "Did you change anything?",
    "went_wrong.name": "Something went wrong",
    "went_wrong.intro": "Tell me what happened. If the fault is in the recipe I want to mend it.",
    "went_wrong.text": "What went wrong",
    "went_wrong.happened": "What did it look or taste like?",
    "went_wrong.step": "At which step?",
    "went_wrong.oven": "Your oven and tin (fan or not, size, glass or metal)",
    "please_make.name": "Please make",
    "please_make.intro": "What should I develop next? Say who it is for, and I understand it better.",
    "please_make.text": "What you wish for",
    "please_make.occasion": "For which occasion?",
    "please_make.diet": "What must it be free of, or suit?",
    "ask.name": "Ask",
    "ask.intro": "Ask away, before or while you cook.",
    "ask.text": "Your question",
    "general.name": "Write to me",
    "general.intro": "Whatever you would like to say.",
    "general.text": "Your words",
    "stars": "How many stars of five, if you like",
    "your_name": "Your first name, if you like",
    "email": "Your e-mail address, only if you want an answer",
    "photos": "Photos, if you took any",
    "reply_wanted": "I would like an answer. My address is kept for that.",
    "may_quote": "You may quote my words, with my first name.",
    "tell_me": "Tell me when it is published. My address is kept for that.",
    "send": "Send",
    "thanks": "Thank you, it has arrived",
    "thanks.next": "I read everything that comes in. If you asked for an answer, it comes by e-mail.",
}
"""Every piece of text that the owner may reword, by its code."""


def load_words(session: Session) -> dict[str, str]:
    """All texts as they count."""
    saved = saved_settings(session)
    return {code: saved.get(_PREFIX + code, text) for code, text in WORDS.items()}


def save_words(session: Session, given: Mapping[str, str], *, now: datetime) -> None:
    """Keep the owner's own texts; an empty one, or one as it comes, goes back to the English.

    Raises
    ------
    InputError
        If a text is too long; it says which.
    """
    for code, usual in WORDS.items():
        text = " ".join(given.get(code, "").split())
        if len(text) > LONGEST:
            raise InputError(f"The text for “{usual}” has {len(text)} characters; at most {LONGEST} fit.")
        if text and text != usual:
            keep(session, _PREFIX + code, text, now=now)
        elif code in given:
            session.execute(delete(SavedSetting).where(SavedSetting.name == _PREFIX + code))
