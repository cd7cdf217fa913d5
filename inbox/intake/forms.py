"""What readers send through the site's own forms.

`receive_form` takes the fields of a post and answers with the message stored, or with what to put beside
which field. A post that looks like a robot's is taken in all the same and marked, so that nothing is lost.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.intake import form_guard
from inbox.intake.deliver import deliver
from inbox.intake.incoming import Incoming, Picture, clean, clean_address, clean_line
from inbox.intake.photos import PHOTOS_PER_MESSAGE, to_picture
from inbox.records.tables import Recipe

FORMS: Final = ("made_it", "went_wrong", "please_make", "ask", "general")
TEXT_LENGTH_LIMIT = 8000
"""Characters of a form's text; shown beside the field."""
HIDDEN_FIELD: Final = "website"
"""Field that people do not see and robots fill in."""

QUESTIONS: Final[Mapping[str, Sequence[tuple[str, str]]]] = {
    "made_it": (("changes", "What I changed"),),
    "went_wrong": (
        ("happened", "What happened"),
        ("step", "At the step"),
        ("oven", "Oven and tin"),
    ),
    "please_make": (("occasion", "For"), ("diet", "It has to be")),
    "ask": (),
    "general": (),
}
"""Further fields of each form, and the words that stand before their answers in the message."""

BOXES: Final = ("reply_wanted", "may_quote", "tell_me")
BOX_WORDS: Final[Mapping[str, str]] = {
    "reply_wanted": "I would like an answer. My address is kept for that.",
    "may_quote": "You may quote my words, with my first name.",
    "tell_me": "Tell me when it is published. My address is kept for that.",
}
"""Wording of the boxes, kept with each consent; all are off at first."""


@dataclass(frozen=True, slots=True)
class FormResult:
    """How a post ended.

    Attributes
    ----------
    message_id : int or None
        The message stored, now or when the same post came before; None if something is to be mended.
    problems : mapping of str to str
        Field to the sentence to put beside it; "" for the whole form.
    too_many : bool
        Whether the sender has to wait (the page answers with status 429).
    """

    message_id: int | None = None
    problems: Mapping[str, str] = field(default_factory=dict)
    too_many: bool = False
    suspicious: bool = False


def receive_form(
    session: Session,
    fields: Mapping[str, str],
    *,
    form: str,
    recipe_slug: str | None,
    sender: str,
    photos: Sequence[bytes] = (),
    now: datetime,
    posts_an_hour: int = 12,
    photo_limit_bytes: int = 12_000_000,
) -> FormResult:
    """Take one post of a form in.

    Parameters
    ----------
    fields : mapping of str to str
        `text`, `name`, `email`, `stars`, the boxes (`reply_wanted`, `may_quote`, `tell_me`: any value is a
        tick), the form's own questions, `stamp` (from `form_guard.make_stamp`), and the hidden field.
    form : str
        One of `FORMS`.
    recipe_slug : str or None
        Recipe on whose page the form stands; None for the site's.
    sender : str
        Network address; only a hash of it is kept, for a day.
    photos : sequence of bytes
        Files as sent.
    posts_an_hour : int
        Most posts from one sender.

    Returns
    -------
    FormResult
    """
    said = {name: clean(value).strip() for name, value in fields.items()}
    problems = _problems(session, said, form, recipe_slug)
    pictures: list[Picture] = []
    for content in photos:
        picture = to_picture(content, limit_bytes=photo_limit_bytes)
        if picture is not None and len(pictures) < PHOTOS_PER_MESSAGE:
            pictures.append(picture)
        elif content:
            problems.setdefault("photos", _photo_problem(content, len(pictures), photo_limit_bytes))
    if problems:
        return FormResult(problems=problems)
    stamp = form_guard.read_stamp(session, form, said.get("stamp", ""), now=now)
    if stamp is None or now - stamp[0] > timedelta(hours=form_guard.STAMP_HOURS):
        return FormResult(problems={"": "This form was open for too long. Please send it once more."})
    if not form_guard.count_attempt(session, "form", sender, now=now, most_an_hour=posts_an_hour):
        sentence = "Too many messages came from your connection within an hour. Please try again later."
        return FormResult(problems={"": sentence}, too_many=True)
    suspicious = _is_suspicious(said, now - stamp[0])
    item = _incoming(said, form, recipe_slug, now, key=f"form:{stamp[1]}", suspicious=suspicious)
    end = deliver(session, replace(item, photos=tuple(pictures)), run_id=None, now=now)
    return FormResult(message_id=end.message_id, suspicious=suspicious)


def _problems(
    session: Session, said: Mapping[str, str], form: str, recipe_slug: str | None
) -> dict[str, str]:
    """Sentence for each field that has to be mended."""
    problems: dict[str, str] = {}
    if form not in FORMS:
        return {"": "There is no such form."}
    if recipe_slug and session.scalar(select(Recipe.id).where(Recipe.slug == recipe_slug)) is None:
        return {"": "There is no such recipe."}
    stars = said.get("stars", "")
    if stars and stars not in ("1", "2", "3", "4", "5"):
        problems["stars"] = "Choose one to five stars, or none."
    if not said.get("text") and not (form == "made_it" and stars):
        problems["text"] = "Please write a few words."
    for name in ("text", *(question for question, _ in QUESTIONS[form])):
        if len(said.get(name, "")) > TEXT_LENGTH_LIMIT:
            problems[name] = f"That is {len(said[name])} characters; at most {TEXT_LENGTH_LIMIT} fit."
    if len(said.get("name", "")) > 100:
        problems["name"] = "At most 100 characters fit."
    wants_address = bool(said.get("reply_wanted") or said.get("tell_me"))
    if said.get("email") and clean_address(said["email"]) is None:
        problems["email"] = "This is not a whole e-mail address."
    elif wants_address and not said.get("email"):
        problems["email"] = "Where should the answer go? Write your e-mail address, or take the tick away."
    return problems


def _photo_problem(content: bytes, count: int, limit_bytes: int) -> str:
    if count >= PHOTOS_PER_MESSAGE:
        return f"At most {PHOTOS_PER_MESSAGE} photos fit."
    if len(content) > limit_bytes:
        return f"One photo is larger than {limit_bytes // 1_000_000} MB."
    return "One of the files is not a photo that can be shown (JPEG, PNG, WebP or HEIC, at least 160 pixels)."


def _is_suspicious(said: Mapping[str, str], taken: timedelta) -> bool:
    """Whether a program filled the form in: the hidden field, no time taken, or many links and no address."""
    return (
        bool(said.get(HIDDEN_FIELD))
        # Our own stamp lies ahead only where the clock was set back; that says nothing of the reader.
        or timedelta(0) <= taken < timedelta(seconds=form_guard.FASTEST_SECONDS)
        or form_guard.count_links(said.get("text", "")) > form_guard.LINKS_ALLOWED
    )


def _incoming(
    said: Mapping[str, str], form: str, recipe_slug: str | None, now: datetime, *, key: str, suspicious: bool
) -> Incoming:
    ticked = {box: bool(said.get(box)) for box in BOXES}
    keeps_address = ticked["reply_wanted"] or ticked["tell_me"]
    answers = [(words, said[name]) for name, words in QUESTIONS[form] if said.get(name)]
    text = "\n\n".join([said.get("text", ""), *(f"{words}: {answer}" for words, answer in answers)]).strip()
    kept = {name: value for name, value in said.items() if name not in ("stamp", "email", "csrf")}
    if keeps_address:
        kept["email"] = said.get("email", "")
    return Incoming(
        door="form",
        channel="form",
        text=text,
        key=key,
        received_at=now,
        name=clean_line(said.get("name"), 100),
        email=said.get("email") if keeps_address else None,
        page_slug=recipe_slug,
        raw=json.dumps({"form": form, "suspicious": suspicious, **kept}, ensure_ascii=False).encode(),
        raw_type="application/json",
        stars=float(said["stars"]) if said.get("stars") else None,
        consent={box: {"words": BOX_WORDS[box], "at": now.isoformat()} for box in BOXES if ticked[box]}
        or None,
        form=form,
        kept_apart="robot" if suspicious else None,
        reply_wanted=ticked["reply_wanted"],
        may_quote=ticked["may_quote"],
        tell_me=ticked["tell_me"],
    )
