"""Back numbers as an Atom feed, for the owner's own feed reader."""

from collections.abc import Sequence
from datetime import UTC, datetime
from xml.etree import ElementTree

from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.digest.document import Digest, from_json
from inbox.digest.render import title_of
from inbox.records.tables_out import DigestRow

_ATOM = "http://www.w3.org/2005/Atom"


def newest_digests(session: Session, *, limit: int = 20) -> list[Digest]:
    """Newest digests, the newest first."""
    rows = session.scalars(select(DigestRow).order_by(DigestRow.week.desc()).limit(limit))
    return [from_json(row.document) for row in rows]


def as_atom(digests: Sequence[Digest], *, site_name: str, public_url: str, own_address: str) -> bytes:
    """Feed of these digests by RFC 4287 (Nottingham, Sayre eds., 2005).

    Parameters
    ----------
    own_address : str
        Whole address under which the feed is read, its token included; it stands in the feed's self link.
    """
    base = public_url.rstrip("/")
    ElementTree.register_namespace("", _ATOM)
    feed = ElementTree.Element(f"{{{_ATOM}}}feed")
    _add(feed, "id", f"{base}/digests")
    _add(feed, "title", f"{site_name}: weekly digests")
    newest = max((digest.built_at for digest in digests), default=datetime(1970, 1, 1, tzinfo=UTC))
    _add(feed, "updated", _moment(newest))
    _add(feed, "link", rel="self", type="application/atom+xml", href=own_address)
    _add(feed, "link", rel="alternate", type="text/html", href=f"{base}/digests")
    author = _add(feed, "author")
    _add(author, "name", site_name)
    for digest in digests:
        entry = _add(feed, "entry")
        _add(entry, "id", f"{base}/digests/{digest.week}")
        _add(entry, "title", title_of(digest))
        _add(entry, "updated", _moment(digest.built_at))
        _add(entry, "published", _moment(digest.built_at))
        _add(entry, "link", rel="alternate", type="text/html", href=f"{base}/digests/{digest.week}")
        _add(entry, "summary", " ".join(digest.opening))
    return bytes(ElementTree.tostring(feed, encoding="utf-8", xml_declaration=True))


def _add(
    parent: ElementTree.Element, name: str, text: str | None = None, **attributes: str
) -> ElementTree.Element:
    made = ElementTree.SubElement(parent, f"{{{_ATOM}}}{name}", attributes)
    made.text = _speakable(text) if text is not None else None
    return made


def _speakable(text: str) -> str:
    """`text` without the control characters that XML 1.0 cannot hold."""
    return "".join(letter for letter in text if letter in "\t\n\r" or " " <= letter < "\ufffe")


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
