"""What one reader asks for: the phrase, and its facets.

Start with `asked_for`.
"""

from dataclasses import dataclass, field
from datetime import date

from inbox.reading.findings import CatalogueRecipe
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
    parts = sentences(". ".join(filter(None, (request.subject, request.text))))
    if not parts:
        return Wanted("")
    strengths = [wish_strength(part) for part in parts]
    chosen = max(range(len(parts)), key=lambda at: (strengths[at], at))
    inside = read_facets(parts[chosen])
    around = read_facets(" . ".join(part for at, part in enumerate(parts) if at != chosen))
    facets = blend([(inside, 1.0), (_lessened(around), 1.0)])
    return Wanted(strip_wish(parts[chosen]), _with_dish_of_page(facets, inside, request.recipe))


def _lessened(facets: Facets) -> Facets:
    return Facets(
        **{
            name: {id: value * _AROUND[name] for id, value in entries.items()}
            for name, entries in facets.each()
        }
    )


def _with_dish_of_page(facets: Facets, inside: Facets, recipe: CatalogueRecipe | None) -> Facets:
    """Take the dish of the page where the wish itself names none ("a gluten-free version of this")."""
    if recipe is None or inside.dish:
        return facets
    return blend([(facets, 1.0), (Facets(dish=read_facets(recipe.title).dish), 0.9)])
