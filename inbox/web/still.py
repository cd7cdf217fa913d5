"""Files that do not change while the program runs: style sheet, script, type; packed once."""

import gzip
import hashlib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from flask import Flask, Response, abort, request

YEAR_SECONDS = 365 * 24 * 3600
_TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "woff2": "font/woff2",
    "txt": "text/plain; charset=utf-8",
    "svg": "image/svg+xml",
}


@dataclass(frozen=True)
class StillFile:
    """One file as it is sent."""

    media_type: str
    body: bytes
    packed: bytes | None
    mark: str
    """Short hash of the content; stands in the address, so that a new version is fetched at once."""


@cache
def load_still(name: str) -> StillFile | None:
    """File `name` of the folder static/, or None; names with slashes are not files."""
    source = files("inbox.web") / "static" / name
    ending = name.rpartition(".")[2]
    if "/" in name or "\\" in name or ending not in _TYPES or not source.is_file():
        return None
    body = source.read_bytes()
    packed = None if ending == "woff2" else gzip.compress(body, 9, mtime=0)
    return StillFile(_TYPES[ending], body, packed, hashlib.sha256(body).hexdigest()[:12])


@cache
def still_url(name: str) -> str:
    """Address of a file, with the mark of its content."""
    found = load_still(name)
    if found is None:
        raise LookupError(f"there is no file {name!r} in inbox/web/static")
    return f"/still/{name}?v={found.mark}"


def send_still(name: str) -> Response:
    """Send one file."""
    found = load_still(name)
    if found is None:
        abort(404)
    packed = found.packed is not None and "gzip" in request.headers.get("Accept-Encoding", "")
    response = Response(found.packed if packed else found.body, content_type=found.media_type)
    if packed:
        response.headers["Content-Encoding"] = "gzip"
    if found.packed is not None:
        response.headers["Vary"] = "Accept-Encoding"
    lasting = request.args.get("v") == found.mark
    response.headers["Cache-Control"] = (
        f"public, max-age={YEAR_SECONDS}, immutable" if lasting else "public, max-age=300"
    )
    return response


def install(app: Flask) -> None:
    """Serve the folder static/ under /still/."""
    send_still.may = frozenset({"anyone"})  # type: ignore[attr-defined]
    app.add_url_rule("/still/<name>", "still", send_still)
    app.jinja_env.globals["still"] = still_url
