"""Who and what is let in: names, people and their roles, paces, bodies; what leaves tells little."""

from __future__ import annotations

from dashboard.door.access import (
    LAN_KEY,
    LARGE,
    MOST_BODY,
    MOST_BYTES,
    NAMES_KEY,
    PACE_KEY,
    TOKEN_COOKIE,
    BoardRefused,
    check_host,
    content_policy,
    guard,
)
from dashboard.door.crafted import guard_callbacks
from dashboard.door.listening import THREADS, listen
from dashboard.door.plain_names import PlainNames
from dashboard.door.roles import (
    ANYBODY,
    KEEPER_KEY,
    SECURE_KEY,
    TOKEN_KEY,
    guard_roles,
    keeper,
    lacks,
    needs,
    page_token,
    role_of,
    signed,
)
from dashboard.door.secured import EVERY_ADDRESS, listen_by_tls, own_names
from dashboard.door.signing import TOKEN_FIELD, add_sign_in, plain_page
from qc.jobs.roles import Role

__all__ = [
    "ANYBODY",
    "EVERY_ADDRESS",
    "KEEPER_KEY",
    "LAN_KEY",
    "LARGE",
    "MOST_BODY",
    "MOST_BYTES",
    "NAMES_KEY",
    "PACE_KEY",
    "SECURE_KEY",
    "THREADS",
    "TOKEN_COOKIE",
    "TOKEN_FIELD",
    "TOKEN_KEY",
    "BoardRefused",
    "PlainNames",
    "Role",
    "add_sign_in",
    "check_host",
    "content_policy",
    "guard",
    "guard_callbacks",
    "guard_roles",
    "keeper",
    "lacks",
    "listen",
    "listen_by_tls",
    "needs",
    "own_names",
    "page_token",
    "plain_page",
    "role_of",
    "signed",
]
