"""Who may ask, and what answers carry: only this machine's own page, under the name it was opened by.

A foreign Host means that somebody's name for this address was looked up by a page from elsewhere; a foreign Origin
that such a page is asking. Both are turned away before anything is read.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Awaitable, Callable

from aiohttp import web
from aiohttp.typedefs import Middleware

from gougeform.errors import InputError

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self';"
        " base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
OWN_HEADER = "X-Gougeform"
"""A page of another origin cannot send it without being asked for leave, which is never given."""

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


def checked_host(host: str, allow_network: bool) -> str:
    """The address to listen on. Raises InputError for one that other machines reach, unless that was asked for."""
    if host == "localhost":
        return "127.0.0.1"
    try:
        address = ipaddress.ip_address(host)
    except ValueError as error:
        raise InputError(
            "host", f"given {host[:60]!r}, allowed is an address such as 127.0.0.1", "leave it out"
        ) from error
    if not address.is_loopback and not allow_network:
        raise InputError(
            "host",
            f"given {host}, which other machines can reach",
            "leave it out, or add `allow_network` if everybody on that network may use the workbench",
        )
    return host


def names_of(host: str, port: int, allow_network: bool) -> frozenset[str]:
    """The Host headers that are answered; with the network let in also any bare address is (see `known`)."""
    names = {"127.0.0.1", "localhost", "[::1]"}
    if allow_network:
        names |= {host, socket.gethostname().lower()}
    return frozenset(f"{name}:{port}" for name in names) | (frozenset(names) if port == 80 else frozenset())


def known(header: str, names: frozenset[str], port: int, allow_network: bool) -> bool:
    """Whether a Host header is one of ours."""
    if header.lower() in names:
        return True
    if not allow_network:
        return False
    bare, _, tail = header.rpartition(":")
    try:
        ipaddress.ip_address(bare.strip("[]"))
    except ValueError:
        return False
    return tail == str(port)


def guard(names: Callable[[], tuple[frozenset[str], int]], allow_network: bool) -> Middleware:
    """A middleware that turns strangers away and adds the headers every answer carries."""

    @web.middleware
    async def checked(request: web.Request, handler: Handler) -> web.StreamResponse:
        mine, port = names()
        host = request.headers.get("Host", "")
        origin = request.headers.get("Origin")
        if not known(host, mine, port, allow_network):
            return _away("This address is not the workbench's own. Open the address that it printed.")
        if origin is not None and origin.lower() != f"http://{host.lower()}":
            return _away("Another page may not use the workbench.")
        if request.method == "POST":
            if request.headers.get(OWN_HEADER) != "page":
                return _away("Only the workbench's own page may ask this.")
            if request.content_type not in ("application/json", "application/toml"):
                return web.json_response(
                    {"error": {"field": "", "problem": "this kind of request is not known", "hint": ""}},
                    status=415,
                    headers=HEADERS,
                )
        try:
            answer = await handler(request)
        except web.HTTPException as error:
            error.headers.update(HEADERS)
            raise
        if not answer.prepared:
            answer.headers.update(HEADERS)
        return answer

    return checked


def _away(text: str) -> web.Response:
    return web.Response(status=403, text=text + "\n", headers=HEADERS)
