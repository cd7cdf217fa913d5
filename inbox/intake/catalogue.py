"""Which recipe a page's address or short name belongs to."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import unquote, urlsplit

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from inbox.records.tables import Message, Recipe


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Numbers of the recipes by slug, by title and by address."""

    by_slug: Mapping[str, int] = field(default_factory=dict)
    by_title: Mapping[str, int] = field(default_factory=dict)
    by_address: Mapping[str, int] = field(default_factory=dict)

    def find(self, slug: str | None, url: str | None) -> int | None:
        """Number of the recipe with this slug (or title) or address; None where none is meant or known."""
        name = title_key(slug or "")
        if found := self.by_slug.get(name) or self.by_title.get(name):
            return found
        # A form's "page" may be an address as well as a name.
        for text in (url, slug if slug and "/" in slug else None):
            address = address_key(text or "")
            if found := self.by_address.get(address) or self.by_slug.get(address.rpartition("/")[2]):
                return found
        return None


def address_key(url: str) -> str:
    """Address of a page without what does not tell pages apart: scheme, www, query, fragment, last slash."""
    try:
        parts = urlsplit(url.strip())
    except ValueError:
        return ""
    host = parts.netloc.casefold().removeprefix("www.")
    return host + unquote(parts.path).rstrip("/").casefold()


def title_key(title: str) -> str:
    """Title without what does not tell recipes apart: case and runs of blanks."""
    return " ".join(title.casefold().split())


def load_catalogue(session: Session) -> Catalogue:
    """Read the catalogue; a few thousand short rows at most."""
    by_slug: dict[str, int] = {}
    by_title: dict[str, int] = {}
    by_address: dict[str, int] = {}
    for number, slug, title, url in session.execute(
        select(Recipe.id, Recipe.slug, Recipe.title, Recipe.url).order_by(Recipe.id)
    ):
        by_slug[slug.casefold()] = number
        by_title.setdefault(title_key(title), number)
        if url:
            by_address[address_key(url)] = number
    return Catalogue(by_slug, by_title, by_address)


def link_pages(session: Session) -> int:
    """Link messages whose page was not in the catalogue when they came; return how many now are."""
    catalogue = load_catalogue(session)
    open_ones = session.execute(
        select(Message.id, Message.page_url).where(
            Message.page_recipe_id.is_(None), Message.page_url.is_not(None)
        )
    )
    found = [
        {"id": number, "page_recipe_id": recipe}
        for number, url in open_ones
        if (recipe := catalogue.find(url, url))
    ]
    if found:
        session.execute(update(Message), found)
    return len(found)
