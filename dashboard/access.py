"""Who may talk to the board: this machine only, under its own name, from its own pages.

There is no sign-in yet, so the board refuses to listen on anything but loopback. A page of another site,
open in the same browser, must not reach it either: requests under a foreign host name are refused (a name
can be made to point at this machine), and so are posts that another site's page sends.
"""

from __future__ import annotations

from collections.abc import Callable
from ipaddress import ip_address
from typing import Final
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

from qc.errors import QcError

LOOPBACK_NAMES: Final = frozenset({"localhost", "127.0.0.1", "[::1]", "::1"})
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})


class BoardRefused(QcError):
    """The board will not listen where it was asked to."""


def check_host(host: str) -> str:
    """Return `host` if it is loopback.

    Raises
    ------
    BoardRefused
        For any other address or name.

    Examples
    --------
    >>> check_host("127.0.0.1")
    '127.0.0.1'
    """
    if host == "localhost":
        return host
    try:
        loopback = ip_address(host.strip("[]")).is_loopback
    except ValueError:
        loopback = False
    if not loopback:
        raise BoardRefused(
            f"The board does not listen on {host}: it has no sign-in yet, so anyone on the network could "
            "change your records. Use --host 127.0.0.1 and open it on this machine."
        )
    return host


def guard(server: Flask, script_hashes: Callable[[], list[str]]) -> None:
    """Check every request and give every answer its security headers.

    Parameters
    ----------
    server : Flask
        The web application.
    script_hashes : callable
        Gives the hashes of the inline scripts of the framework, asked when the first answer leaves.
    """
    server.before_request(refuse_strangers)
    policy: list[str] = []

    @server.after_request
    def add_headers(response: Response) -> Response:
        if not policy:
            policy.append(content_policy(script_hashes()))
        response.headers["Content-Security-Policy"] = policy[0]
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
        return response


def content_policy(script_hashes: list[str]) -> str:
    """Return the content policy: everything from this machine, no script but our own."""
    scripts = " ".join(["'self'", *dict.fromkeys(script_hashes)])
    return "; ".join(
        [
            "default-src 'self'",
            f"script-src {scripts}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "worker-src 'self' blob:",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ]
    )


def refuse_strangers() -> None:
    """Stop a request under a foreign name, and a post from a foreign page."""
    if _name(request.host) not in LOOPBACK_NAMES:
        abort(421, "This board answers only on this machine, as localhost or 127.0.0.1.")
    if request.method in SAFE_METHODS:
        return
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        abort(403, "This request came from another site's page and was refused.")
    # older browsers send no such header, and scripts on this machine none at all: those are let through
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in {"same-origin", "none"}:
        abort(403, "This request came from another site's page and was refused.")


def _name(host: str) -> str:
    # "127.0.0.1:8050" and "[::1]:8050" without their ports
    return host.rsplit(":", 1)[0] if host.rsplit(":", 1)[-1].isdigit() and not host.endswith("]") else host
