"""A digest as plain text for a terminal and as a mail with pictures. The page has its own template.

All three say the same in the same order. Start with `as_text` and `as_mail`.
"""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from functools import cache
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from inbox.digest import pictures
from inbox.digest.document import Digest, HazardNote, Quote, TroubledRecipe, WishedTheme
from inbox.digest.drawing import Drawing, as_plain_table, as_png
from inbox.places import templates_folder
from inbox.ranking.reasons import rate_words
from inbox.replies.compose import Sender, compose
from inbox.replies.whom import count_words

WIDTH: Final = 76

CAVEAT: Final = "These are shares of reports, not of makes: readers with trouble write more often."

GROUP_WORDS: Final = {
    "hazard": "hazards",
    "problem": "problems",
    "question": "questions",
    "first_made_it": "first reports",
}
STANDING_WORDS: Final = {
    "failing": "failing",
    "watch": "to be watched",
    "holding_up": "holding up",
    "too_few_reports": "too few reports",
}
HAZARD_WORDS: Final = {
    "allergen": "An allergen",
    "illness": "Somebody felt ill",
    "injury": "Somebody was hurt",
    "undercooked_risk": "May be undercooked",
    "preserving_risk": "Preserving that may be unsafe",
    "foreign_object": "Something in the food",
    "pet": "An animal",
}


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that goes with a mail: its name in the HTML, its bytes, its alternative text."""

    name: str
    png: bytes
    in_words: str


def title_of(digest: Digest) -> str:
    """Such as "Week 47, 16 to 22 November 2026"."""
    first, last = digest.begins_on, digest.ends_on
    if (first.year, first.month) == (last.year, last.month):
        begins = str(first.day)
    else:
        begins = f"{first.day} {first:%B}" + (f" {first.year}" if first.year != last.year else "")
    number = int(digest.week.rpartition("W")[2])
    return f"Week {number}, {begins} to {last.day} {last:%B} {last.year}"


def as_text(digest: Digest) -> str:
    """Digest as plain text of at most 76 columns, where a word allows it."""
    head = f"{digest.site_name}: {title_of(digest)}"
    lines = [head, "=" * min(len(head), WIDTH), ""]
    if digest.is_quiet:
        return "\n".join([*lines, *digest.opening]) + "\n"
    lines.append("\n\n".join("\n".join(_wrapped(words)) for words in digest.opening))
    parts = [
        ("HAZARDS", [_hazards(kind, notes) for kind, notes in digest.hazards_by_kind.items()]),
        ("RECIPES IN TROUBLE", _troubled(digest)),
        ("WHAT TO DEVELOP NEXT", _wishes(digest.wishes)),
        ("REPLIES TO WRITE", _owed(digest)),
        ("WHAT WORKED AND MAY BE QUOTED", [_quoted(quote) for quote in digest.praise]),
        ("THE COMING SEASON", _season(digest)),
        ("THE WEEK IN NUMBERS", [numbers_table(digest)]),
        ("WHAT THE PROGRAM IS UNSURE OF", _lines(digest.unsure)),
        ("DONE SINCE THE LAST DIGEST", _lines(digest.done)),
    ]
    for heading, blocks in parts:
        if blocks:
            lines += ["", "", heading, "-" * len(heading), "\n\n".join(blocks)]
    return "\n".join(lines) + "\n"


def _wrapped(words: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        words,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _block(*parts: tuple[str, str]) -> str:
    """Paragraphs with their indents, one below the other."""
    return "\n".join(line for indent, words in parts if words for line in _wrapped(words, indent))


def _quoted(quote: Quote) -> str:
    by = f" ({quote.name}, message {quote.message_id})" if quote.name else f" (message {quote.message_id})"
    return _block(("  ", f"“{quote.words}”{by}"))


def _hazards(kind: str, notes: Sequence[HazardNote]) -> str:
    """Hazards of one kind, with the caution that they share."""
    told = [("  ", f"“{note.quote.words}” ({', '.join(filter(None, _beside(note)))})") for note in notes]
    return _block(
        ("", f"{HAZARD_WORDS[kind]}:"),
        *told,
        ("  ", notes[0].caution),
        ("  ", f"Source: {notes[0].source}." if notes[0].source else ""),
    )


def _beside(note: HazardNote) -> Iterable[str]:
    return (
        note.recipe_title or "",
        f"message {note.quote.message_id}",
        "answered" if note.answered else "",
    )


def _troubled(digest: Digest) -> list[str]:
    blocks = [_recipe(recipe) for recipe in digest.troubled]
    return [*blocks, _block(("", CAVEAT))] if blocks else []


def share_words(recipe: TroubledRecipe) -> str:
    """The failed reports among all, and the share that is estimated from them."""
    return (
        f"{recipe.failed.count} of {recipe.readers.count} reports failed; "
        f"the share is estimated at {100 * recipe.share:.0f} %."
    )


def sentence(words: str) -> str:
    """Words with a full stop, unless they end with one, be it within a quotation."""
    return words if not words or words.rstrip("”").endswith((".", "!", "?")) else f"{words}."


def _recipe(recipe: TroubledRecipe) -> str:
    faults = ", ".join(
        f"{note.fault.replace('_', ' ')} ({note.readers.count}{', commoner here' if note.stands_out else ''})"
        for note in recipe.faults
    )
    parts = [
        ("", f"{recipe.title}: {STANDING_WORDS[recipe.standing]}."),
        ("  ", recipe.in_words),
        ("  ", share_words(recipe)),
        *(("  ", f"Sudden rise: {words}.") for words in recipe.rises),
        *(
            ("  ", f"Changed on {change.on.day} {change.on:%B}: {sentence(change.note)} {change.in_words}")
            for change in recipe.changes
        ),
        ("  ", f"Told of: {faults}." if faults else ""),
        *(
            ("  ", f"Look at: {cause.words} [{cause.source}]")
            for note in recipe.faults
            for cause in note.causes
        ),
        *(("  ", f"Ask back: {question}") for question in recipe.questions),
        *(("    ", f"“{quote.words}” (message {quote.message_id})") for quote in recipe.quotes),
    ]
    return _block(*parts)


def _wishes(wishes: Iterable[WishedTheme]) -> list[str]:
    return [
        _block(
            ("", f"{wish.place}. {wish.name}: {wish.reason}"),
            ("   ", wish_rate(wish)),
            *(("     ", f"“{quote.words}” (message {quote.message_id})") for quote in wish.quotes),
        )
        for wish in wishes
    ]


def wish_rate(wish: WishedTheme) -> str:
    """How many ask for a theme, with the interval."""
    return rate_words(wish.rate_a_week, wish.rate_low, wish.rate_high, wish.first_five_share)


def _owed(digest: Digest) -> list[str]:
    if not digest.owed:
        return []
    counts = ", ".join(
        f"{GROUP_WORDS[group]} {count_words(count)}" for group, count in digest.owed_counts.items() if count
    )
    blocks = [_block(("", f"Waiting: {counts}."))] if counts else []
    return blocks + [
        _block(
            ("", f"{note.quote.name or 'A reader'}: {note.reason}"),
            ("  ", f"“{note.quote.words}” (message {note.quote.message_id})"),
        )
        for note in digest.owed
    ]


def _season(digest: Digest) -> list[str]:
    return [
        _block(
            (
                "",
                f"{coming.name}, {coming.on.day} {coming.on:%B}, in {coming.days_left} days"
                + (
                    ": " + ", ".join(f"{name} ({count})" for _, name, count in coming.wishes) + "."
                    if coming.wishes
                    else "; nobody has asked for anything for it."
                ),
            )
        )
        for coming in digest.season
    ]


def numbers_table(digest: Digest) -> str:
    """Week in numbers beside the weeks before, newest first."""
    heads = ("Week", "all", "made", "worked", "mixed", "failed", "trouble", "wishes", "questions")
    rows = [
        (one.week, *(f"{figure.count:,}" for figure in one.counts.values()))
        for one in reversed(digest.numbers)
    ]
    return as_plain_table(heads, rows)


def _lines(lines: Iterable[object]) -> list[str]:
    blocks = []
    for line in lines:
        quotes = getattr(line, "quotes", ())
        blocks.append(
            _block(
                ("", getattr(line, "words", "")),
                *(("  ", f"“{quote.words}” (message {quote.message_id})") for quote in quotes),
            )
        )
    return blocks


def as_mail(digest: Digest, *, public_url: str) -> tuple[str, tuple[Picture, ...]]:
    """Digest as HTML with styles in its elements, and the pictures that it shows.

    Parameters
    ----------
    public_url : str
        Where this service is reached; every figure links to it.
    """
    drawings = {
        "requests": pictures.requests_by_week(digest),
        "arrivals": pictures.arrivals_by_door(digest),
        "outcomes": pictures.outcomes_by_week(digest),
        "shares": pictures.troubled_shares(digest),
    }
    shown = {} if digest.is_quiet else {name: one for name, one in drawings.items() if one is not None}
    html = (
        _templates()
        .get_template("digest.html")
        .render(
            digest=digest,
            title=title_of(digest),
            drawings=shown,
            base=public_url.rstrip("/"),
            caveat=CAVEAT,
            group_words=GROUP_WORDS,
            standing_words=STANDING_WORDS,
            hazard_words=HAZARD_WORDS,
            share_words=share_words,
            sentence=sentence,
            wish_rate=wish_rate,
            count_words=count_words,
        )
    )
    return html, tuple(_picture(name, drawing) for name, drawing in shown.items())


def _picture(name: str, drawing: Drawing) -> Picture:
    return Picture(name, as_png(drawing), f"{drawing.title}. {drawing.in_words}")


@cache
def _templates() -> Environment:
    return Environment(
        loader=FileSystemLoader(templates_folder() / "mail"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def digest_mail(digest: Digest, *, sender: Sender, now: datetime) -> EmailMessage:
    """The mail of a digest to the owner: plain text, HTML, and its pictures.

    Its Message-ID comes from the week, so that the same digest mailed again is known as one.
    """
    mail = compose(
        sender=sender,
        to=sender.address,
        to_name=sender.name,
        subject=f"{digest.site_name}: {title_of(digest)}",
        body=as_text(digest),
        message_id=f"digest.{digest.week}@{sender.domain}",
        now=now,
        automatic=True,
    )
    html, shown = as_mail(digest, public_url=sender.public_url)
    mail.add_alternative(html, subtype="html", cte="quoted-printable")
    part = mail.get_payload()[1]  # type: ignore[index]
    for picture in shown:
        part.add_related(  # type: ignore[union-attr]
            picture.png,
            maintype="image",
            subtype="png",
            cid=f"<{picture.name}@digest>",
            filename=f"{picture.name}.png",
            disposition="inline",
        )
    return mail
