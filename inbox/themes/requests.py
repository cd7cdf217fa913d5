"""What one reader asks for: the phrase, and its facets.

Start with `asked_for`.
"""

from dataclasses import dataclass, field
from datetime import date

from inbox.reading.findings import CatalogueRecipe
from inbox.reading.text import MAX_CHARACTERS
from inbox.themes.facets import Facets, blend, read_facets
from inbox.themes.phrase import sentences, strip_wish, wish_strength


@dataclass(frozen=True, slots=True)
class Request:
    """A message that asks for a recipe, version or variation.

    Attributes
    ----------
    id : str
        The message's id, unique within a grouping.
    recipe : CatalogueRecipe or None
        The recipe that it was written under or is about: "a version of this" asks for a version of that.
    received_on : date or None
        Orders members where nothing else does; grouping does not depend on it.
    """

    id: str
    text: str
    subject: str | None = None
    recipe: CatalogueRecipe | None = None
    received_on: date | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for.

    Attributes
    ----------
    phrase : str
        The reader's own words without wish form, politeness and story.
    facets : Facets
        Entries named in the wish itself with weight 1, named around it with less.
    """

    phrase: str
    facets: Facets = field(default_factory=Facets)


_AROUND = {
    "dish": 0.3,
    "ingredient": 0.3,
    "diet": 0.9,
    "method": 0.5,
    "occasion": 0.5,
    "audience": 0.7,
    "size": 0.3,
}
"""How far an entry named outside the wish counts: "my wife is coeliac" nearly always, another dish seldom."""


def asked_for(request: Request) -> Wanted:
    """Find what `request` asks for.

    >>> asked_for(Request("1", "Lovely soup! Any chance of a dairy-free lasagne, please?")).phrase
    'dairy-free lasagne'
    """
    parts = sentences(full_text(request))
    if not parts:
        return Wanted("")
    read = [read_facets(part) for part in parts]
    chosen = max(range(len(parts)), key=lambda at: (_promise(parts[at], read[at]), at))
    around = blend((facets, 1.0) for at, facets in enumerate(read) if at != chosen)
    facets = blend([(read[chosen], 1.0), (_lessened(around), 1.0)])
    phrase = strip_wish(parts[chosen])
    if request.recipe is None or read[chosen].dish:
        return Wanted(phrase, facets)
    dish = Facets(dish=read_facets(request.recipe.title).dish)
    return Wanted(f"{phrase} ({request.recipe.title})", blend([(facets, 1.0), (dish, 0.9)]))


def _promise(sentence: str, facets: Facets) -> float:
    """How likely the wish stands in this sentence: put as a wish, names food, and is more than a sigh."""
    thing = 0.8 if facets.dish or facets.ingredient else 0.0
    change = (
        0.7 if any(entries for name, entries in facets.each() if name not in ("dish", "ingredient")) else 0.0
    )
    short = 1.0 if len(sentence.split()) < 3 and not facets else 0.0
    return wish_strength(sentence) + thing + change - short


def full_text(request: Request) -> str:
    """Subject and text as one; many a subject line holds the wish. Of a long text only the beginning."""
    return ". ".join(filter(None, (request.subject, request.text)))[:MAX_CHARACTERS]


def _lessened(facets: Facets) -> Facets:
    return Facets(
        **{
            name: {id: value * _AROUND[name] for id, value in entries.items()}
            for name, entries in facets.each()
        }
    )
