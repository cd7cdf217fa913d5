"""The measure of likeness that the program starts with, fitted on the training requests that ship.

Fitting takes some seconds, so the result is kept in the service's own data
folder, beside the reading model and by the same rules. Start with
`load_or_fit`.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Final

from inbox.places import seed_folder
from inbox.reading.catalogue_index import CatalogueIndex
from inbox.reading.encoder import encode
from inbox.reading.findings import CatalogueRecipe, Labelled, Told
from inbox.reading.recipe_link import link_recipe
from inbox.reading.saved import load, origin, save
from inbox.reading.training import load_catalogue, seed_messages
from inbox.themes.asks import Example
from inbox.themes.likeness import AskedExample, Likeness, fit_likeness, widened
from inbox.themes.requests import Request
from inbox.themes.sketches import sketch, sketch_version
from inbox.themes.vocabulary import vocabulary

FILE_NAME: Final = "themes.model"


def load_or_fit(folder: Path) -> Likeness:
    """The likeness fitted on `seed_data/messages`: from `folder` if it is there and of this version.

    Parameters
    ----------
    folder : Path
        The service's own data folder; made if missing. Nothing is ever loaded from anywhere else.
    """
    labelled = seed_messages()
    made_from = {**origin(labelled), "themes": sketch_version(), "fit": _fit_version()}
    path = folder / FILE_NAME
    kept = load(path, made_from, Likeness)
    if kept is None:
        kept = seed_likeness(labelled)
        save(path, kept, made_from)
    return kept


def _fit_version() -> str:
    """Name of the code that a likeness is fitted by; one of another version is fitted anew."""
    digest = hashlib.sha256()
    for name in ("asks.py", "likeness.py", "linkage.py", "measures.py", "pairs.py", "trained.py"):
        digest.update(Path(__file__).with_name(name).read_bytes())
    return digest.hexdigest()[:16]


def seed_likeness(labelled: Sequence[Labelled]) -> Likeness:
    """Fit a likeness on the requests among `labelled`, those of each site under their site's recipes."""
    asked = [
        example for site in sorted({one.site for one in labelled}) for example in _of_site(site, labelled)
    ]
    return fit_likeness(asked, phrases())


def _of_site(site: str, labelled: Sequence[Labelled]) -> list[AskedExample]:
    path = seed_folder() / "messages" / f"{site}_recipes.json"
    catalogue = load_catalogue(path) if path.is_file() else []
    return asked_examples([one for one in labelled if one.site == site], catalogue)


def asked_examples(labelled: Sequence[Labelled], catalogue: Sequence[CatalogueRecipe]) -> list[AskedExample]:
    """Labelled requests as examples; others among `labelled` are passed over.

    The recipe that a message is about is told as the page it was sent from. Measured on the training sites,
    the weights found so are also the better ones where no page is known.
    """
    asked = [one for one in labelled if one.theme and one.wants]
    told = [replace(one.told, page=one.recipe) for one in asked]
    requests = requests_of(told, catalogue)
    plain = sketch([Request(str(at), str(one.wants)) for at, one in enumerate(asked)])
    return [
        AskedExample(made, put, str(one.theme), one.site)
        for made, put, one in zip(sketch(requests), plain, asked, strict=True)
    ]


def requests_of(told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Request]:
    """Messages as requests, each with the recipe that it is about as far as that can be read."""
    recipes, index = {recipe.slug: recipe for recipe in catalogue}, CatalogueIndex(catalogue)
    linked = [link_recipe(one, index).slug for one in told]
    return [
        Request(str(at), one.text, one.subject, recipes.get(slug or ""))
        for at, (one, slug) in enumerate(zip(told, linked, strict=True))
    ]


@cache
def phrases() -> tuple[Example, ...]:
    """Words and paraphrases of the vocabulary as examples."""
    told = vocabulary().paraphrases
    vectors = encode([text for _, text in told])
    entries = vocabulary().entries
    shown = dict(zip(entries, encode([entry.shown for entry in entries.values()]), strict=True))
    return tuple(
        Example(text, vector, widened({id: 1.0}), shown[id])
        for (id, text), vector in zip(told, vectors, strict=True)
    )
