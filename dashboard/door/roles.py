"""One decorator says which role a route, a page's layout or a callback needs; what names none is shut.

Where the workshop has no list of people nobody signs in, the board stays on this machine, and each is open.
"""

from __future__ import annotations

import functools
import hmac
from collections.abc import Callable, Mapping
from hashlib import sha256
from typing import Any, Final, TypeVar, cast
from urllib.parse import quote

from dash import Dash
from flask import Flask, Response, abort, current_app, g, jsonify, redirect, request

from qc.jobs.people import PIN, WALL, Doorkeeper, Signed
from qc.jobs.roles import Role

TOKEN_KEY: Final = "BOARD_TOKEN"
KEEPER_KEY: Final = "BOARD_DOORKEEPER"
SECURE_KEY: Final = "BOARD_SECURE"
"""Whether the board is reached by TLS, so that its cookies may travel by nothing else."""

ANYBODY: Final = None
"""For what is shown before anybody has signed in: that page itself, its looks, the framework's scripts."""

FRAMEWORK: Final[Mapping[str, Role | None]] = {
    "_dash_assets.static": ANYBODY,
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": ANYBODY,
    "/_favicon.ico": ANYBODY,
    "parts": ANYBODY,
    "/_dash-layout": Role.TECHNICIAN,
    "/_dash-dependencies": Role.TECHNICIAN,
    "/_dash-update-component": Role.TECHNICIAN,
    "/": Role.TECHNICIAN,
    "/<path:path>": Role.TECHNICIAN,
}
"""Routes that the framework adds by itself, and what they need; any other one of it is shut."""

OF_THE_WALL: Final = frozenset({"/wall", "/wall/now"})
"""All that a screen on the wall may ask for: whoever walks past can touch it."""

ONLY_WALL: Final = "This screen shows the wall and nothing else. Sign it out to use it otherwise."
NOBODY: Final = "Sign in first."
SHUT: Final = "This is not open to anybody."
_Asked = TypeVar("_Asked", bound=Callable[..., Any])


def needs(role: Role | None) -> Callable[[_Asked], _Asked]:
    """Name the role that a route, a page's layout or a callback needs; `ANYBODY` leaves it open.

    Examples
    --------
    >>> @needs(Role.LEAD)
    ... def shown() -> str:
    ...     return "for leads"
    >>> role_of(shown)
    <Role.LEAD: 'lead'>
    """

    def named(asked: _Asked) -> _Asked:
        @functools.wraps(asked)
        def guarded(*words: Any, **more: Any) -> Any:
            refuse_unless(role)
            return asked(*words, **more)

        guarded.needs_role = role  # type: ignore[attr-defined]
        return cast(_Asked, guarded)

    return named


def role_of(asked: Callable[..., Any]) -> Role | None:
    """Return the role that something needs.

    Raises
    ------
    KeyError
        It names none: such a thing is shut.
    """
    try:
        return cast("Role | None", vars(asked)["needs_role"])
    except (KeyError, TypeError):
        raise KeyError(f"{asked!r} names no role") from None


def keeper() -> Doorkeeper:
    """Return who knows the people of this board."""
    return cast(Doorkeeper, current_app.config[KEEPER_KEY])


def cookie_name() -> str:
    """Return the name of the session's cookie; by TLS one that no other page of the host can set."""
    return "__Host-board-session" if current_app.config.get(SECURE_KEY) else "board-session"


def cookie() -> str:
    """Return the cookie of this request, empty where there is none."""
    return request.cookies.get(cookie_name(), "")


def signed() -> Signed | None:
    """Return who is signed in; asked once a request."""
    if not hasattr(g, "signed_in"):
        g.signed_in = keeper().signed(cookie())
    return cast("Signed | None", g.signed_in)


def token_of(session: str) -> str:
    """Return the token that pages of a session send with what they post; no other page can work it out."""
    return hmac.new(session.encode(), b"what is posted", sha256).hexdigest()


def page_token() -> str:
    """Return what a page sends with whatever it posts: the session's own, or the board's before a sign-in."""
    if keeper().asks() and signed() is not None:
        return token_of(cookie())
    return str(current_app.config[TOKEN_KEY])


def lacks(role: Role | None) -> tuple[int, str]:
    """Return 0, or the answer's status and a sentence, where whoever asks lacks a role."""
    if role is ANYBODY or not keeper().asks():
        return 0, ""
    own = signed()
    if own is None:
        return 401, NOBODY
    if own.by == WALL and request.path not in OF_THE_WALL:
        return 403, ONLY_WALL
    if own.acts_as.covers(role):
        return 0, ""
    if own.by == PIN and own.role.covers(role):
        return 403, "This takes your password: sign out, and sign in with it."
    return (
        403,
        f"This is for {'an' if role is Role.OWNER else 'a'} {role}, and you are signed in as {own.acts_as}.",
    )


def refuse_unless(role: Role | None) -> None:
    """Stop a request of somebody who lacks a role: pages lead to the sign-in, all else is told why."""
    status, sentence = lacks(role)
    if status:
        _refuse(status, sentence)


def guard_roles(app: Dash) -> None:
    """Let every route pass the one decorator; called once all of them are there."""
    server: Flask = app.server
    for endpoint, role in FRAMEWORK.items():
        if endpoint in server.view_functions:
            server.view_functions[endpoint] = needs(role)(server.view_functions[endpoint])

    def shut() -> None:
        view = server.view_functions.get(request.endpoint or "")
        if view is None:
            return  # there is no such route; the framework says so
        try:
            role = role_of(view)
        except KeyError:
            abort(403, SHUT)
        refuse_unless(role)  # before anything of the request is read

    server.before_request(shut)


def _refuse(status: int, sentence: str) -> None:
    if status == 401 and request.method == "GET" and _is_page():
        abort(redirect(f"/sign-in?next={quote(request.full_path.rstrip('?'), safe='')}", 303))
    if sentence == ONLY_WALL and request.method == "GET" and _is_page():
        abort(redirect("/wall", 303))
    if request.path.startswith("/_dash") or (request.method == "GET" and not _is_page()):
        abort(Response(sentence, status, mimetype="text/plain"))
    answer = jsonify({"problem": sentence})
    answer.status_code = status
    abort(answer)


def _is_page() -> bool:
    return "text/html" in request.headers.get("Accept", "")
