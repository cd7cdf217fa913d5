"""Recipes out of schema.org JSON-LD, in web pages or JSON files, and out of the project's own list.

Pure. Start with `read_recipes`.
"""

import html
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from urllib.parse import unquote, urlsplit

from inbox.errors import InputError
from inbox.intake.charset import decode
from inbox.intake.html_text import text_of
from inbox.intake.incoming import clean, clean_line

_SCRIPT = re.compile(
    r"<script\b[^>]*\btype\s*=\s*[\"']?application/ld\+json[\"']?[^>]*>(.*?)</script",
    re.IGNORECASE | re.DOTALL,
)
_CANONICAL = re.compile(r"<link\b[^>]*\brel\s*=\s*[\"']?canonical[\"']?[^>]*>", re.IGNORECASE)
_HREF = re.compile(r"\bhref\s*=\s*[\"']([^\"']+)", re.IGNORECASE)
_TAG_FIELDS = {
    "category": "recipeCategory",
    "cuisine": "recipeCuisine",
    "method": "cookingMethod",
    "diet": "suitableForDiet",
    "keywords": "keywords",
    "serves": "recipeYield",
    "total_time": "totalTime",
    "prep_time": "prepTime",
    "cook_time": "cookTime",
}
DEPTH_LIMIT = 12


@dataclass(frozen=True, slots=True)
class FoundRecipe:
    """A recipe as a source gives it."""

    slug: str
    title: str
    url: str | None = None
    published_on: date | None = None
    ingredients: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    tags: Mapping[str, Any] = field(default_factory=dict)


def read_recipes(content: bytes, *, name: str, url: str | None = None) -> list[FoundRecipe]:
    """Recipes in a file or page.

    Parameters
    ----------
    content : bytes
        A web page, JSON-LD, or the project's own JSON list.
    name : str
        Name of the file or page, for messages.
    url : str, optional
        Address that it was fetched from.

    Raises
    ------
    InputError
        If there is no recipe in it; the message says what was found instead.
    """
    text = decode(content, "utf-8")
    if not text.strip():
        raise InputError(f"{name} is empty.")
    if text.lstrip().startswith(("{", "[")):
        try:
            documents = [json.loads(text)]
        except (ValueError, RecursionError) as error:
            raise InputError(f"{name} is not JSON: {error}.") from error
    else:
        documents = list(_embedded(text))
        url = url or _canonical(text)
    found: dict[str, FoundRecipe] = {}
    for document in documents:
        for record in _records(document):
            recipe = _own(record) if "@type" not in record else _from_schema(record, url)
            if recipe is not None:
                found.setdefault(recipe.slug, recipe)
    if not found:
        raise InputError(
            f"{name} holds no recipe: no schema.org/Recipe as JSON-LD, no list of objects with a title."
        )
    return list(found.values())


def _embedded(page: str) -> Iterator[Any]:
    for script in _SCRIPT.findall(page):
        text = script.strip().removeprefix("<!--").removesuffix("-->").strip().rstrip(";")
        for attempt in (text, html.unescape(text), re.sub(r"[\x00-\x1f]+", " ", text)):
            try:
                yield json.loads(attempt, strict=False)
                break
            except (ValueError, RecursionError):
                continue


def _canonical(page: str) -> str | None:
    link = _CANONICAL.search(page)
    address = _HREF.search(link[0]) if link else None
    return _address(html.unescape(address[1])) if address else None


def _records(document: Any, depth: int = 0) -> Iterator[Mapping[str, Any]]:
    """Objects that may be recipes, wherever they stand: in lists, in @graph, as the main thing of a page."""
    if depth > DEPTH_LIMIT:
        return
    if isinstance(document, list):
        for item in document:
            yield from _records(item, depth + 1)
    elif isinstance(document, Mapping):
        if _is_recipe(document) or (
            "@type" not in document and "@graph" not in document and _title(document)
        ):
            yield document
            return
        for key in (
            "@graph",
            "mainEntity",
            "mainEntityOfPage",
            "itemListElement",
            "item",
            "recipes",
            "hasPart",
        ):
            if key in document:
                yield from _records(document[key], depth + 1)


def _is_recipe(record: Mapping[str, Any]) -> bool:
    kinds = record.get("@type")
    kinds = kinds if isinstance(kinds, list) else [kinds]
    return any(isinstance(kind, str) and kind.rpartition("/")[2] == "Recipe" for kind in kinds)


def _title(record: Mapping[str, Any]) -> str:
    return _text(record.get("title") or record.get("name"))


def _own(record: Mapping[str, Any]) -> FoundRecipe | None:
    """Recipe of the project's own list: slug, title, url, published, ingredients, steps, tags."""
    title = _title(record)
    url = _address(record.get("url"))
    slug = clean_line(_text(record.get("slug")), 200) or slug_of(url, title)
    tags = record.get("tags")
    if isinstance(tags, list):
        tags = {"keywords": [_text(tag) for tag in tags if _text(tag)]}
    return FoundRecipe(
        slug=slug,
        title=title,
        url=url,
        published_on=_date(record.get("published")),
        ingredients=tuple(_lines(record.get("ingredients"))),
        steps=tuple(_lines(record.get("steps"))),
        tags=json.loads(clean(json.dumps(tags))) if isinstance(tags, Mapping) else {},
    )


def _from_schema(record: Mapping[str, Any], page_url: str | None) -> FoundRecipe | None:
    """Recipe of schema.org (release 30.0); `ingredients` is the name that older pages use."""
    title = _title(record)
    if not title:
        return None
    url = _address(record.get("url")) or _address(record.get("mainEntityOfPage")) or page_url
    if url is None and str(record.get("@id", "")).startswith(("https://", "http://")):
        url = str(record["@id"]).partition("#")[0]
    tags = {name: value for name, key in _TAG_FIELDS.items() if (value := _tag(record.get(key)))}
    return FoundRecipe(
        slug=slug_of(url, title),
        title=title,
        url=clean_line(url, 2000),
        published_on=_date(record.get("datePublished")),
        ingredients=tuple(_lines(record.get("recipeIngredient") or record.get("ingredients"))),
        steps=tuple(_steps(record.get("recipeInstructions"))),
        tags=tags,
    )


def slug_of(url: str | None, title: str) -> str:
    """Short name of a recipe: the last part of its address, else its title."""
    last = ""
    if url:
        try:
            last = unquote(urlsplit(url).path).rstrip("/").rpartition("/")[2]
        except ValueError:
            last = ""
        last = re.sub(r"\.(?:html?|php|aspx?)$", "", last)
    slug = re.sub(r"[\W_]+", "-", (last or title).casefold()).strip("-")
    return slug[:200] or "recipe"


def _text(value: Any) -> str:
    if isinstance(value, Mapping):
        value = value.get("text") or value.get("name") or value.get("@value") or ""
    if isinstance(value, list):
        value = value[0] if value else ""
        return _text(value) if not isinstance(value, list) else ""
    if value is None or isinstance(value, bool):
        return ""
    text = html.unescape(str(value))
    return clean_line(text_of(text) if "<" in text else text, 4000) or ""


def _lines(value: Any) -> list[str]:
    """Lines of a list of texts, of an ItemList, or of one text."""
    if isinstance(value, Mapping) and "itemListElement" in value:
        value = value["itemListElement"]
    if isinstance(value, str):
        value = text_of(value).split("\n") if "<" in value else value.split("\n")
    if not isinstance(value, list):
        value = [value]
    return [text for item in value if (text := _text(item))]


def _steps(value: Any, depth: int = 0) -> list[str]:
    """Steps in order, out of texts, HowToStep, HowToSection and ItemList."""
    if depth > DEPTH_LIMIT or value is None:
        return []
    if isinstance(value, str):
        return _lines(html.unescape(value))
    if isinstance(value, list):
        return [step for item in value for step in _steps(item, depth + 1)]
    if isinstance(value, Mapping):
        inner = value.get("itemListElement")
        if inner and not value.get("text"):
            return _steps(inner, depth + 1)
        return (
            _steps(value["item"], depth + 1) if "item" in value else [text] if (text := _text(value)) else []
        )
    return []


def _tag(value: Any) -> str | list[str]:
    if isinstance(value, list):
        return [text for item in value if (text := _text(item))]
    return _text(value)


def _address(value: Any) -> str | None:
    if isinstance(value, Mapping):
        value = value.get("@id") or value.get("url")
    return (
        clean_line(value, 2000)
        if isinstance(value, str) and value.startswith(("http://", "https://"))
        else None
    )


def _date(value: Any) -> date | None:
    if not isinstance(value, str):
        return None
    try:
        return date.fromisoformat(value.strip()[:10])
    except ValueError:
        return None
