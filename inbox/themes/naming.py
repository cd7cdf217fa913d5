"""Names of themes: short noun phrases from what its members say.

What a name says is decided entry by entry of the vocabulary: an entry comes in
if it covers enough of the members, by what they name outright and by what can
be read between their lines. The dish is then called what most members call it.
Nothing of a message but words of the vocabulary gets into such a name, so that
no reader's name or address can. Start with `name_of`.
"""

import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from inbox.themes.facets import Facets, blend
from inbox.themes.sketches import Sketch
from inbox.themes.vocabulary import FACETS, tokens, vocabulary

SHARED: Final = 0.4
"""Chosen: an entry is common to a theme when its mean weight over the members is at least this."""

BETWEEN_THE_LINES: Final = {"diet": 1.5, "method": 2.0, "size": 3.0, "ingredient": 0.5}
"""How much what is read between the lines counts beside what is named; 1 for the other facets.

Chosen, like `COVERED`, on four training sites by how well what the names say agrees with what the labels say
is wanted (`python -m tests.bench.theme_names`); a bar moved by 0.05 changes that by 0.03 at most.
"""

COVERED: Final = {"dish": 0.4, "diet": 0.45, "method": 0.4, "size": 0.55}
"""Coverage of the members from which on an entry comes into the name; `STORY_COVERED` for other facets."""

STORY_COVERED: Final = 0.5
"""Ingredients, occasions and who is cooked for: readers speak of them without asking for them."""

SILENT: Final = 2
"""Chosen: so many members more are thought to name nothing, so that a small theme is not named by one story.

A request that stands alone is taken at its word.
"""

LOOSELY: Final = 0.5
"""Share of those bars that is enough where nothing reaches one, or where another theme has the name."""

NARROWING: Final = 0.7
"""Chosen: an entry narrows down a wider one that comes in if it covers this share of what that one does."""

LEFT_OUT: Final = 0.15
"""Chosen: an ingredient is named to be left out where its lack is read this strongly between the lines."""

MAX_BEFORE, MAX_WORDS = 3, 5
"""Word groups before the dish, and words of a phrase that is taken from a member as it is."""

_BEHIND: Final = {
    "weights": "in grams",
    "cups": "in cups",
    "from_scratch": "from scratch",
    "by_hand": "by hand",
    "other_language": "in another language",
    "tin_size": "for another tin",
    "pasteurised": "without raw egg",
}
"""Methods that a name puts behind the dish: "sponge in grams"."""

_WHOLE: Final = frozenset(
    {"video", "meal_plan", "nutrition_facts", "print_version", "substitutes_chart", "beginner_series"}
)
"""Methods that are a thing of their own: "weekly plan"."""

_FOR: Final = {
    "toddler": "toddlers",
    "baby": "babies",
    "elderly": "older people",
    "dog": "dogs",
    "beginner": "beginners",
    "athlete": "athletes",
    "pregnant": "pregnancy",
}
"""Whom a name says that something is for, where the vocabulary says it in the singular."""

_FEASTS: Final = frozenset(
    "christmas easter lent halloween thanksgiving ramadan eid diwali passover hanukkah purim shabbat "
    "nowruz".split()
)

_QUICKLY: Final = frozenset({"quick", "simple", "make_ahead"})
"""Said before the diet, as sizes are; others come after it: "quick vegan curry", "vegan air fryer curry"."""

_IMPLIED: Final = {
    "vegan": frozenset({"dairy_free", "egg_free", "vegetarian", "gelatine_free", "pork_free", "fish_free"}),
    "vegetarian": frozenset({"pork_free", "fish_free", "gelatine_free"}),
    "sugar_free": frozenset({"low_sugar"}),
    "low_fodmap": frozenset({"onion_free", "garlic_free"}),
}
"""Diets that another one says already."""

_SPOKEN: Final = frozenset(
    "i i'm i'd i've id im ive me my mine we us our you your you'd he his him she her they their them is are "
    "was were am be been that this these it its do does did can could would will have has had there here who "
    "when".split()
)
"""Words of a sentence that somebody says; a name has none of them."""

_WORD: Final = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")


@dataclass(frozen=True, slots=True)
class _Entry:
    """An entry that may come into a name, and the share of the members that it covers."""

    facet: str
    id: str
    covers: float

    @property
    def strength(self) -> float:
        """How far it reaches the bar of its facet; from 1 on it comes in."""
        return self.covers / COVERED.get(self.facet, STORY_COVERED)


def common_facets(members: Sequence[Sketch]) -> Facets:
    """Entries that most of `members` name, with the mean of their weights."""
    merged = blend((member.wanted.facets, 1.0) for member in members)
    shared: dict[str, dict[str, float]] = {}
    for name, entries in merged.each():
        means = {
            id: sum(getattr(member.wanted.facets, name).get(id, 0.0) for member in members) / len(members)
            for id in entries
        }
        shared[name] = {id: mean for id, mean in means.items() if mean >= SHARED}
    return Facets(**shared)


def name_of(
    members: Sequence[Sketch], asked: Mapping[str, float] | None = None, taken: Collection[str] = ()
) -> str:
    """Write a short name for a theme.

    Parameters
    ----------
    members : sequence of Sketch
        The most typical members; at least one.
    asked : mapping of str to float, optional
        How strongly the members ask for each entry between the lines (`Likeness.asked`).
    taken : collection of str, optional
        Names of other themes. Where the name is among them, one more entry is said that may tell the two
        apart, if there is one.
    """
    entries = sorted(_covering(members, asked or {}), key=lambda one: (-one.strength, one.id))
    inside = _inside(entries)
    name = _written(members, inside)
    if not name:
        return _plain_phrase(members)
    for one in entries:
        if name not in taken:
            break
        if one not in inside:
            longer = _written(members, [*inside, one])
            name = longer if longer not in taken else name
    return name


def _inside(entries: Sequence[_Entry]) -> list[_Entry]:
    """The entries that come in, in their order: those that reach the bar, and what narrows them down.

    A narrower one that fewer than half ask for who ask for the wider one leaves it to that.
    """
    reached = {one.id: one.covers for one in entries if one.strength >= 1}

    def comes_in(one: _Entry) -> bool:
        wider = [reached[id] for id in vocabulary().lineage(one.id)[1:] if id in reached]
        if one.id in reached:
            return all(2 * one.covers >= covers for covers in wider)
        return any(one.covers >= NARROWING * covers for covers in wider)

    return [one for one in entries if comes_in(one)] or list(entries[:1])


def _covering(members: Sequence[Sketch], asked: Mapping[str, float]) -> Iterator[_Entry]:
    """Entries that cover the members at least loosely; a wider one covers what the narrower ones do."""
    named: Counter[tuple[str, str]] = Counter()
    for member in members:
        for facet, entries in member.wanted.facets.each():
            wide: dict[str, float] = {}
            for id, weight in entries.items():
                for ancestor in vocabulary().lineage(id) or (id,):
                    wide[ancestor] = max(wide.get(ancestor, 0.0), weight)
            named.update({(facet, id): weight for id, weight in wide.items()})
    voices = len(members) + (SILENT if len(members) > 1 else 0)
    told = {(known.facet, known.id) for known in map(vocabulary().entries.get, asked) if known}
    for facet, id in named.keys() | told:
        read = BETWEEN_THE_LINES.get(facet, 1.0) * asked.get(id, 0.0)
        entry = _Entry(facet, id, min(1.0, named[facet, id] / voices + read))
        if entry.strength >= LOOSELY and asked.get(_lacking(id), 0.0) < LEFT_OUT:
            yield entry


def _lacking(id: str) -> str:
    """The diet of somebody who leaves the entry out; empty for none."""
    entry = vocabulary().entries.get(id)
    return (entry.lacking if entry else None) or ""


def _written(members: Sequence[Sketch], entries: Sequence[_Entry]) -> str:
    """A name that says `entries`, strongest first, as far as they fit; empty for none."""
    by_facet = {facet: _narrowest([one for one in entries if one.facet == facet]) for facet in FACETS}
    whole = [id for id in by_facet["method"] if id in _WHOLE]
    if whole:
        return vocabulary().shown(whole[0])
    thing, rest = _thing(members, by_facet)
    before, behind = _around(by_facet, rest)
    if not (thing or before or behind):
        return ""
    if not thing or thing in by_facet["ingredient"]:
        before += [_attributive(vocabulary().shown(thing))] if thing else []
        return " ".join([*before, "recipes", *behind])
    words = _said_as(members, thing)
    return " ".join([*(word for word in before if word not in words), words, *behind])


def _thing(members: Sequence[Sketch], by_facet: Mapping[str, Sequence[str]]) -> tuple[str, list[str]]:
    """The dish, else the ingredient; and the ingredients that are left to say."""
    dishes, ingredients = by_facet["dish"], list(by_facet["ingredient"])
    if dishes:
        return dishes[0], ingredients
    return (ingredients[0], []) if ingredients else ("", [])


def _narrowest(entries: Sequence[_Entry]) -> list[str]:
    """Their ids without those that another one says already, in their order."""
    ids = [one.id for one in entries]
    said = {wider for id in ids for wider in (*vocabulary().lineage(id)[1:], *_IMPLIED.get(id, ()))}
    return [id for id in ids if id not in said]


def _around(by_facet: Mapping[str, Sequence[str]], ingredients: Sequence[str]) -> tuple[list[str], list[str]]:
    """Word groups before the dish, in the order of English, and the one behind it."""
    shown = vocabulary().shown
    methods = by_facet["method"]
    without = [shown(id) for id in by_facet["diet"] if shown(id).startswith("without ")]
    diets = [shown(id) for id in by_facet["diet"] if not shown(id).startswith("without ")]
    audience = by_facet["audience"]
    groups = [
        *[shown(id) for id in by_facet["size"][:1]],
        *[shown(id) for id in methods if id in _QUICKLY][:1],
        *_joined(diets[:2]),
        *[shown(id) for id in methods if id not in _QUICKLY and id not in _BEHIND][:1],
        *[shown(id).capitalize() if id in _FEASTS else shown(id) for id in by_facet["occasion"][:1]],
        *[_attributive(shown(id)) for id in ingredients[:1]],
    ]
    behind = [
        *[_BEHIND[id] for id in methods if id in _BEHIND],
        *without,
        *[_for(id) for id in audience],
    ]
    return groups[:MAX_BEFORE], behind[:1]


def _joined(diets: Sequence[str]) -> list[str]:
    """Two diets as one group: "dairy- and egg-free"."""
    if len(diets) == 2 and all(diet.endswith("-free") for diet in diets):
        return [f"{diets[0].removesuffix('free')} and {diets[1]}"]
    return list(diets)


def _for(audience: str) -> str:
    shown = _FOR.get(audience, vocabulary().shown(audience))
    return shown if shown.startswith("for ") else f"for {shown}"


def _attributive(noun: str) -> str:
    """A noun as it stands before another one: "apple pie", "berry tart".

    >>> [_attributive(noun) for noun in ("chickpeas", "berries", "potatoes", "asparagus", "Brussels sprouts")]
    ['chickpea', 'berry', 'potato', 'asparagus', 'Brussels sprout']
    """
    if noun.endswith("ies"):
        return noun[:-3] + "y"
    if noun.endswith("oes"):
        return noun[:-2]
    plural = noun.endswith("s") and not noun.endswith(("ss", "us", "greens"))
    return noun[:-1] if plural else noun


def _plural(noun: str) -> str:
    """The plural of a dish's name; of "bao", "soba" and the like it is the same word."""
    if noun.endswith(("a", "i", "o", "u")):
        return noun
    if noun.endswith("y") and noun[-2:-1] not in "aeiou":
        return noun[:-1] + "ies"
    return noun + ("es" if noun.endswith(("ch", "sh", "x", "z")) else "s")


def _said_as(members: Sequence[Sketch], dish: str) -> str:
    """What the members call the dish, if more of them call it so than anything else; else as it is shown."""
    calls: Counter[tuple[str, ...]] = Counter()
    forms: dict[tuple[str, ...], Counter[str]] = {}
    for member in members:
        said = dict(_calls(f"{member.text} {member.wanted.phrase}", dish))
        calls.update(said.keys())
        for call, form in said.items():
            forms.setdefault(call, Counter())[form] += 1
    shown = vocabulary().shown(dish)
    best = calls.most_common(2)
    if not best or (len(best) == 2 and best[0][1] == best[1][1]) or best[0][1] * 2 < len(members):
        return shown
    call = best[0][0]
    if call == tuple(tokens(shown)):
        return shown
    form = max(forms[call].items(), key=lambda item: (item[1], item[0]))[0]
    return _plural(form) if shown.endswith("s") and not form.endswith("s") else form


def _calls(text: str, dish: str) -> Iterator[tuple[tuple[str, ...], str]]:
    """Names of the dish in `text`, as the vocabulary compares them and as they are written there."""
    words = _WORD.findall(text)
    written = [(at, token) for at, word in enumerate(words) for token in tokens(word)]
    for found in vocabulary().find([token for _, token in written]):
        span = written[found.start : found.end]
        first, last = span[0][0], span[-1][0]
        whole = [token for word in words[first : last + 1] for token in tokens(word)]
        call = tuple(token for _, token in span)
        if found.weight == 1 and whole == list(call) and any(entry.id == dish for entry in found.entries):
            yield call, " ".join(words[first : last + 1]).lower()


def _plain_phrase(members: Sequence[Sketch]) -> str:
    """The shortest wish of a member that is put as a noun; without names, addresses and numbers."""
    phrases = sorted(
        (phrase for member in members if (phrase := _noun_like(member.wanted.phrase))),
        key=lambda phrase: (len(phrase.split()), phrase),
    )
    return phrases[0] if phrases else "something else"


def _noun_like(phrase: str) -> str:
    words = phrase.split()
    plain = all(_WORD.fullmatch(word) for word in words)
    private = any(word[0].isupper() for word in words[1:])
    spoken = any(word.lower() in _SPOKEN for word in words)
    return "" if not plain or private or spoken or len(words) > MAX_WORDS else phrase[:1].lower() + phrase[1:]
