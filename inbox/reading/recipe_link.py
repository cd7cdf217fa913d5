"""Which recipe a message is about.

In order: the page or form it was written on, a link, the thread it answers, then the words. Words are weighed
by how rare they are in the catalogue and where they stand in a recipe (title, ingredients, tags, steps); the
candidates are compared by a small logistic rule, and the link stays open where no candidate is likely enough.
Start at `link_recipe`. `python -m tests.bench.recipe_link --fit` chooses the weights on labelled messages.
"""

import math
import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from inbox.reading.catalogue_index import FIELDS, CatalogueIndex
from inbox.reading.findings import RecipeLink, Told
from inbox.reading.recipe_words import DAYS, STOP_WORDS, is_amount, plain, stem_of, words_of

__all__ = ["CatalogueIndex", "candidates_of", "link_recipe"]

CANDIDATES = 4
"""Recipes with the most shared words that are weighed further."""

SHARPNESS = 2.0
"""One unit of shared weight more makes a recipe e to this power likelier, as was fitted for titles."""

FEATURES = (
    "bias", *FIELDS, "title_coverage", "title_run", "head_named", "lead", "share", "rivals", "length",
    "in_subject", "pointed_at", "asks_for_new", "spam", "words_shared",
)  # fmt: skip
"""What is known of a candidate: its weight by field, and how it stands beside the others."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A logistic rule over `FEATURES`, and the probability from which a link is given."""

    weights: tuple[float, ...]
    sure_enough: float


RULE = Rule(
    (
        -0.245, 0.122, 0.135, 0.424, 0.375, 0.376, 0.224, 0.348, 0.288, 0.394,
        -0.001, 0.714, 0.998, -0.144, -0.706, 0.529, 0.734, -0.699, -1.948, -0.097,
    ),
    sure_enough=0.7,
)  # fmt: skip
"""Chosen by `python -m tests.bench.recipe_link --fit`."""

CONFIDENCE_OF_PAGE, CONFIDENCE_OF_LINK, CONFIDENCE_OF_THREAD, CONFIDENCE_OF_TITLE = 0.99, 0.98, 0.95, 0.95

_ADDRESS = re.compile(r"(?:https?://|www\.)[^\s<>\"')\]]+", re.IGNORECASE)
_SIDE_BY_SIDE = re.compile(
    r"\b(?:like|than|as good as|also|as well as|usually|instead of|too|next|with|after|before|alongside"
    r"|tried|unlike)\b"
)
_ASKS_FOR_NEW = re.compile(
    r"\b(?:any (?:chance|hope|plans?)|please (?:do|make|could|can)|pls|plz|do you have|have you (?:got|ever)"
    r"|(?:would|could|can|will) you (?:ever|consider|please|do|make|develop|write|work|come)"
    r"|(?:i'd|we'd|would|i would) (?:love|like|buy|welcome|leap)|wish|is there an?|are there any"
    r"|something (?:like|for|with)|recipes? for|how about|what about|more recipes|version|edition"
    r"|do (?:an?|one|some|us|those)|(?:got|help|need|looking for) an?y?|suggest|hoping|when are|on the cards"
    r"|begging|up your sleeve)\b"
)
_SPAM = re.compile(
    r"[$£€]\s?\d|https?:|www\.|\b(?:click|commission|seo|backlinks?|guest post|collab|crypto|bitcoin|discount"
    r"|dm me|dear (?:admin|webmaster|sir or madam)|out of (?:the )?office|verify|claim your|loan)\b"
)
_POINTERS = frozenset(("the", "your", "this", "these", "ur", "yr", "those", "that", "my"))


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
        The reader's words that it shares, the most telling first.
    title_coverage : float
        Share of the title's weight that the message names.
    title_run : int
        Most title words that stand side by side in the message.
    title_stems : frozenset of str
        The title's stems that the message names.
    """

    recipe: int
    features: tuple[float, ...]
    probability: float
    shared: tuple[str, ...]
    title_coverage: float
    title_run: int
    title_stems: frozenset[str]

    @property
    def is_named_outright(self) -> bool:
        """Whether nearly the whole title stands in the message, at least two of its words side by side."""
        return self.title_coverage >= 0.9 and self.title_run > 1


def link_recipe(told: Told, index: CatalogueIndex, rule: Rule = RULE) -> RecipeLink:
    """Find the recipe that a message is about.

    Parameters
    ----------
    told : Told
    index : CatalogueIndex
        Of the catalogue at the time of the message.
    rule : Rule, optional

    Returns
    -------
    RecipeLink
        `slug` is None where nothing points to one recipe, or two are too close to call (both are in `also`).
    """
    page = index.by_slug.get(told.page) if told.page else None
    candidates = candidates_of(told, index, rule)
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
    return _from_words(candidates, index, rule.sure_enough)


def candidates_of(told: Told, index: CatalogueIndex, rule: Rule = RULE) -> list[Candidate]:
    """Return the few recipes that share most with the message's words, likeliest first."""
    subject, body = words_of(told.subject or ""), words_of(told.text)
    found = _find_words([*subject, *body], index)
    if all(is_amount(stem) for stem in found.word_of):
        return []
    ranked = sorted(found.scores, key=lambda place: (-found.scores[place], place))[:CANDIDATES]
    text = plain(told.text)
    signs = (float(bool(_ASKS_FOR_NEW.search(text))), float(bool(_SPAM.search(text))))
    candidates = [_weigh(place, ranked, found, len(subject), signs, index, rule) for place in ranked]
    return sorted(candidates, key=lambda candidate: (-candidate.probability, candidate.recipe))


@dataclass(slots=True)
class _Found:
    """The words of one message that the catalogue knows, and what they are worth for each recipe."""

    words: list[str]
    stems_at: list[tuple[int, str]]
    word_of: dict[str, str]
    scores: dict[int, float]


def _find_words(words: list[str], index: CatalogueIndex) -> _Found:
    stems_at: list[tuple[int, str]] = []
    word_of: dict[str, str] = {}
    last: tuple[int, str] = (-9, "")
    for at, word in enumerate(words):
        stems: Sequence[str] = index.known_stems(word)
        if word in DAYS and not _names_day(at, words):
            stems = ()
        elif word[0].isdigit() and not is_amount(word):
            stems = ()
        if (
            at + 1 < len(words)
            and STOP_WORDS.isdisjoint(words[at : at + 2])
            and (joined := stem_of(word + words[at + 1])) in index.title_stems
        ):
            stems = (*stems, joined)
        for stem in stems:
            stems_at.append((at, stem))
            word_of.setdefault(stem, word)
            pair = f"{last[1]} {stem}"
            if at - last[0] <= 2 and pair in index.places:
                word_of.setdefault(pair, f"{words[last[0]]} {word}")
            last = (at, stem)
    scores: dict[int, float] = defaultdict(float)
    for stem in word_of:
        for recipe, worth in index.places[stem]:
            scores[recipe] += worth
    return _Found(words, stems_at, word_of, scores)


def _weigh(
    recipe: int,
    ranked: list[int],
    found: _Found,
    subject_count: int,
    signs: tuple[float, float],
    index: CatalogueIndex,
    rule: Rule,
) -> Candidate:
    field_mass = dict.fromkeys(FIELDS, 0.0)
    field_of = index.field_of[recipe]
    shared_stems = [stem for stem in found.word_of if stem in field_of]
    for stem in shared_stems:
        field_mass[field_of[stem]] += index.weight[stem]
    title = index.titles[recipe]
    coverage = field_mass["title"] / index.title_mass[recipe] if index.title_mass[recipe] else 0.0
    ats = [at for at, stem in found.stems_at if stem in title]
    run = _longest_run(ats)
    score = found.scores[recipe]
    others = [found.scores[place] for place in ranked if place != recipe]
    features = (
        1.0,
        *field_mass.values(),
        coverage,
        float(run),
        1.0 if index.heads[recipe] in found.word_of else 0.0,
        max(-3.0, min(3.0, score - max(others, default=0.0))),
        1 / (1 + sum(math.exp(SHARPNESS * (other - score)) for other in others)),
        float(sum(other > 0.7 * score for other in others)),
        math.log1p(len(found.words)),
        1.0 if any(at < subject_count for at in ats) else 0.0,
        1.0 if any(_pointed_at(at, found.words) for at in ats) else 0.0,
        *signs,
        float(min(6, len({found.word_of[stem] for stem in shared_stems}))),
    )
    logit = sum(weight * value for weight, value in zip(rule.weights, features, strict=True))
    telling = sorted(
        (stem for stem in shared_stems if " " not in stem),
        key=lambda stem: (field_of[stem] != "title", -index.weight[stem]),
    )
    shared = tuple(dict.fromkeys(found.word_of[stem] for stem in telling))
    named = frozenset(stem for stem in shared_stems if field_of[stem] == "title")
    return Candidate(recipe, features, 1 / (1 + math.exp(-logit)), shared, coverage, run, named)


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
    named = [c for c in candidates if c.recipe != told_recipe and c.is_named_outright]
    if named and (own is None or not own.title_coverage) and not _SIDE_BY_SIDE.search(plain(told.text)):
        other = index.recipes[named[0].recipe]
        why = f"It is {how} “{recipe.title}”, but its words name “{other.title}”."
        return RecipeLink(other.slug, CONFIDENCE_OF_TITLE, (recipe.slug,), why)
    also = tuple(index.recipes[c.recipe].slug for c in named)
    why = f"It is {how} “{recipe.title}”."
    if also:
        why = f"{why[:-1]}; it also names “{index.recipes[named[0].recipe].title}”."
    return RecipeLink(recipe.slug, confidence, also, why)


def _linked(told: Told, index: CatalogueIndex) -> list[int]:
    addresses = [*told.links, *_ADDRESS.findall(told.text)]
    found = (index.by_address(address) for address in addresses)
    return list(dict.fromkeys(place for place in found if place is not None))


def _from_words(candidates: list[Candidate], index: CatalogueIndex, sure_enough: float) -> RecipeLink:
    if not candidates:
        return RecipeLink(None, why="It has no word that points to one of the recipes.")
    titles = [f"“{index.recipes[c.recipe].title}”" for c in candidates]
    slugs = [index.recipes[c.recipe].slug for c in candidates]
    named = [slug for slug, c in zip(slugs, candidates, strict=True) if c.is_named_outright]
    sure = [slug for slug, c in zip(slugs, candidates, strict=True) if c.probability >= sure_enough]
    if named or sure:
        at = slugs.index((named or sure)[0])
        best = candidates[at]
        confidence = max(best.probability, CONFIDENCE_OF_TITLE if named else 0.0)
        beside = [slugs[place] for place, c in enumerate(candidates) if _is_named_beside(c, best, index)]
        also = dict.fromkeys(slug for slug in (*named, *sure, *beside) if slug != slugs[at])
        why = f"Its words {_quoted(best)} point to {titles[at]}."
        return RecipeLink(slugs[at], confidence, tuple(also), why)
    close = tuple(slug for slug, c in zip(slugs, candidates, strict=True) if c.probability >= sure_enough / 2)
    if len(close) > 1:
        why = f"It could be {titles[0]} or {titles[1]}: too close to call."
    else:
        why = f"Its words {_quoted(candidates[0])} hint at {titles[0]}, but not clearly enough."
    return RecipeLink(None, candidates[0].probability, close, why)


def _is_named_beside(candidate: Candidate, best: Candidate, index: CatalogueIndex) -> bool:
    """Whether the message names the noun of this title too, in words that are not those of the best one."""
    apart = candidate.title_stems.isdisjoint(best.title_stems)
    return (
        apart and index.heads[candidate.recipe] in candidate.title_stems and candidate.title_coverage >= 0.3
    )


def _quoted(candidate: Candidate) -> str:
    return ", ".join(f"“{word}”" for word in candidate.shared[:4])
