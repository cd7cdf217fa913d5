"""The words of a catalogue, weighed by how much each tells of which recipe is meant.

Built once and used for many messages by `recipe_link`. Start at `CatalogueIndex`.
"""

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from itertools import pairwise

from inbox.places import seed_folder
from inbox.reading.dish_words import DISHES, FOODS
from inbox.reading.findings import CatalogueRecipe
from inbox.reading.recipe_words import STOP_WORDS, bare_number, is_amount, plain, stem_of, words_of

FIELDS = ("title", "pair", "amount", "tag", "ingredient", "related", "step")
"""Where a recipe has a word: "pair" is two words side by side, "related" is brought to mind by its dish."""

FIELD_WORTH = {
    "title": 1.0, "pair": 0.358, "amount": 0.56, "tag": 0.792, "ingredient": 0.683,
    "related": 0.492, "step": 0.637,
}  # fmt: skip
"""What a shared word counts by where the recipe has it (`python -m tests.bench.recipe_link --fit`)."""

EVERYDAY_DAMPING = 0.3
"""A word in one message of a hundred on other sites counts 1 / (1 + this)."""

CROWD_COUNT, CROWD_SHARE = 30, 0.1
"""A word in more recipes than both is kept only in titles: elsewhere it tells little and costs time."""

_TITLE_END = re.compile(r"\s(?:with|for|that|in|and a)\s|\s*\(")


class CatalogueIndex:
    """What each word of readers says of which recipe is meant.

    Parameters
    ----------
    recipes : sequence of CatalogueRecipe
    everyday : mapping of str to float, optional
        Share of messages of any site that have a word (by stem); the shipped table by default.
    field_worth : mapping of str to float, optional
        One for each of `FIELDS`.
    damping : float, optional
        How much less a word counts that readers write anyway.

    Attributes
    ----------
    recipes : tuple of CatalogueRecipe
    by_slug : dict of str to int
        Place in the catalogue.
    places : dict of str to tuple of (int, float)
        For a stem, the recipes that have it, and what sharing it is worth there.
    field_of : list of dict of str to str
        For each recipe, its stems and where they stand.
    weight : dict of str to float
        How much a stem tells in this catalogue.
    titles : list of list of str
        Stems of each title, in order.
    heads : list of str
        Stem of the noun that each title is built on.
    title_mass : list of float
        Weight of all stems of each title.
    """

    def __init__(
        self,
        recipes: Sequence[CatalogueRecipe],
        *,
        everyday: Mapping[str, float] | None = None,
        field_worth: Mapping[str, float] = FIELD_WORTH,
        damping: float = EVERYDAY_DAMPING,
    ) -> None:
        self.recipes = tuple(recipes)
        self.by_slug = {recipe.slug: place for place, recipe in enumerate(self.recipes)}
        self.titles = [_title_stems(recipe) for recipe in self.recipes]
        self.heads = [_head_of(recipe.title) for recipe in self.recipes]
        self._everyday = everyday_words() if everyday is None else everyday
        self._known: dict[str, tuple[str, ...]] = {}
        self._by_address = {
            _bare_address(recipe.url): place for place, recipe in enumerate(self.recipes) if recipe.url
        }
        self._hosts = {address.split("/", 1)[0] for address in self._by_address}
        fields = [_field_of_stems(r, title) for r, title in zip(self.recipes, self.titles, strict=True)]
        common = Counter(stem for field_of in fields for stem in field_of)
        crowd = max(CROWD_COUNT, CROWD_SHARE * len(self.recipes))
        self.weight = {
            stem: rarity / (1 + damping * 100 * self._everyday.get(stem, 0.0))
            for stem, rarity in _rarity(fields).items()
        }
        self.field_of = [
            {stem: field for stem, field in field_of.items() if field == "title" or common[stem] <= crowd}
            for field_of in fields
        ]
        places: dict[str, list[tuple[int, float]]] = defaultdict(list)
        for recipe_place, field_of in enumerate(self.field_of):
            for stem, field in field_of.items():
                places[stem].append((recipe_place, field_worth[field] * self.weight[stem]))
        self.places = {stem: tuple(found) for stem, found in places.items()}
        self.title_mass = [sum(self.weight[stem] for stem in dict.fromkeys(title)) for title in self.titles]
        self._prepare_spellings()

    def _prepare_spellings(self) -> None:
        self.title_stems = {stem for title in self.titles for stem in title}
        self._joined: dict[str, tuple[str, str]] = {}
        for title in self.titles:
            for first, second in pairwise(title):
                self._joined.setdefault(first + second, (first, second))
        self._slips: dict[str, str] = {}
        for stem in sorted(self.title_stems):
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
        if stem in self.weight or stem in self._everyday or not word.isalpha():
            return ()
        return self._written_together(word) or self._meant_by_slip(stem)

    def _written_together(self, word: str, most: int = 3) -> tuple[str, ...]:
        """Return the title words that `word` runs together, at most `most` of them ("plumjamdoughnuts")."""
        for cut in range(3, len(word) - 2):
            first, rest = stem_of(word[:cut]), word[cut:]
            if first not in self.title_stems:
                continue
            if stem_of(rest) in self.title_stems:
                return (first, stem_of(rest))
            if most > 2 and (others := self._written_together(rest, most - 1)):
                return (first, *others)
        return ()

    def _meant_by_slip(self, stem: str) -> tuple[str, ...]:
        """Return the title word that is one letter away from `stem` (missing, doubled, wrong)."""
        if len(stem) < 5 or stem.endswith("ly"):
            return ()
        for slip in (stem, *_one_letter_less(stem)):
            meant = slip if slip in self.title_stems and len(slip) >= 5 else self._slips.get(slip)
            if meant is not None and _is_slip(stem, meant):
                return (meant,)
        return ()

    def by_address(self, address: str) -> int | None:
        """Return the place in the catalogue of the recipe at `address`, or None."""
        bare = _bare_address(address)
        found = self._by_address.get(bare)
        if found is not None or bare.split("/", 1)[0] not in self._hosts:
            return found
        return self.by_slug.get(bare.rsplit("/", 1)[-1])


_last: CatalogueIndex | None = None


def index_of(recipes: Sequence[CatalogueRecipe]) -> CatalogueIndex:
    """The index of a catalogue; the last one is kept, since batch after batch is read with the same."""
    global _last
    found = _last
    if found is None or found.recipes != tuple(recipes):
        found = _last = CatalogueIndex(recipes)
    return found


@cache
def everyday_words() -> Mapping[str, float]:
    """Share of the shipped training messages that have each stem, from `seed_data/everyday_words.tsv`."""
    text = (seed_folder() / "everyday_words.tsv").read_text(encoding="utf-8")
    rows = (line.split("\t") for line in text.splitlines() if line and not line.startswith("#"))
    return {stem: float(share) for stem, share in rows}


def _field_of_stems(recipe: CatalogueRecipe, title: list[str]) -> dict[str, str]:
    """For each stem of a recipe, and each that its dish and foods bring to mind, the field that has it."""
    tags = list(_flat(recipe.tags))
    found: dict[str, str] = {}
    for texts, field in ((recipe.steps, "step"), (recipe.ingredients, "ingredient"), (tags, "tag")):
        found.update((stem, field) for text in texts for stem in telling_stems(text))
    named = {*title, *(stem for stem, field in found.items() if field == "tag")}
    eaten = {*title, *(stem for stem, field in found.items() if field == "ingredient")}
    brought = [*_brought_to_mind(named, DISHES), *_brought_to_mind(eaten, FOODS)]
    for stem in brought:
        found.setdefault(stem, "related")
    texts = (recipe.title, *recipe.ingredients, *recipe.steps)
    amounts = [word for text in texts for word in words_of(text) if is_amount(word)]
    found.update(
        (part, "amount") for word in amounts for part in (word, bare_number(word)) if is_amount(part)
    )
    found.update((pair, "pair") for text in texts for pair in pairs_of(telling_stems(text)))
    found.update((stem, "title") for stem in title)
    return found


def _brought_to_mind(stems: set[str], table: Mapping[str, tuple[str, ...]]) -> Iterator[str]:
    for name, words in table.items():
        if stem_of(name) in stems:
            yield from (stem_of(word) for word in words)


def pairs_of(stems: Sequence[str]) -> list[str]:
    """Neighbours joined, as one word of the index."""
    return [f"{first} {second}" for first, second in pairwise(stems)]


def telling_stems(text: str) -> list[str]:
    """Stems of the words of `text` that may tell of a recipe."""
    return [
        stem_of(word)
        for word in words_of(text)
        if len(word) > 2 and word.isalpha() and word not in STOP_WORDS
    ]


def _rarity(fields: list[dict[str, str]]) -> dict[str, float]:
    """Inverse document frequency, ln(1 + N / df)."""
    counts = Counter(stem for field_of in fields for stem in field_of)
    return {stem: math.log1p(len(fields) / count) for stem, count in counts.items()}


def _title_stems(recipe: CatalogueRecipe) -> list[str]:
    """Stems of title and slug in order, without those that say nothing."""
    slug = recipe.slug.rsplit("/", 1)[-1].replace("-", " ")
    return list(dict.fromkeys([*telling_stems(recipe.title), *telling_stems(slug)]))


def _head_of(title: str) -> str:
    """Stem of the noun that a title is built on: its last telling word before "with", "for" or a bracket."""
    front = telling_stems(_TITLE_END.split(plain(title), maxsplit=1)[0])
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


def _is_slip(written: str, meant: str) -> bool:
    """Whether one letter is missing, doubled, wrong or swapped; the first must be right."""
    if written[0] != meant[0] or abs(len(written) - len(meant)) > 1:
        return False
    front = next((at for at, (a, b) in enumerate(zip(written, meant, strict=False)) if a != b), len(meant))
    rest, right = written[front:], meant[front:]
    swapped = rest[1::-1] == right[:2] and rest[2:] == right[2:]
    return rest[1:] == right[1:] or rest[1:] == right or rest == right[1:] or swapped


def _one_letter_less(stem: str) -> list[str]:
    return [stem[:at] + stem[at + 1 :] for at in range(1, len(stem))]


def _bare_address(address: str) -> str:
    """Host and path of `address`, without scheme, "www.", query, fragment, closing slash and closing stop."""
    bare = re.sub(r"^(?:https?:)?//", "", address.strip().lower())
    bare = re.sub(r"[?#].*$", "", bare).rstrip("/.,;:!")
    return bare.removeprefix("www.")
