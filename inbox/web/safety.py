"""What every request is checked for, and what every response says to the browser.

Checks: the address it was sent to, how large it is, and for changes that it comes from our own
pages. Headers: OWASP ASVS 5.0, chapter 3 (see DEVELOPERS.md, "Locked doors").
"""

from ipaddress import ip_address
from urllib.parse import urlsplit

from flask import Flask, Response, abort, current_app, request

from inbox.web.access import SAFE_METHODS
from inbox.web.installation import installation
from inbox.web.sizes import bytes_taken

HSTS_SECONDS = 365 * 24 * 3600
"""One year; ASVS 5.0 3.4.1 asks for that at least."""


def install(app: Flask) -> None:
    """Check every request and dress every response of `app`."""
    app.before_request(check_host)
    app.before_request(check_size)
    app.before_request(check_origin)
    app.after_request(dress)


def check_host() -> None:
    """Refuse a request for another host: links in mails are never made from a forged name.

    An address in numbers is let through, since no name can be pointed at us by it.
    """
    host = urlsplit(f"//{request.host}").hostname or ""
    ours = urlsplit(installation().settings.public_url).hostname
    if host in (ours, "localhost") or _is_number(host):
        return
    abort(
        400, f"This server was asked for {host[:100]!r}, which is not its name; see the setting public_url."
    )


def _is_number(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def check_size() -> None:
    """Refuse more than the view takes: at once where the length is stated, else when so much was read."""
    request.max_content_length = bytes_taken(current_app, request.endpoint, installation().settings)
    if (request.content_length or 0) > request.max_content_length:
        abort(413)


def check_origin() -> None:
    """Refuse a change that another site's page asks for.

    Browsers say where a request comes from (Sec-Fetch-Site, else Origin); programs that
    are no browsers say neither and carry no cookie that somebody else could use.
    """
    if request.method in SAFE_METHODS or is_open_to_other_sites():
        return
    site, origin = request.headers.get("Sec-Fetch-Site"), request.headers.get("Origin")
    if site is not None:
        fine = site in ("same-origin", "none")
    else:
        fine = origin is None or urlsplit(origin).netloc == request.host
    if not fine:
        abort(403, "This change was asked for by a page of another site, so it was not made.")


def is_open_to_other_sites() -> bool:
    """Whether the view declares that other sites' programs or pages may post to it."""
    view = current_app.view_functions.get(request.endpoint or "")
    return bool(getattr(view, "open_to_other_sites", False))


def dress(response: Response) -> Response:
    """Put the security headers on `response`."""
    headers = response.headers
    framed_by = headers.pop("X-Framed-By", None) or "'none'"
    headers["Content-Security-Policy"] = (
        "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; "
        f"frame-ancestors {framed_by}"
    )
    headers["X-Content-Type-Options"] = "nosniff"
    headers["Referrer-Policy"] = "same-origin"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Permissions-Policy"] = "camera=(), microphone=(), geolocation=()"
    if framed_by == "'none'":
        headers["X-Frame-Options"] = "DENY"
    if installation().is_https:
        headers["Strict-Transport-Security"] = f"max-age={HSTS_SECONDS}"
    if "Cache-Control" not in headers:
        headers["Cache-Control"] = "no-store"
    return response
