"""The board's way to the house: the data and the upload desk of the app that serves this request."""

from __future__ import annotations

from typing import Final, cast

from flask import current_app, request

from qc.jobs.board import BoardData, UploadDesk

DATA_KEY: Final = "BOARD_DATA"
DESK_KEY: Final = "BOARD_DESK"
WIDTH_COOKIE: Final = "board_width"
THEME_COOKIE: Final = "board_theme"
PLOT_PX: Final = {"narrow": 300, "middle": 390, "wide": 590}  # chosen: about what the style sheet leaves


def board() -> BoardData:
    """Return what answers the board's questions."""
    return cast(BoardData, current_app.config[DATA_KEY])


def desk() -> UploadDesk:
    """Return what takes uploads and mends."""
    return cast(UploadDesk, current_app.config[DESK_KEY])


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
