"""Names of themes: short noun phrases from what its members say.

Start with `name_of`.
"""

from collections import Counter
from collections.abc import Sequence

from inbox.themes.facets import Facets, blend
from inbox.themes.sketches import Sketch
from inbox.themes.vocabulary import vocabulary

MAX_WORDS = 7
SHARED = 0.5
"""Chosen: an entry belongs in the name when it holds for at least half of the members."""


def common_facets(members: Sequence[Sketch]) -> Facets:
    """Entries that at least half of `members` name, with the mean of their weights."""
    merged = blend((member.wanted.facets, 1.0) for member in members)
    shared: dict[str, dict[str, float]] = {}
    for name, entries in merged.each():
        means = {
            id: sum(getattr(member.wanted.facets, name).get(id, 0.0) for member in members) / len(members)
            for id in entries
        }
        shared[name] = {id: mean for id, mean in means.items() if mean >= SHARED * 0.9}
    return Facets(**shared)


def name_of(members: Sequence[Sketch]) -> str:
    """Write a short name from the facets that members share, or from the plainest phrase among them."""
    facets = common_facets(members)
    shown = vocabulary().shown
    before = [shown(id) for name in ("size", "diet") for id in facets.__getattribute__(name)][:2]
    dish = [shown(id) for id in sorted(facets.dish, key=lambda id: -facets.dish[id])][:1]
    dish = dish or [shown(id) for id in facets.ingredient][:1]
    after = [shown(id) for id in facets.occasion][:1]
    if dish:
        words = before + [shown(id) for id in facets.method][:1] + dish
        return " ".join(words) + (f" for {after[0]}" if after else "")
    return _plainest_phrase(members)


def _plainest_phrase(members: Sequence[Sketch]) -> str:
    phrases = Counter(member.wanted.phrase for member in members if member.wanted.phrase)
    if not phrases:
        return "something else"
    best = min(phrases, key=lambda phrase: (-phrases[phrase], abs(len(phrase.split()) - 4), phrase))
    return " ".join(best.split()[:MAX_WORDS])
