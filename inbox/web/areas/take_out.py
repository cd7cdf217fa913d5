"""Taking words out: tables, lines, a sheet of quotations, marked-up reviews."""

import json
from collections.abc import Callable, Iterable, Iterator

from flask import Blueprint, Response, request
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.records.export import message_record
from inbox.records.revisions import get_recipe
from inbox.records.search import Search, find, messages_of
from inbox.records.tables import Message
from inbox.web.access import may, settings
from inbox.web.installation import installation
from inbox.web.page import Answer
from inbox.web.pages.address import read_address
from inbox.web.pages.take_out import load_quotations, load_take_out
from inbox.web.taking_out import csv_lines, reviews

area = Blueprint("take_out", __name__)
AT_ONCE = 500
REVIEWS_AT_MOST = 200


@area.get("/take-out")
@may("owner", "helper")
def show_take_out(session: Session) -> Answer:
    """What can be taken out."""
    return load_take_out(session)


@area.get("/take-out/messages.<any(csv, jsonl):kind>")
@may("owner")
def take_messages(session: Session, kind: str) -> Answer:
    """The messages that the address describes, as a table or as lines."""
    address = read_address(session, request.args, settings().zone)
    if address.troubles:
        # A page shows more than was asked for and says so; a file would be taken for what was asked.
        raise InputError(" ".join(words for _, words in address.troubles))
    write, media_type = (
        (csv_lines, "text/csv; charset=utf-8")
        if kind == "csv"
        else (_json_lines, "application/x-ndjson; charset=utf-8")
    )
    lines = _all_of(installation().reading, address.search, write)
    response = Response(lines, content_type=media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="messages.{kind}"'
    return response


def _all_of(
    sessions: sessionmaker[Session], search: Search, write: Callable[[Iterable[Message]], Iterator[str]]
) -> Iterator[str]:
    """Write all messages of a search as they are read, so that an archive needs no memory.

    The request's own session is closed by the time that the first line leaves.
    """
    with sessions() as session:
        yield from write(_each(session, search))


def _each(session: Session, search: Search) -> Iterator[Message]:
    position = None
    while True:
        found = find(session, search, older_than=position, limit=AT_ONCE)
        yield from messages_of(session, found.ids)
        if not found.has_older:
            return
        position = found.places[-1]
        session.expunge_all()


def _json_lines(messages: Iterable[Message]) -> Iterator[str]:
    for message in messages:
        yield json.dumps(message_record(message), ensure_ascii=False) + "\n"


@area.get("/take-out/quotations")
@may("owner", "helper")
def show_quotations(session: Session) -> Answer:
    """A sheet of what readers allowed to be quoted."""
    slug = request.args.get("recipe", "")
    return load_quotations(session, slug)


@area.get("/take-out/reviews/<slug>.json")
@may("owner", "helper")
def take_reviews(session: Session, slug: str) -> Answer:
    """Marked-up reviews and comments for a recipe's own page."""
    recipe = get_recipe(session, slug)
    found = find(session, Search(recipe_id=recipe.id, quotable=True), limit=REVIEWS_AT_MOST)
    body = json.dumps(reviews(recipe, messages_of(session, found.ids)), ensure_ascii=False, indent=1)
    return Response(body, content_type="application/ld+json; charset=utf-8")
