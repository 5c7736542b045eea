"""Who and what is let in: names, pages, paces, bodies, connections; what leaves tells little."""

from __future__ import annotations

from dashboard.door.access import (
    MOST_BODY,
    PACE_KEY,
    TOKEN_COOKIE,
    TOKEN_KEY,
    BoardRefused,
    check_host,
    content_policy,
    guard,
)
from dashboard.door.crafted import guard_callbacks
from dashboard.door.listening import listen
from dashboard.door.plain_names import PlainNames

__all__ = [
    "MOST_BODY",
    "PACE_KEY",
    "TOKEN_COOKIE",
    "TOKEN_KEY",
    "BoardRefused",
    "PlainNames",
    "check_host",
    "content_policy",
    "guard",
    "guard_callbacks",
    "listen",
]
