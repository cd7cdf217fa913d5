"""Which recipe a message is about.

In order: the page or form it was written on, a link, the thread it answers, then the words. Words are weighed
by how rare they are in the catalogue and where they stand in a recipe (title, ingredients, tags, steps); the
candidates are compared by a small logistic rule, and the link stays open where no candidate is likely enough.
Start at `link_recipe`. `python -m tests.bench.recipe_link --fit` chooses the weights on labelled messages.
"""

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from inbox.reading.findings import CatalogueRecipe, RecipeLink, Told
from inbox.reading.recipe_words import DAYS, STOP_WORDS, plain, stem_of, words_of

FIELD_WORTH = {"title": 1.0, "tag": 0.45, "ingredient": 0.45, "step": 0.3}
"""What a shared word counts by the best place that has it (chosen: a title word names, others hint)."""

CANDIDATES = 4
"""Recipes with the most shared words that are weighed further."""

FEATURES = (
    "bias", "title_mass", "title_coverage", "title_run", "head_named", "other_mass", "lead", "share",
    "in_subject", "pointed_at", "asks_for_new",
)  # fmt: skip

WEIGHTS = {
    "bias": -4.6, "title_mass": 0.5, "title_coverage": 1.5, "title_run": 0.8, "head_named": 0.7,
    "other_mass": 0.35, "lead": 2.0, "share": 2.0, "in_subject": 0.3, "pointed_at": 0.8, "asks_for_new": -0.8,
}  # fmt: skip

SURE_ENOUGH = 0.5
"""Probability below which the link stays open."""

CONFIDENCE_OF_PAGE, CONFIDENCE_OF_LINK, CONFIDENCE_OF_THREAD = 0.99, 0.98, 0.95

_ADDRESS = re.compile(r"(?:https?://|www\.)[^\s<>\"')\]]+", re.IGNORECASE)
_SIDE_BY_SIDE = re.compile(
    r"\b(?:like|than|as good as|also|as well as|usually|instead of|too|next|with|after|before|alongside"
    r"|tried|unlike)\b"
)
_ASKS_FOR_NEW = re.compile(
    r"\b(?:any chance|would you (?:ever|consider|do|make)|could you (?:do|make|develop|write|work|come)"
    r"|please (?:do|make)|pls|(?:i'd|would|we'd) love|do you have|have you (?:got|ever)|wish|are there any"
    r"|is there a|something like|a recipe for|recipes for|how about|what about|more recipes|version)\b"
)
_TITLE_END = re.compile(r"\s(?:with|for|that|in|and a)\s|\s*\(")
_POINTERS = frozenset(("the", "your", "this", "these", "ur", "yr", "those", "that", "my"))


@dataclass(frozen=True, slots=True)
class _Place:
    """One recipe that has a word, and what sharing the word is worth there."""

    recipe: int
    field: str
    worth: float


class CatalogueIndex:
    """The words of a catalogue, weighed by rarity; built once and used for many messages.

    Parameters
    ----------
    recipes : sequence of CatalogueRecipe
    weights : mapping of str to float, optional
        One for each of `FEATURES`.
    sure_enough : float, optional
        Probability from which a link is given.
    """

    def __init__(
        self,
        recipes: Sequence[CatalogueRecipe],
        *,
        weights: Mapping[str, float] = WEIGHTS,
        sure_enough: float = SURE_ENOUGH,
    ) -> None:
        self.recipes = tuple(recipes)
        self.sure_enough = sure_enough
        self._weights = tuple(weights[name] for name in FEATURES)
        self.by_slug = {recipe.slug: place for place, recipe in enumerate(self.recipes)}
        self._by_address: dict[str, int] = {}
        for place, recipe in enumerate(self.recipes):
            if recipe.url:
                self._by_address[_bare_address(recipe.url)] = place
        self._index_words()
        self._known: dict[str, tuple[str, ...]] = {}

    def _index_words(self) -> None:
        self.titles = [_title_stems(recipe) for recipe in self.recipes]
        self.heads = [_head_of(recipe.title) for recipe in self.recipes]
        fields: list[dict[str, str]] = []
        for recipe, title in zip(self.recipes, self.titles, strict=True):
            field_of: dict[str, str] = {}
            for field, texts in (
                ("step", recipe.steps),
                ("ingredient", recipe.ingredients),
                ("tag", tuple(_flat(recipe.tags))),
            ):
                field_of.update((stem, field) for text in texts for stem in _telling_stems(text))
            field_of.update((stem, "title") for stem in title)
            fields.append(field_of)
        rarity = _rarity(fields)
        self.rarity = rarity
        self.places: dict[str, tuple[_Place, ...]] = {}
        places: dict[str, list[_Place]] = defaultdict(list)
        for recipe_place, field_of in enumerate(fields):
            for stem, field in field_of.items():
                places[stem].append(_Place(recipe_place, field, FIELD_WORTH[field] * rarity[stem]))
        self.places = {stem: tuple(found) for stem, found in places.items()}
        self.title_mass = [sum(rarity[stem] for stem in set(title)) for title in self.titles]
        self._title_vocabulary = {stem for title in self.titles for stem in title}
        self._joined: dict[str, tuple[str, str]] = {}
        for title in self.titles:
            for first, second in pairwise(title):
                self._joined.setdefault(first + second, (first, second))
        self._slips: dict[str, str] = {}
        for stem in sorted(self._title_vocabulary):
            if len(stem) >= 5:
                for slip in _one_letter_less(stem):
                    self._slips.setdefault(slip, stem)

    def known_stems(self, word: str) -> tuple[str, ...]:
        """Return the catalogue's stems that a reader's `word` may stand for; empty if none."""
        found = self._known.get(word)
        if found is None:
            found = self._find_stems(word)
            if len(self._known) < 200_000:
                self._known[word] = found
        return found

    def _find_stems(self, word: str) -> tuple[str, ...]:
        if word in STOP_WORDS:
            return ()
        stem = stem_of(word)
        if stem in self.places:
            return (stem,)
        if stem in self._joined:
            return self._joined[stem]
        for cut in range(3, len(word) - 2):
            first, second = stem_of(word[:cut]), stem_of(word[cut:])
            if first in self._title_vocabulary and second in self._title_vocabulary:
                return (first, second)
        return self._slip_of(stem)

    def _slip_of(self, stem: str) -> tuple[str, ...]:
        """Return the title word that is one letter away from `stem` (missing, doubled, wrong)."""
        if len(stem) < 5:
            return ()
        for slip in (stem, *_one_letter_less(stem)):
            meant = slip if slip in self._title_vocabulary and len(slip) >= 5 else self._slips.get(slip)
            if meant is not None and meant[0] == stem[0] and abs(len(meant) - len(stem)) <= 1:
                return (meant,)
        return ()

    def by_address(self, address: str) -> int | None:
        """Return the place in the catalogue of the recipe at `address`, or None."""
        bare = _bare_address(address)
        found = self._by_address.get(bare)
        return found if found is not None else self.by_slug.get(bare.rsplit("/", 1)[-1])


@dataclass(frozen=True, slots=True)
class Candidate:
    """A recipe that shares words with a message.

    Attributes
    ----------
    recipe : int
        Place in the catalogue.
    features : tuple of float
        In the order of `FEATURES`.
    probability : float
        That the message is about it.
    shared : tuple of str
        The reader's words that it shares, title words first.
    title_coverage : float
        Share of the title's weight that the message names.
    """

    recipe: int
    features: tuple[float, ...]
    probability: float
    shared: tuple[str, ...]
    title_coverage: float
    names_title: bool


def link_recipe(told: Told, index: CatalogueIndex) -> RecipeLink:
    """Find the recipe that a message is about.

    Parameters
    ----------
    told : Told
    index : CatalogueIndex
        Of the catalogue at the time of the message.

    Returns
    -------
    RecipeLink
        `slug` is None where nothing points to one recipe, or two are too close to call (both are in `also`).
    """
    page = index.by_slug.get(told.page) if told.page else None
    candidates = candidates_of(told, index)
    if page is not None:
        return _from_told(page, CONFIDENCE_OF_PAGE, "written on the page of", told, candidates, index)
    linked = _linked(told, index)
    if linked:
        slugs = tuple(index.recipes[place].slug for place in linked)
        return RecipeLink(
            slugs[0],
            CONFIDENCE_OF_LINK,
            slugs[1:],
            f"It links to the page of “{index.recipes[linked[0]].title}”.",
        )
    thread = index.by_slug.get(told.thread_recipe) if told.thread_recipe else None
    if thread is not None:
        return _from_told(
            thread, CONFIDENCE_OF_THREAD, "an answer in a thread about", told, candidates, index
        )
    return _from_words(candidates, index)


def candidates_of(told: Told, index: CatalogueIndex) -> list[Candidate]:
    """Return the few recipes that share most with the message's words, likeliest first."""
    subject, body = words_of(told.subject or ""), words_of(told.text)
    found = _find_words([*subject, *body], index)
    if not found.scores:
        return []
    ranked = sorted(found.scores, key=lambda place: (-found.scores[place], place))[:CANDIDATES]
    asks_for_new = 1.0 if _ASKS_FOR_NEW.search(plain(told.text)) else 0.0
    candidates = [_weigh(place, ranked, found, len(subject), asks_for_new, index) for place in ranked]
    return sorted(candidates, key=lambda candidate: (-candidate.probability, candidate.recipe))


@dataclass(slots=True)
class _Found:
    """The words of one message that the catalogue knows."""

    words: list[str]
    stems_at: list[tuple[int, str]]
    word_of: dict[str, str]
    scores: dict[int, float]


def _find_words(words: list[str], index: CatalogueIndex) -> _Found:
    stems_at: list[tuple[int, str]] = []
    word_of: dict[str, str] = {}
    for at, word in enumerate(words):
        stems = index.known_stems(word)
        if word in DAYS and not _names_day(at, words):
            stems = ()
        if at + 1 < len(words) and (joined := stem_of(word + words[at + 1])) in index.places:
            stems = (*stems, joined)
        for stem in stems:
            stems_at.append((at, stem))
            word_of.setdefault(stem, word)
    scores: dict[int, float] = defaultdict(float)
    for stem in word_of:
        for place in index.places[stem]:
            scores[place.recipe] += place.worth
    return _Found(words, stems_at, word_of, scores)


def _weigh(
    recipe: int,
    ranked: list[int],
    found: _Found,
    subject_count: int,
    asks_for_new: float,
    index: CatalogueIndex,
) -> Candidate:
    title = index.titles[recipe]
    named = [stem for stem in found.word_of if stem in title]
    title_mass = sum(index.rarity[stem] for stem in named)
    score = found.scores[recipe]
    best_other = max((found.scores[place] for place in ranked if place != recipe), default=0.0)
    total = sum(found.scores[place] for place in ranked)
    ats = [at for at, stem in found.stems_at if stem in title]
    features = (
        1.0,
        title_mass,
        title_mass / index.title_mass[recipe] if index.title_mass[recipe] else 0.0,
        float(_longest_run(ats)),
        1.0 if index.heads[recipe] in found.word_of else 0.0,
        score - title_mass,
        max(-3.0, min(3.0, score - best_other)),
        score / total,
        1.0 if any(at < subject_count for at in ats) else 0.0,
        1.0 if any(_pointed_at(at, found.words) for at in ats) else 0.0,
        asks_for_new,
    )
    logit = sum(weight * value for weight, value in zip(index._weights, features, strict=True))
    others = [
        stem
        for stem in found.word_of
        if stem not in title and any(p.recipe == recipe for p in index.places[stem])
    ]
    others.sort(key=lambda stem: -index.rarity[stem])
    shared = tuple(dict.fromkeys(found.word_of[stem] for stem in (*named, *others)))
    return Candidate(recipe, features, 1 / (1 + math.exp(-logit)), shared, features[2], bool(named))


def _names_day(at: int, words: list[str]) -> bool:
    """Whether the day at `at` is used as a name ("your Tuesday curry", "the Tuesday one")."""
    return not _POINTERS.isdisjoint(words[max(0, at - 1) : at]) or words[at + 1 : at + 2] == ["one"]


def _pointed_at(at: int, words: list[str]) -> bool:
    """Whether "the", "your" or "this" stands just before, or "one" just after."""
    before = words[max(0, at - 3) : at]
    return not _POINTERS.isdisjoint(before) or words[at + 1 : at + 2] in (["one"], ["ones"], ["recipe"])


def _longest_run(ats: list[int]) -> int:
    """Most title words that stand side by side (one small word between them allowed)."""
    best = run = 0
    last = -9
    for at in ats:
        run = run + 1 if 0 < at - last <= 2 else (run if at == last else 1)
        best, last = max(best, run), at
    return best


def _from_told(
    told_recipe: int,
    confidence: float,
    how: str,
    told: Told,
    candidates: list[Candidate],
    index: CatalogueIndex,
) -> RecipeLink:
    """Link as told, unless the words name another recipe outright and this one not at all."""
    recipe = index.recipes[told_recipe]
    own = next((c for c in candidates if c.recipe == told_recipe), None)
    others = [
        c for c in candidates if c.recipe != told_recipe and c.title_coverage >= 0.99 and c.probability >= 0.5
    ]
    named = [c for c in others if len(index.titles[c.recipe]) > 1 and index.title_mass[c.recipe] > 0]
    if named and (own is None or not own.names_title) and not _SIDE_BY_SIDE.search(plain(told.text)):
        other = index.recipes[named[0].recipe]
        why = f"It is {how} “{recipe.title}”, but its words name “{other.title}”."
        return RecipeLink(other.slug, named[0].probability, (recipe.slug,), why)
    also = tuple(index.recipes[c.recipe].slug for c in named)
    why = f"It is {how} “{recipe.title}”."
    if also:
        why = f"{why[:-1]}; it also names “{index.recipes[named[0].recipe].title}”."
    return RecipeLink(recipe.slug, confidence, also, why)


def _linked(told: Told, index: CatalogueIndex) -> list[int]:
    addresses = [*told.links, *_ADDRESS.findall(told.text)]
    found = (index.by_address(address) for address in addresses)
    return list(dict.fromkeys(place for place in found if place is not None))


def _from_words(candidates: list[Candidate], index: CatalogueIndex) -> RecipeLink:
    if not candidates:
        return RecipeLink(None, why="It has no word that points to one of the recipes.")
    best, *others = candidates
    title = index.recipes[best.recipe].title
    words = ", ".join(f"“{word}”" for word in best.shared[:4])
    if best.probability >= index.sure_enough:
        also = tuple(
            index.recipes[c.recipe].slug
            for c in others
            if c.probability >= index.sure_enough or (c.title_coverage >= 0.99 and c.features[3] > 1)
        )
        where = "stand in the title" if best.names_title else "stand in the ingredients or steps"
        why = f"Its words {words} {where} of “{title}”."
        return RecipeLink(index.recipes[best.recipe].slug, best.probability, also, why)
    close = tuple(index.recipes[c.recipe].slug for c in candidates if c.probability >= index.sure_enough / 2)
    if len(close) > 1:
        second = index.recipes[candidates[1].recipe].title
        return RecipeLink(
            None, best.probability, close, f"It could be “{title}” or “{second}”: too close to call."
        )
    why = f"Its words {words} hint at “{title}”, but not clearly enough."
    return RecipeLink(None, best.probability, close, why)


def _rarity(fields: list[dict[str, str]]) -> dict[str, float]:
    """Inverse document frequency ln(1 + N / df); a recipe with the word outside its title counts a third."""
    counts: dict[str, float] = defaultdict(float)
    for field_of in fields:
        for stem, field in field_of.items():
            counts[stem] += 1.0 if field == "title" else 1 / 3
    return {stem: math.log1p(len(fields) / max(1.0, count)) for stem, count in counts.items()}


def _title_stems(recipe: CatalogueRecipe) -> list[str]:
    """Stems of title and slug in order, without those that say nothing."""
    slug = recipe.slug.rsplit("/", 1)[-1].replace("-", " ")
    return list(dict.fromkeys([*_telling_stems(recipe.title), *_telling_stems(slug)]))


def _telling_stems(text: str) -> list[str]:
    return [stem_of(word) for word in words_of(text) if len(word) > 2 and word not in STOP_WORDS]


def _head_of(title: str) -> str:
    """Stem of the noun that a title is built on: its last telling word before "with", "for" or a bracket."""
    front = _telling_stems(_TITLE_END.split(plain(title), maxsplit=1)[0])
    return front[-1] if front else ""


def _flat(value: object) -> Iterable[str]:
    """All strings in nested tags."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for part in value.values():
            yield from _flat(part)
    elif isinstance(value, Iterable):
        for part in value:
            yield from _flat(part)


def _one_letter_less(stem: str) -> list[str]:
    return [stem[:at] + stem[at + 1 :] for at in range(1, len(stem))]


def _bare_address(address: str) -> str:
    """Host and path of `address`, without scheme, "www.", query, fragment, closing slash and closing stop."""
    bare = re.sub(r"^(?:https?:)?//", "", address.strip().lower())
    bare = re.sub(r"[?#].*$", "", bare).rstrip("/.,;:!")
    return bare.removeprefix("www.")
