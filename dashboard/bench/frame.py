"""The frame of the bench's plain pages: no framework, one style sheet, at most one script."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from flask import Response
from markupsafe import Markup

from dashboard import pictograms, queries, words
from dashboard.door import page_token, signed
from dashboard.drawing import Node, markup

PAGE: Final = Markup(
    """<!doctype html>
<html lang="en"{theme}><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>{title} · {shop}</title>
<meta name="board-token" content="{token}">
<link rel="icon" href="data:,"><link rel="stylesheet" href="/theme.css">
<link rel="stylesheet" href="/assets/board.css"><link rel="stylesheet" href="/assets/bench.css"></head>
<body class="bench"><a class="skip" href="#main">Skip to the page</a>
<header><div class="top"><a class="shop" href="/">{badge} {shop}</a><span class="small">{day}</span>
<span class="who">{who}</span></div></header>
<main id="main" tabindex="-1">{body}</main>{script}</body></html>"""
)
SCRIPT: Final = Markup('<script src="/assets/bench.js" defer></script>')


def page(title: str, body: Iterable[str], *, script: bool = False, status: int = 200) -> Response:
    """Return a page of the bench as an answer."""
    shop = queries.board().shop()
    own = signed()
    theme = queries.chosen_theme()
    text = PAGE.format(
        theme=Markup(' data-theme="{}"').format(theme) if theme else "",
        title=title,
        shop=shop.name,
        token=page_token(),
        badge=picture(pictograms.draw_badge()),
        day=words.long_day(shop.day),
        who=(own.name or own.code) if own is not None else "no sign-in",
        body=Markup("").join(body),
        script=SCRIPT if script else "",
    )
    return Response(str(text), status, mimetype="text/html")


def heading(title: str, back: tuple[str, str], under: str = "") -> Markup:
    """Return the head of a page: the way back, the title, a line under it."""
    line = Markup('<p class="under">{}</p>').format(under) if under else ""
    return Markup(
        '<div class="heading"><a class="back" href="{}">‹ {}</a>'
        '<h1 id="page-title" tabindex="-1">{}</h1>{}</div>'
    ).format(back[1], back[0], title, line)


def picture(tree: Node | None, label: str = "") -> Markup:
    """Return a drawing; with a label it is an image of that name, without one decoration."""
    if tree is None:
        return Markup("")
    # every value of it is escaped where it is written
    own = Markup('role="img" aria-label="{}"').format(label) if label else Markup('aria-hidden="true"')
    return Markup('<span class="drawing" {}>{}</span>').format(own, Markup(markup(tree)))
