"""Who may talk to the board: this machine under its own name, or the shop's network where that was asked for.

Without a list of people the board listens on loopback only. A page of another site, open in the same browser,
must not reach it either: requests under a foreign host name are refused (a name can be made to point at this
machine), and so are posts that another site's page sends.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from ipaddress import ip_address
from typing import Final
from urllib.parse import urlsplit

from flask import Flask, Response, abort, current_app, request

from dashboard.door import roles
from dashboard.door.pace import Pace
from dashboard.door.roles import TOKEN_KEY
from dashboard.door.signing import FORMS, OFFICE_FORMS, TOKEN_FIELD
from qc.errors import QcError

MOST_BODY: Final = 2**20
"""Largest body of a request that brings no file [bytes]."""

MOST_BYTES: Final = 64 * 1024 * 1024
"""Largest upload in one go; a single sheet has its own, smaller limit where it is read."""

LARGE: Final = frozenset({"/uploads", "/uploads/mapped", "/gauges/study", "/remedies/recording"})
"""Addresses that take files; every other one takes small bodies only."""

NAMES_KEY: Final = "BOARD_NAMES"
LAN_KEY: Final = "BOARD_ON_THE_NETWORK"
"""Further names under which the board answers; whether it does so under this machine's addresses."""

PACE_KEY: Final = "BOARD_PACE"
TOKEN_HEADER: Final = "X-CSRFToken"
TOKEN_COOKIE: Final = "_csrf_token"
"""Where the page's token travels; the names are those that the framework's own requests use."""

YEAR_S: Final = 365 * 24 * 3600
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
    if not _is_loopback(host):
        raise BoardRefused(
            f"The board does not listen on {host}: anyone on the network could read what is typed there. Use "
            "--host 127.0.0.1 and open it on this machine, or --lan with --cert and --key."
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
    server.config[TOKEN_KEY] = secrets.token_urlsafe(24)
    pace = server.config[PACE_KEY] = Pace()

    def keep_pace() -> None:
        request.max_content_length = MOST_BODY  # those that take files raise it for themselves
        wait = pace.wait_s(request.remote_addr or "")
        if wait:
            abort(Response("Too many requests at once. Wait a moment.", 429, {"Retry-After": str(wait)}))

    server.before_request(keep_pace)
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
        response.headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=(self)"
        response.headers["Cache-Control"] = _keeping(response)
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
    if not _is_ours(_name(request.host)):
        abort(421, "This board answers only under its own names, on this machine 127.0.0.1.")
    if request.method in SAFE_METHODS:
        return
    origin = request.headers.get("Origin")
    if origin is not None and _place(origin) != request.host:
        abort(403, "This request came from another site's page and was refused.")
    asks = roles.keeper().asks()
    if asks and roles.signed() is None and request.path not in FORMS:
        return  # whose session has ended is told so, by the route's own role; nothing else is open to a post
    # where people sign in both must be right; else either will do
    if (origin is None or asks) and not secrets.compare_digest(
        _sent_token().encode(), roles.page_token().encode()
    ):
        abort(403, "This request does not come from a page of this board. Load the page again.")
    # older browsers send no such header
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in {"same-origin", "none"}:
        abort(403, "This request came from another site's page and was refused.")


def _place(origin: str) -> str | None:
    """Return host and port of an origin, None of what is none: it is no place of ours."""
    try:
        return urlsplit(origin).netloc
    except ValueError:  # brackets that hold no address
        return None


def _sent_token() -> str:
    # only plain forms are read here: the body of an upload is nobody's before its size is allowed
    field = request.form.get(TOKEN_FIELD, "") if request.path in FORMS | OFFICE_FORMS else ""
    return request.headers.get(TOKEN_HEADER, "") or field


def _keeping(response: Response) -> str:
    """Say how long an answer may be kept: what has its version in its address long, all else not at all."""
    told = response.headers.get("Cache-Control", "")
    versioned = request.path.startswith("/assets/") and "m" in request.args
    if response.status_code == 200 and (versioned or request.path.startswith("/parts/")):
        return f"public, max-age={YEAR_S}, immutable"
    framework = request.path.startswith("/_dash-component-suites/") and "max-age" in told
    return told if framework and response.status_code == 200 else "no-store"


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _is_ours(name: str) -> bool:
    """Say whether a name is one of this board; another may be made to point here, an address may not."""
    if _is_loopback(name) or name.lower() in current_app.config.get(NAMES_KEY, ()):
        return True
    if not current_app.config.get(LAN_KEY):
        return False
    try:
        ip_address(name.strip("[]"))
    except ValueError:
        return False
    return True


def _name(host: str) -> str:
    # "127.0.0.1:8050" and "[::1]:8050" without their ports
    return host.rsplit(":", 1)[0] if host.rsplit(":", 1)[-1].isdigit() and not host.endswith("]") else host
