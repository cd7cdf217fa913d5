"""Fetching a page that somebody named, without being led to where nobody outside should look.

Every address that a name resolves to must be public; the connection goes to the very address that was
checked, so that a second answer of the name server changes nothing; each redirect is checked anew. At most
1 MB in 5 seconds (limits after W3C Webmention, sections 3.2.2 and 4; the deny list after the OWASP cheat
sheet on server-side request forgery). Start with `fetch`.
"""

import http.client
import io
import socket
import ssl
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from typing import Any
from urllib.parse import quote, urljoin, urlsplit

from inbox.errors import InputError

LIMIT_BYTES = 1_000_000
TIMEOUT_SECONDS = 5.0
REDIRECT_LIMIT = 10
PORTS_BELOW_1024 = (80, 443)
_CARRYING_IPV4 = (ip_network("64:ff9b::/96"), ip_network("2002::/16"), ip_network("64:ff9b:1::/48"))
"""IPv6 networks whose addresses stand for IPv4 ones; nothing public needs them."""


class FetchError(InputError):
    """A page that cannot be fetched; the message says which and why."""


def resolve_name(host: str, port: int) -> list[str]:
    """All addresses of a host, by the system's resolver."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def open_socket(address: str, port: int, timeout_seconds: float) -> socket.socket:
    """Connection to an address."""
    return socket.create_connection((address, port), timeout=timeout_seconds)


@dataclass(frozen=True, slots=True)
class Network:
    """What fetching needs of the world outside; tests give their own."""

    resolve: Callable[[str, int], list[str]] = resolve_name
    open_socket: Callable[[str, int, float], socket.socket] = open_socket
    clock: Callable[[], float] = time.monotonic


@dataclass(frozen=True, slots=True)
class Fetched:
    """A page as it came.

    Attributes
    ----------
    url : str
        Where it was found after redirects.
    body : bytes
        At most `limit_bytes` of it.
    is_cut : bool
        Whether there was more.
    """

    url: str
    status: int
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""
    is_cut: bool = False

    @property
    def media_type(self) -> str:
        """Content type without its parameters."""
        return self.headers.get("content-type", "").partition(";")[0].strip().lower()


def is_public(address: str) -> bool:
    """Whether an address is one that anybody on the net may reach."""
    try:
        parsed: IPv4Address | IPv6Address = ip_address(address.partition("%")[0])
    except ValueError:
        return False
    if isinstance(parsed, IPv6Address):
        if parsed.ipv4_mapped is not None:
            parsed = parsed.ipv4_mapped
        elif any(parsed in network for network in _CARRYING_IPV4):
            return False
    return parsed.is_global and not parsed.is_multicast and not parsed.is_reserved


def fetch(
    url: str,
    *,
    network: Network | None = None,
    headers: Mapping[str, str] | None = None,
    limit_bytes: int = LIMIT_BYTES,
    timeout_seconds: float = TIMEOUT_SECONDS,
) -> Fetched:
    """Fetch a page with GET.

    Parameters
    ----------
    url : str
        http or https.
    network : Network, optional
    headers : mapping of str to str, optional
        Further request header fields, such as If-None-Match.
    limit_bytes : int
        What comes after is not read.
    timeout_seconds : float
        For all of it, redirects included.

    Raises
    ------
    FetchError
        If the address is not one for the public web, nothing answers, or it takes too long.
    """
    network = network or Network()
    ends = network.clock() + timeout_seconds
    for _ in range(REDIRECT_LIMIT + 1):
        answer = _fetch_one(url, network, headers or {}, limit_bytes, ends)
        location = answer.headers.get("location")
        if answer.status not in (301, 302, 303, 307, 308) or not location:
            return answer
        url = urljoin(url, location)
    raise FetchError(f"{url} was redirected more than {REDIRECT_LIMIT} times.")


def check_url(url: str) -> tuple[str, str, int]:
    """Scheme, host and port of an address of the public web; raises FetchError if it is none."""
    try:
        parts = urlsplit(url)
        port = parts.port or (443 if parts.scheme == "https" else 80)
    except ValueError as error:
        raise FetchError(f"{url[:200]!r} is no address: {error}.") from error
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise FetchError(f"{url[:200]!r} is no address of a page; it begins with https:// or http://.")
    if parts.username is not None or parts.password is not None:
        raise FetchError(f"{url[:200]!r} holds a user name; such addresses are not fetched.")
    if port < 1024 and port not in PORTS_BELOW_1024:
        raise FetchError(f"{url[:200]!r} names port {port}, which is not for pages.")
    if any(ord(character) <= 32 or ord(character) == 127 for character in url):
        raise FetchError(f"{url[:200]!r} has white space in it; such addresses are not fetched.")
    return parts.scheme, parts.hostname, port


def _fetch_one(
    url: str, network: Network, headers: Mapping[str, str], limit_bytes: int, ends: float
) -> Fetched:
    """Fetch a page without following redirects."""
    scheme, host, port = check_url(url)
    address = _public_address(host, port, network)
    try:
        connected = _connected(scheme, host, address, port, network, ends)
        try:
            connected.sendall(_request(url, headers))
            answer = http.client.HTTPResponse(_Timed(connected, network, ends), method="GET")  # type: ignore[arg-type]
            answer.begin()
            body, is_cut = _read(answer, limit_bytes)
            found = {name.lower(): value for name, value in answer.getheaders()}
            return Fetched(url, answer.status, found, body, is_cut)
        finally:
            connected.close()
    except TimeoutError as error:
        raise FetchError(f"{host} took too long to answer.") from error
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise FetchError(f"{host} could not be read: {error or type(error).__name__}.") from error


def _request(url: str, headers: Mapping[str, str]) -> bytes:
    """Request as it goes over the wire; the address was checked, so nothing in it ends a line."""
    parts = urlsplit(url)
    path = quote(parts.path or "/", safe="/%:@!$&'()*+,;=~-._")
    query = quote(parts.query, safe="/%:@!$&'()*+,;=~-._?")
    host = parts.netloc.encode("idna").decode() if not parts.netloc.isascii() else parts.netloc
    fields = {
        "Host": host,
        "User-Agent": "second-batch",
        "Accept-Encoding": "identity",
        "Connection": "close",
        **headers,
    }
    lines = [f"GET {path}{'?' + query if query else ''} HTTP/1.1"]
    lines += [f"{name}: {' '.join(value.split())}" for name, value in fields.items()]
    return "\r\n".join([*lines, "", ""]).encode("latin-1", "replace")


class _Timed(io.RawIOBase):
    """A connection as `http.client` reads it; each wait is cut to what is left of the time."""

    def __init__(self, connected: socket.socket, network: Network, ends: float) -> None:
        self._connected, self._network, self._ends = connected, network, ends

    def makefile(self, _mode: str) -> io.BufferedReader:
        """File over the connection."""
        return io.BufferedReader(self)

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Read what has come, or wait for it as long as there is time."""
        self._connected.settimeout(_left(self._network, self._ends))
        return self._connected.recv_into(buffer)


def _public_address(host: str, port: int, network: Network) -> str:
    """Address to connect to; all that the name resolves to must be public."""
    try:
        found = network.resolve(host, port)
    except (OSError, UnicodeError) as error:
        raise FetchError(f"{host} is not known to the name servers.") from error
    if not found or not all(is_public(address) for address in found):
        raise FetchError(f"{host} is not on the public net; such addresses are not fetched.")
    return found[0]


def _connected(
    scheme: str, host: str, address: str, port: int, network: Network, ends: float
) -> socket.socket:
    connected = network.open_socket(address, port, _left(network, ends))
    connected.settimeout(_left(network, ends))
    if scheme == "https":
        return ssl.create_default_context().wrap_socket(connected, server_hostname=host)
    return connected


def _read(answer: http.client.HTTPResponse, limit_bytes: int) -> tuple[bytes, bool]:
    """Body up to the limit, and whether there was more."""
    body = bytearray()
    while len(body) <= limit_bytes:
        chunk = answer.read(min(65_536, limit_bytes + 1 - len(body)))
        if not chunk:
            break
        body += chunk
    return bytes(body[:limit_bytes]), len(body) > limit_bytes


def _left(network: Network, ends: float) -> float:
    left = ends - network.clock()
    if left <= 0:
        raise TimeoutError
    return left


def fetch_page(url: str, *, network: Network | None = None, limit_bytes: int = 5 * LIMIT_BYTES) -> bytes:
    """Body of a page that answers with success; for recipes at an address that the owner pasted.

    Raises
    ------
    FetchError
        As `fetch`, or if the answer is no success or too large.
    """
    found = fetch(url, network=network, limit_bytes=limit_bytes, timeout_seconds=4 * TIMEOUT_SECONDS)
    if found.status != 200:
        raise FetchError(f"{url} answered with status {found.status}.")
    if found.is_cut:
        raise FetchError(f"{url} has more than {limit_bytes:,} bytes.")
    return found.body
