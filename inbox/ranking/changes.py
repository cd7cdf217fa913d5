"""What readers changed while cooking, read from their words and set against how it turned out.

Start at `changes_and_outcomes`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from inbox.ranking import wording
from inbox.ranking.stats import adjusted_p_values, fisher_greater

FALSE_FINDINGS = 0.10
"""Expected share of wrong ones among the changes said to go with failures (chosen)."""

_INGREDIENT = (
    r"(?P<what>(?:[a-z]+[- ]){0,2}?(?:flour|sugar|butter|oil|milk|cream|eggs?|yoghurt|yogurt|honey|salt|stock"
    r"|cheese|yeast|rice|water|chocolate|cornflour|starch|sweetener|margarine))"
)
_DID = r"(?<!didn't )(?<!did not )(?<!should i )(?<!can i )(?<!could i )(?<!if i )\b"
_USED_INSTEAD = (
    rf"{_DID}(?:used|subbed(?: in)?|swapped in|substituted|went with|with)\s+(?:some |my |the )?"
    rf"{_INGREDIENT}\s+(?:instead|in place|rather than|for the\b)"
)
_LESS = (
    rf"{_DID}(?:halved|reduced|cut(?: back)?(?: down)?(?: on)?|used (?:half|less)|less|left out|skipped)\s+"
    rf"(?:of )?(?:the )?{_INGREDIENT}"
)
_MORE_OF = r"(?:doubled|added (?:extra|more)|used (?:more|extra|twice)|upped)"
_MORE = rf"{_DID}{_MORE_OF}\s+(?:of )?(?:the )?{_INGREDIENT}"
_SIZE = (
    r"\b(?:made (?:a )?(?:double|half)(?: (?:the )?(?:batch|recipe))?"
    r"|(?:doubled|halved) (?:the recipe|it|everything))\b"
)
_TIN = (
    r"\b(?:in|used) (?:a|an|my|two) [^.,;]{0,40}?"
    r"(?:bundt|muffin|loaf|springform|glass|pyrex|silicone|sheet|square|round|bigger|smaller|larger|different)"
    r" (?:tins?|pans?|dish|moulds?|tray)"
)
_OVEN = r"\b(?:fan oven|convection|air ?fryer|toaster oven|gas oven|aga)\b"
_ALTITUDE = r"\b(?:high altitude|\d[\d,]{2,}\s?(?:feet|ft|m|metres)\b(?: (?:up|above|elevation))?|denver)"

KINDS: Final = {
    "substitution": re.compile(_USED_INSTEAD, re.IGNORECASE),
    "less": re.compile(_LESS, re.IGNORECASE),
    "more": re.compile(_MORE, re.IGNORECASE),
    "size": re.compile(_SIZE, re.IGNORECASE),
    "tin": re.compile(_TIN, re.IGNORECASE),
    "oven": re.compile(_OVEN, re.IGNORECASE),
    "altitude": re.compile(_ALTITUDE, re.IGNORECASE),
}
"""What each kind of change looks like in a reader's words; questions and things not done are kept out."""


@dataclass(frozen=True, slots=True)
class MadeIt:
    """One reader's report on a recipe, and whether it failed."""

    message_id: int
    reader: str
    text: str
    failed: bool


@dataclass(frozen=True, slots=True)
class Change:
    """A change that readers made, with the outcomes.

    Attributes
    ----------
    kind : str
        Key of `KINDS`.
    what : str
        The ingredient, or what the kind is about.
    message_ids : tuple of int
        The reports that tell of it.
    failed_count, reader_count : int
        Of the readers who made it.
    other_failed_count, other_reader_count : int
        Of those who did not say so.
    adjusted_p_value : float
        Of "it goes with no more failures" (Fisher's exact test, Benjamini-Hochberg over the changes).
    """

    kind: str
    what: str
    message_ids: tuple[int, ...]
    failed_count: int
    reader_count: int
    other_failed_count: int
    other_reader_count: int
    adjusted_p_value: float
    in_words: str

    @property
    def goes_with_failure(self) -> bool:
        """Whether those who made it failed more often than luck explains."""
        return self.adjusted_p_value <= FALSE_FINDINGS


def find_changes(text: str) -> list[tuple[str, str]]:
    """Kind and object of each change that the words tell of; each once."""
    found: dict[tuple[str, str], None] = {}
    for sentence in re.split(r"(?<=[.!?\n])\s+", text):
        if sentence.rstrip().endswith("?"):
            continue
        for kind, pattern in KINDS.items():
            for match in pattern.finditer(sentence):
                what = match.groupdict().get("what") or match[0]
                found[kind, re.sub(r"\s+", " ", what.lower()).strip()] = None
    return list(found)


def changes_and_outcomes(reports: Sequence[MadeIt]) -> list[Change]:
    """Changes to one recipe, those that go with failure first, then the commonest.

    A reader counts once; they failed if any of their reports did.
    """
    failed: dict[str, bool] = {}
    told: dict[tuple[str, str], list[MadeIt]] = {}
    for report in reports:
        failed[report.reader] = failed.get(report.reader, False) or report.failed
        for change in find_changes(report.text):
            key = change if change[0] in ("substitution", "less", "more") else (change[0], change[0])
            told.setdefault(key, []).append(report)
    counts = [
        (len({one.reader for one in rows}), len({one.reader for one in rows if failed[one.reader]}))
        for rows in told.values()
    ]
    all_failed, everybody = sum(failed.values()), len(failed)
    p_values = adjusted_p_values(
        fisher_greater(
            np.array([bad for _, bad in counts], int),
            np.array([made for made, _ in counts], int),
            all_failed,
            everybody,
        )
    )
    found = [
        Change(
            kind,
            what,
            tuple(one.message_id for one in rows),
            bad,
            made,
            all_failed - bad,
            everybody - made,
            float(p_value),
            _in_words(kind, what, (bad, made), (all_failed - bad, everybody - made)),
        )
        for ((kind, what), rows), (made, bad), p_value in zip(told.items(), counts, p_values, strict=True)
    ]
    return sorted(found, key=lambda one: (not one.goes_with_failure, -one.reader_count, one.kind, one.what))


def _in_words(kind: str, what: str, those: tuple[int, int], others: tuple[int, int]) -> str:
    did = {
        "substitution": f"used {what} instead",
        "less": f"used less {what}, or none",
        "more": f"used more {what}",
        "size": "made more or less of it",
        "tin": "used another tin",
        "oven": "name their kind of oven",
        "altitude": "cook high above the sea",
    }[kind]
    first = f"Of those who {did}, {wording.of(*those)} failed"
    return f"{first}; of the others {wording.of(*others)}." if others[1] else f"{first}."
