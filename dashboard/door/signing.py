"""The pages of signing in and out: plain forms that need no script, since nobody is let in before them."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlsplit

from flask import Flask, Response, abort, current_app, make_response, redirect, request
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from dashboard.door import roles
from dashboard.door.pace import Pace
from dashboard.drawing import markup
from dashboard.pictograms import draw_badge
from qc.errors import QcError, UsageError
from qc.jobs.people import NO_LIST, PASSWORD, PASSWORD_LENGTH, PIN, PIN_DIGITS, SignInRefused
from qc.jobs.roles import Role

FORMS: Final = frozenset({"/sign-in", "/sign-in/first", "/sign-out"})
"""Plain forms before a sign-in: they send the page's token as a field, where scripts send it as a header."""

OFFICE_FORMS: Final = frozenset(
    {"/people/add", "/people/reset", "/people/leave", "/plan/edit", "/sign-in/wall"}
)
"""Plain forms of those signed in; they send it so, too."""

TOKEN_FIELD: Final = "token"
SET: Final = "Set them and sign in"
LONGEST: Final = 200  # characters of a field; chosen: above the longest password
TRIES_PER_S, TRIES_AT_ONCE = 0.2, 20
"""Tries to sign in from one address: each costs the board a slow hash on purpose."""

PAGE: Final = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>{title}</title>
<link rel="icon" href="data:,"><link rel="stylesheet" href="/theme.css">
<link rel="stylesheet" href="/assets/board.css"></head>
<body class="{kind}"><main>{badge}<h1>{title}</h1>{said}{body}</main></body></html>"""

PLAIN: Final = Markup("")


def add_sign_in(server: Flask) -> None:
    """Add the pages of signing in and out.

    Parameters
    ----------
    server : Flask
        The web application.
    """
    pace = Pace(TRIES_PER_S, TRIES_AT_ONCE)

    def slow() -> None:
        if request.method == "POST" and request.path in FORMS - {"/sign-out"}:
            wait = pace.wait_s(request.remote_addr or "")
            if wait:
                abort(Response("Too many tries at once. Wait a moment.", 429, {"Retry-After": str(wait)}))

    @roles.needs(roles.ANYBODY)
    def sign_in_page() -> AnyResponse:
        return _page(_way())

    @roles.needs(roles.ANYBODY)
    def sign_in() -> AnyResponse:
        by = PIN if _field("way") == PIN else PASSWORD
        try:
            cookie = roles.keeper().sign_in(_field("code").strip(), _field("secret"), by)
        except SignInRefused as refused:
            return _page(by, str(refused), 403)
        return _let_in(cookie)

    @roles.needs(roles.ANYBODY)
    def set_up() -> AnyResponse:
        try:
            if _field("password") != _field("again"):
                raise UsageError("The two passwords differ. Type the same one twice.")
            cookie = roles.keeper().set_up(
                _field("code").strip(), _field("once"), _field("pin"), _field("password")
            )
        except QcError as refused:
            return _page("first", str(refused), 403)
        return _let_in(cookie)

    @roles.needs(roles.ANYBODY)
    def follow(link: str) -> AnyResponse:
        try:
            return _let_in(roles.keeper().follow(link))
        except SignInRefused as refused:
            return _answer("Not signed in", str(refused), '<p><a href="/">To the board</a></p>', 403)

    @roles.needs(Role.TECHNICIAN)
    def hang() -> AnyResponse:
        try:
            return _let_in(roles.keeper().hang(roles.cookie()), "/wall")
        except SignInRefused as refused:
            return _answer("Not on the wall", str(refused), '<p><a href="/">To the board</a></p>', 409)

    @roles.needs(roles.ANYBODY)
    def sign_out() -> AnyResponse:
        roles.keeper().sign_out(roles.cookie())
        answer = redirect("/sign-in" if roles.keeper().asks() else "/", 303)
        answer.delete_cookie(
            roles.cookie_name(), path="/", secure=_secure(), httponly=True, samesite="Strict"
        )
        return answer

    server.before_request(slow)
    server.add_url_rule("/sign-in", view_func=sign_in_page, methods=["GET"])
    server.add_url_rule("/sign-in", view_func=sign_in, methods=["POST"])
    server.add_url_rule("/sign-in/first", view_func=set_up, methods=["POST"])
    server.add_url_rule("/sign-in/once/<link>", view_func=follow, methods=["GET"])
    server.add_url_rule("/sign-in/wall", view_func=hang, methods=["POST"])
    server.add_url_rule("/sign-out", view_func=sign_out, methods=["POST"])


def _let_in(cookie: str, where: str = "") -> AnyResponse:
    answer = redirect(where or _next(), 303)
    answer.set_cookie(
        roles.cookie_name(), cookie, path="/", secure=_secure(), httponly=True, samesite="Strict"
    )
    return answer


def _next() -> str:
    """Return where to go on: an address of this board only."""
    asked = request.form.get("next", "") or request.args.get("next", "")
    try:
        parts = urlsplit(asked)
    except ValueError:  # brackets that hold no address
        return "/"
    own = asked.startswith("/") and not parts.scheme and not parts.netloc and asked.isprintable()
    return asked if own and "\\" not in asked and not asked.startswith(("//", "/sign-")) else "/"


def _way() -> str:
    asked = request.args.get("way", "")
    return asked if asked in {PIN, PASSWORD, "first"} else PASSWORD


def _field(name: str) -> str:
    return request.form.get(name, "")[:LONGEST]


def _secure() -> bool:
    return bool(current_app.config.get(roles.SECURE_KEY))


def _page(way: str, said: str = "", status: int = 200) -> AnyResponse:
    """Draw the page of one way to sign in; what was typed comes back, secrets never."""
    if not roles.keeper().asks():
        return _answer("No sign-in", NO_LIST, '<p><a href="/">To the board</a></p>', 200)
    own = Markup(
        '<input type="hidden" name="{}" value="{}"><input type="hidden" name="next" value="{}">'
    ).format(TOKEN_FIELD, roles.page_token(), _next())
    code = _row("Your code", "code", "text", "username", request.form.get("code", "")[:40])
    if way == "first":
        least, most = PIN_DIGITS
        rows = [
            code,
            _row("The one-time code you were given", "once", "text", "one-time-code"),
            _row(f"A PIN for the bench, {least} to {most} digits", "pin", "password", "off", numeric=True),
            _row(
                f"A password, at least {PASSWORD_LENGTH[0]} characters",
                "password",
                "password",
                "new-password",
            ),
            _row("The password again", "again", "password", "new-password"),
        ]
        return _answer("First sign-in", said, _form("/sign-in/first", own, rows, "first"), status)
    rows = [
        code,
        _row("PIN", "secret", "password", "off", numeric=True)
        if way == PIN
        else _row("Password", "secret", "password", "current-password"),
        Markup('<input type="hidden" name="way" value="{}">').format(way),
    ]
    return _answer("Sign in", said, _form("/sign-in", own, rows, way), status)


def _form(address: str, own: Markup, rows: list[Markup], way: str) -> Markup:
    other = {PASSWORD: "With the password", PIN: "With the PIN, at the bench", "first": "For the first time"}
    links = Markup(" · ").join(
        Markup('<a href="/sign-in?way={}&amp;next={}">{}</a>').format(one, _next(), shown)
        for one, shown in other.items()
        if one != way
    )
    return Markup(
        '<form method="post" action="{}" class="card sign-in">{}{}'
        '<button type="submit" class="do">{}</button></form><p class="small">{}</p>'
    ).format(address, own, Markup("").join(rows), SET if way == "first" else "Sign in", links)


def _row(
    label: str, name: str, kind: str, complete: str, value: str = "", *, numeric: bool = False
) -> Markup:
    more = Markup(' inputmode="numeric"') if numeric else Markup("")
    more += Markup(" autofocus") if name == "code" and not value else Markup("")
    return Markup(
        '<label class="field"><span>{}</span><input name="{}" type="{}" value="{}" autocomplete="{}"'
        ' required maxlength="{}"{}></label>'
    ).format(label, name, kind, value, complete, LONGEST, more)


def _answer(title: str, said: str, body: str, status: int) -> AnyResponse:
    line = Markup('<p class="refused" role="alert">{}</p>').format(said) if said else Markup("")
    return make_response(plain_page(title, Markup(body), line), status)


def plain_page(title: str, body: Markup, said: Markup = PLAIN, *, wide: bool = False) -> str:
    """Return a whole page that needs no script.

    Parameters
    ----------
    title : str
        Its heading.
    body, said : Markup
        What stands on it, and a line before that.
    wide : bool
        For more than a narrow form.
    """
    badge = Markup('<span class="drawing" aria-hidden="true">{}</span>').format(Markup(markup(draw_badge())))
    kind = "at-door wide" if wide else "at-door"
    return str(Markup(PAGE).format(title=title, badge=badge, said=said, body=body, kind=kind))
