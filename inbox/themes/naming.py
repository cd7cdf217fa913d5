"""Names of themes: short noun phrases from what its members say.

Start with `name_of`.
"""

from collections.abc import Mapping, Sequence
from typing import Final

from inbox.themes.facets import Facets, blend
from inbox.themes.sketches import Sketch
from inbox.themes.vocabulary import vocabulary

SHARED: Final = 0.4
"""Chosen: an entry belongs to a theme when its mean weight over the members is at least this."""

LOOSELY_SHARED: Final = 0.2
"""Chosen: the bar for a theme that would otherwise be named by one member's phrase alone."""

MAX_WORDS: Final = 7

_SPOKEN: Final = frozenset(
    "i i'm i'd i've me my we us our you your you'd is are was be that this it do".split()
)
"""Words of a sentence that somebody says; a phrase without them is nearer to a name."""

_SUFFIXED: Final = frozenset({"weights", "cups", "from_scratch", "by_hand", "other_language", "tin_size"})
"""Methods that a name puts behind the dish: "sponge in grams"."""

_WHOLE: Final = frozenset(
    {"video", "meal_plan", "nutrition_facts", "print_version", "substitutes_chart", "beginner_series"}
)
"""Methods that are a thing of their own: "weekly plan"."""


def common_facets(members: Sequence[Sketch], shared_from: float = SHARED) -> Facets:
    """Entries that most of `members` name, with the mean of their weights."""
    merged = blend((member.wanted.facets, 1.0) for member in members)
    shared: dict[str, dict[str, float]] = {}
    for name, entries in merged.each():
        means = {id: _mean(members, name, id) for id in entries}
        shared[name] = {id: mean for id, mean in means.items() if mean >= shared_from}
    return Facets(**shared)


def name_of(members: Sequence[Sketch]) -> str:
    """Write a short name from the entries that members share, or from the plainest phrase among them."""
    return _from_facets(common_facets(members)) or (
        _from_facets(_strongest_alone(common_facets(members, LOOSELY_SHARED))) or _plainest_phrase(members)
    )


def _from_facets(facets: Facets) -> str:
    """A name made of entries; empty where there are none to make it of."""
    whole = [id for id in _strongest(facets.method) if id in _WHOLE]
    if whole:
        return vocabulary().shown(whole[0])
    before, after = _around(facets)
    thing = _strongest(facets.dish)[:1] or _strongest(facets.ingredient)[:1]
    if thing:
        return " ".join([*before, vocabulary().shown(thing[0]), *after])
    if before or after:
        return " ".join([*before, "recipes", *after])
    return ""


def _strongest_alone(facets: Facets) -> Facets:
    """The one entry that most share: several that few share would make a thing that nobody asks for."""
    pairs = [(value, name, id) for name, entries in facets.each() for id, value in entries.items()]
    if not pairs:
        return Facets()
    value, name, id = max(pairs)
    return Facets(**{name: {id: value}})


def _around(facets: Facets) -> tuple[list[str], list[str]]:
    """Words before the dish (at most two) and after it (at most one)."""
    shown = vocabulary().shown
    before = [shown(id) for id in _narrowest(facets.diet)[:2] if not shown(id).startswith("without ")]
    methods = _strongest(facets.method)
    before += [shown(id) for id in methods if id not in _SUFFIXED][:1]
    before += [shown(id) for id in _strongest(facets.size)][:1]
    after = [shown(id) for id in facets.diet if shown(id).startswith("without ")]
    after += [shown(id) for id in methods if id in _SUFFIXED]
    after += [_for(shown(id)) for id in [*_strongest(facets.audience), *_strongest(facets.occasion)]]
    return before[:2], after[:1]


def _narrowest(diets: Mapping[str, float]) -> list[str]:
    """Diets strongest first; what "vegan" says already is left out."""
    told = {"dairy_free", "egg_free", "vegetarian"} if "vegan" in diets else set()
    return [id for id in _strongest(diets) if id not in told]


def _for(audience: str) -> str:
    return audience if audience.startswith("for ") else f"for {audience}"


def _strongest(entries: Mapping[str, float]) -> list[str]:
    return sorted(entries, key=lambda id: (-entries[id], id))


def _mean(members: Sequence[Sketch], facet: str, id: str) -> float:
    return float(sum(getattr(member.wanted.facets, facet).get(id, 0.0) for member in members) / len(members))


def _plainest_phrase(members: Sequence[Sketch]) -> str:
    """Take the phrase least like a sentence and nearest to four words, the most typical member's first."""
    phrases = [member.wanted.phrase for member in members if member.wanted.phrase]
    if not phrases:
        return "something else"
    best = min(phrases, key=lambda phrase: (_spoken_count(phrase), abs(len(phrase.split()) - 4)))
    words = best.split()
    return " ".join(words[:MAX_WORDS]) + (" …" if len(words) > MAX_WORDS else "")


def _spoken_count(phrase: str) -> int:
    return sum(word.strip(".,;:!?").lower() in _SPOKEN for word in phrase.split())
