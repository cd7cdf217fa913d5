"""Which recipe a page's address or short name belongs to."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import unquote, urlsplit

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from inbox.records.tables import Message, Recipe


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Numbers of the recipes by slug and by address."""

    by_slug: Mapping[str, int] = field(default_factory=dict)
    by_address: Mapping[str, int] = field(default_factory=dict)

    def find(self, slug: str | None, url: str | None) -> int | None:
        """Number of the recipe with this slug or address; None where none is meant or known."""
        if slug and (found := self.by_slug.get(slug.strip().casefold())):
            return found
        if not url:
            return None
        address = address_key(url)
        return self.by_address.get(address) or self.by_slug.get(address.rpartition("/")[2])


def address_key(url: str) -> str:
    """Address of a page without what does not tell pages apart: scheme, www, query, fragment, last slash."""
    try:
        parts = urlsplit(url.strip())
    except ValueError:
        return ""
    host = parts.netloc.casefold().removeprefix("www.")
    return host + unquote(parts.path).rstrip("/").casefold()


def load_catalogue(session: Session) -> Catalogue:
    """Read the catalogue; a few thousand short rows at most."""
    by_slug, by_address = {}, {}
    for number, slug, url in session.execute(select(Recipe.id, Recipe.slug, Recipe.url)):
        by_slug[slug.casefold()] = number
        if url:
            by_address[address_key(url)] = number
    return Catalogue(by_slug, by_address)


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
