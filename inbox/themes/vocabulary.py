"""The words of food: which word of a text names which dish, diet, method and so on.

The table is `seed_data/food_words.json`, written from general cookery
knowledge. This module only finds its entries in a text; what a found entry
means beside a "no" or a "without" is decided in `facets`. Start with
`vocabulary` and `Vocabulary.find`.
"""

import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Final

from inbox.places import seed_folder

FACETS: Final = ("dish", "ingredient", "diet", "method", "occasion", "audience", "size")
"""What a request can say, in the order in which a theme's page shows it."""

HINT_WEIGHT: Final = 0.5
"""Chosen: "cheese on toast" speaks of sandwich bread, but less surely than "sandwich loaf" does."""

_WORD: Final = re.compile(r"[a-z0-9%]+")
_KEPT_S: Final = frozenset({"asparagus", "couscous", "hummus", "haggis", "bris", "molasses", "christmas"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the vocabulary.

    Attributes
    ----------
    id : str
        Unique over all facets, such as "gluten_free".
    shown : str
        How a name writes it, such as "gluten-free".
    parent : str or None
        The wider entry that this one is a kind of.
    lacking : str or None
        For an ingredient: the diet of somebody who leaves it out.
    """

    id: str
    facet: str
    shown: str
    parent: str | None = None
    lacking: str | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """Entries found at tokens `start` to `end` (exclusive) of a text."""

    start: int
    end: int
    entries: tuple[Entry, ...]
    weight: float


class Vocabulary:
    """Entries by id, and a finder of the longest words and word groups that name them.

    Attributes
    ----------
    entries : dict of str to Entry
    wide : set of str
        Entries that others are a kind of.
    paraphrases : list of (str, str)
        Entry and a text that asks for it: all its words in one, then ways of asking for it that need not
        use any of them. Written for this table, not taken from messages.
    """

    def __init__(self, rows: Sequence[Mapping[str, object]]) -> None:
        self.entries: dict[str, Entry] = {}
        self.paraphrases: list[tuple[str, str]] = []
        self._phrases: dict[tuple[str, ...], dict[str, float]] = {}
        for row in rows:
            entry = _entry(row)
            self.entries[entry.id] = entry
            said = [*_strings(row.get("words")), *_strings(row.get("hints"))]
            self.paraphrases += [(entry.id, text) for text in (", ".join(said), *_strings(row.get("said")))]
            for field, weight in (("words", 1.0), ("hints", HINT_WEIGHT)):
                for words in _strings(row.get(field)):
                    self._phrases.setdefault(tuple(tokens(words)), {})[entry.id] = weight
        self.wide = {entry.parent for entry in self.entries.values() if entry.parent}
        self._reach: dict[str, int] = {}
        """First word of a phrase to the number of words in the longest that begins with it."""
        for phrase in self._phrases:
            self._reach[phrase[0]] = max(self._reach.get(phrase[0], 0), len(phrase))

    def find(self, words: Sequence[str]) -> list[Found]:
        """Leftmost longest matches in `words` (as `tokens` gives them), not overlapping."""
        found = []
        at = 0
        while at < len(words):
            match = self._longest_at(words, at)
            if match:
                found.append(match)
            at = match.end if match else at + 1
        return found

    def lineage(self, id: str) -> tuple[str, ...]:
        """`id` and what it is a kind of, nearest first; () for an id that is not in the table."""
        line: list[str] = []
        entry = self.entries.get(id)
        while entry and entry.id not in line:
            line.append(entry.id)
            entry = self.entries.get(entry.parent) if entry.parent else None
        return tuple(line)

    def shown(self, id: str) -> str:
        """How a name writes the entry; "no_raisin" and the like are written "without raisin"."""
        if id in self.entries:
            return self.entries[id].shown
        return "without " + id.removeprefix("no_").replace("_", " ")

    def _longest_at(self, words: Sequence[str], at: int) -> Found | None:
        for end in range(min(len(words), at + self._reach.get(words[at], 0)), at, -1):
            hit = self._phrases.get(tuple(words[at:end]))
            if hit:
                return Found(at, end, tuple(self.entries[id] for id in hit), max(hit.values()))
        return None


@cache
def vocabulary() -> Vocabulary:
    """Read the table that ships with the program."""
    path = seed_folder() / "food_words.json"
    return Vocabulary(json.loads(path.read_text(encoding="utf-8"))["entries"])


def tokens(text: str) -> list[str]:
    """Words of `text`: lower case, accents and apostrophes dropped, hyphens split, plurals made singular.

    >>> tokens("Crème-brûlée cookies, and Nan's dairy-free pies")
    ['creme', 'brulee', 'cooky', 'and', 'nan', 'dairy', 'free', 'pie']

    The forms need not be words; they only have to be the same for "cookie" and "cookies".
    """
    plain = text.lower()
    if not plain.isascii():
        plain = unicodedata.normalize("NFKD", plain.replace("ß", "ss"))
        plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    plain = re.sub(r"['’](?:s\b)?", "", plain)
    return [_singular(word) for word in _WORD.findall(plain)]


@lru_cache(maxsize=20_000)
def _singular(word: str) -> str:
    if len(word) > 4 and word.endswith("ie"):
        return word[:-2] + "y"
    if len(word) < 4 or not word.endswith("s") or word in _KEPT_S or word.endswith(("ss", "us", "is")):
        return word
    if word.endswith("ies"):
        return word[:-1] if len(word) <= 5 else word[:-3] + "y"
    if word.endswith(("ches", "shes", "sses", "xes", "zes", "toes")):
        return word[:-2]
    return word[:-1]


def _entry(row: Mapping[str, object]) -> Entry:
    parent, lacking = row.get("parent"), row.get("lacking")
    return Entry(
        id=str(row["id"]),
        facet=str(row["facet"]),
        shown=str(row["shown"]),
        parent=str(parent) if parent else None,
        lacking=str(lacking) if lacking else None,
    )


def _strings(value: object) -> list[str]:
    return [str(item) for item in value] if isinstance(value, list) else []
