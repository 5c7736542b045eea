"""The board's way to the house: the data and the upload desk of the app that serves this request."""

from __future__ import annotations

from datetime import date
from typing import Final, cast
from urllib.parse import parse_qs, urlsplit

from flask import current_app, g, request

from qc.jobs.board import BoardData, Ticket, UploadDesk
from qc.jobs.office import Office
from qc.jobs.shops import ShopWatch

DATA_KEY: Final = "BOARD_DATA"
DESK_KEY: Final = "BOARD_DESK"
OFFICE_KEY: Final = "BOARD_OFFICE"
GROUP_KEY: Final = "BOARD_GROUP"
KNOWN: Final = "known"
"""What a past day is called in an address."""

WIDTH_COOKIE: Final = "board_width"
THEME_COOKIE: Final = "board_theme"
PLOT_PX: Final = {"narrow": 300, "middle": 390, "wide": 590}  # chosen: about what the style sheet leaves


def board() -> BoardData:
    """Return what answers the board's questions, as it was known on the day that the page stands on."""
    present, day = _present(), standing_day()
    return present if day is None else present.known(day)


def _present() -> BoardData:
    return cast(BoardData, current_app.config[DATA_KEY])


def stand_on(day: date | None) -> None:
    """Say which past day this request stands on, None for the present."""
    g.standing = day


def asked_day() -> str:
    """Return the past day that an address names, as written there: its own, or that of its page."""
    behind = _asked_of(request.referrer or "").get(KNOWN, [""])
    return request.args.get(KNOWN) or behind[0]


def _asked_of(address: str) -> dict[str, list[str]]:
    """Return what an address asks for; nothing of one that is none, as anybody may send it."""
    try:
        return parse_qs(urlsplit(address).query)
    except ValueError:  # brackets that hold no address, more fields than anybody sends
        return {}


def standing_day() -> date | None:
    """Return the past day that this request, or the page it comes from, stands on."""
    if not hasattr(g, "standing"):
        asked = asked_day()
        try:
            day = date.fromisoformat(asked) if asked else None
        except ValueError:
            day = None  # the page itself says that this is no day
        # today and later are the present, as on the page itself
        stand_on(day if day is not None and day < _present().shop().day else None)
    return cast("date | None", g.standing)


def desk() -> UploadDesk:
    """Return what takes uploads and mends."""
    return cast(UploadDesk, current_app.config[DESK_KEY])


def ticket(name: str, told: str) -> Ticket | None:
    """Return how far a ticket is; None where it is not known, or its receipt does not tell what is `told`.

    A page asks for what it sent itself, but a request may bring any ticket.
    """
    found = desk().progress(name)
    other = found is not None and found["receipt"] is not None and told not in found["receipt"]
    return None if other else found


def office() -> Office:
    """Return what keeps the people and the plan."""
    return cast(Office, current_app.config[OFFICE_KEY])


def group() -> ShopWatch:
    """Return what looks over several workshops."""
    return cast(ShopWatch, current_app.config[GROUP_KEY])


def narrow_screen() -> bool:
    """Return whether the browser said that its window is as narrow as a phone."""
    return request.cookies.get(WIDTH_COOKIE) == "narrow"


def chart_px() -> int:
    """Return about how wide the plot of a chart is on this reader's screen [px]."""
    return PLOT_PX.get(request.cookies.get(WIDTH_COOKIE, ""), PLOT_PX["wide"])


def chosen_theme() -> str:
    """Return ``light`` or ``dark`` where the reader chose one, else an empty text."""
    theme = request.cookies.get(THEME_COOKIE, "")
    return theme if theme in {"light", "dark"} else ""
