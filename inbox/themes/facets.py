"""What a text says of dish, ingredient, diet, method, occasion, audience and size.

Words are found by the vocabulary; here it is decided what they mean where they
stand: "no eggs" and "can't have dairy" name a diet, "instead of almonds" names
nothing that is wanted. Start with `read_facets`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

from inbox.themes.vocabulary import FACETS, Entry, Found, tokens, vocabulary

_NEGATIONS: Final = frozenset(
    "no without minus sans skip skipping omit omitting avoid avoiding hate hates hating dislike dislikes "
    "allergic intolerant lacking banned except loathe loathes detest detests".split()
)
_DENYING: Final = frozenset(
    "cant cannot dont doesnt wont not never couldnt shouldnt mustnt wouldnt didnt".split()
)
_TAKING: Final = frozenset(
    "eat eats have do does use uses like likes want wants touch stand tolerate digest handle take buy "
    "contain contains include need needs allowed stomach".split()
)
"""A "don't" denies a food only beside one of these: "I can't find a walnut cake" asks for walnuts."""
_DENYING_PAIRS: Final = frozenset(
    {("free", "of"), ("free", "from"), ("leave", "out"), ("leaving", "out"), ("hold", "the")}
)
_REPLACED: Final = (
    ("instead", "of"),
    ("rather", "than"),
    ("in", "place", "of"),
    ("bored", "of"),
    ("sick", "of"),
)
_AFTER: Final = frozenset({"free", "allergy", "intolerance", "less", "ban", "allergic", "intolerant"})
_LINKS: Final = frozenset({"or", "and", "nor", "any", "the", "other", "of", "all", "added", "much"})
_REACH: Final = 4
"""Words between "can't" and what cannot be had: "can't have any more dairy"."""

_TOGETHER: Final = ((frozenset({"dairy_free", "egg_free"}), "vegan"),)
"""Who leaves out both milk and eggs asks for what a vegan asks for."""


@dataclass(frozen=True, slots=True)
class Facets:
    """Entries of the vocabulary that a request names, with how sure the reading is (0 to 1).

    `diet` also holds "no_raisin" and the like: an ingredient to leave out that has no diet of its own.
    """

    dish: Mapping[str, float] = field(default_factory=dict)
    ingredient: Mapping[str, float] = field(default_factory=dict)
    diet: Mapping[str, float] = field(default_factory=dict)
    method: Mapping[str, float] = field(default_factory=dict)
    occasion: Mapping[str, float] = field(default_factory=dict)
    audience: Mapping[str, float] = field(default_factory=dict)
    size: Mapping[str, float] = field(default_factory=dict)

    def each(self) -> Iterator[tuple[str, Mapping[str, float]]]:
        """Name and entries of each facet, in the order of `FACETS`."""
        return ((name, getattr(self, name)) for name in FACETS)

    def __bool__(self) -> bool:
        return any(entries for _, entries in self.each())


def read_facets(text: str) -> Facets:
    """Facets of `text`, each found entry with the weight that the vocabulary gives it.

    >>> read_facets("brownies with no eggs or butter, and hold the walnuts").diet
    {'egg_free': 1.0, 'dairy_free': 1.0, 'nut_free': 1.0, 'vegan': 1.0}
    """
    words = tokens(text)
    said: dict[str, dict[str, float]] = {name: {} for name in FACETS}
    before: Found | None = None
    denied = False
    for found in vocabulary().find(words):
        denied = _is_denied(words, found, before, denied)
        replaced = any(_ends_with(words[: found.start], phrase) for phrase in _REPLACED)
        for entry in found.entries:
            _note(said, entry, found.weight, denied=denied, replaced=replaced)
        before = found
    for parts, whole in _TOGETHER:
        if parts <= said["diet"].keys():
            said["diet"][whole] = max(said["diet"].get(whole, 0.0), min(said["diet"][part] for part in parts))
    return Facets(**said)


def blend(weighted: Iterable[tuple[Facets, float]]) -> Facets:
    """One set of facets out of several, each entry with its highest weighted value."""
    merged: dict[str, dict[str, float]] = {name: {} for name in FACETS}
    for facets, weight in weighted:
        for name, entries in facets.each():
            for id, value in entries.items():
                merged[name][id] = max(merged[name].get(id, 0.0), value * weight)
    return Facets(**merged)


def _note(
    said: dict[str, dict[str, float]], entry: Entry, weight: float, *, denied: bool, replaced: bool
) -> None:
    """Enter one found entry where it belongs: what is denied becomes a diet, or nothing."""
    facet, id = entry.facet, entry.id
    if entry.facet == "ingredient" and (denied or replaced):
        if not denied:
            return
        facet, id = "diet", entry.lacking or f"no_{entry.id}"
    elif replaced and entry.facet != "diet":
        return
    said[facet][id] = max(said[facet].get(id, 0.0), weight)


def _is_denied(words: Sequence[str], found: Found, before: Found | None, before_denied: bool) -> bool:
    """Whether a "no" governs the found words, directly or through a list ("no eggs or dairy")."""
    start = max(found.start - _REACH, before.end if before else 0)
    gap = words[start : found.start]
    if _denies(gap) or (found.end < len(words) and words[found.end] in _AFTER):
        return True
    if before is None or not all(word in _LINKS for word in words[before.end : found.start]):
        return False
    return (before_denied or words[before.start] in _NEGATIONS) and found.start - before.end <= 2


def _denies(gap: Sequence[str]) -> bool:
    if any(word in _NEGATIONS for word in gap) or _DENYING_PAIRS & set(pairwise(gap)):
        return True
    return any(word in _DENYING for word in gap) and any(word in _TAKING for word in gap)


def _ends_with(words: Sequence[str], phrase: tuple[str, ...]) -> bool:
    tail = words[-len(phrase) - 1 :]
    return any(tuple(tail[at : at + len(phrase)]) == phrase for at in range(len(tail)))
