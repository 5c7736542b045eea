"""Tags on A4, eight to a page, to be cut and hung on the pieces."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from importlib import resources
from pathlib import Path

TEMPLATE = "tags.typ"
MOST_REASONS = 3
"""Reasons on a tag; more are counted: the list has all of them, and what is written smaller is not read."""

MOST_WORDS = 130  # chosen: three lines of a tag [character]


@dataclass(frozen=True, slots=True)
class HoldTag:
    """What stands on one tag.

    Attributes
    ----------
    serial, where : str
        The piece, and where it is.
    reasons : tuple of str
        Why it is kept back: figure, place, value and limit, in words.
    next_step : str
        What to do.
    kept_by : str
        Who keeps it back, empty where the list does.
    """

    serial: str
    where: str
    reasons: tuple[str, ...]
    next_step: str
    kept_by: str = ""


def tags_pdf(workshop: str, as_of: date, tags: Sequence[HoldTag]) -> bytes:
    """Typeset tags.

    Parameters
    ----------
    workshop : str
        Its name, on each tag.
    as_of : date
        The day they hold for.
    tags : sequence of HoldTag
        In the order in which they are printed, eight to a page.

    Returns
    -------
    bytes
        A pdf with its fonts embedded; the same tags give the same bytes on every machine.
    """
    import matplotlib
    import typst

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    data = {
        "workshop": workshop,
        "as_of": as_of.isoformat(),
        "tags": [_plain(tag) for tag in tags],
    }
    return typst.compile(
        resources.files("qc.report.tags").joinpath(TEMPLATE).read_bytes(),
        font_paths=typst.Fonts(include_system_fonts=False, font_paths=[folder]),
        format="pdf",
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        timestamp=(as_of.toordinal() - 719_163) * 86_400,  # days since 1970 as seconds
    )


def _plain(tag: HoldTag) -> dict[str, object]:
    more = len(tag.reasons) - MOST_REASONS
    shown = [_cut(reason) for reason in tag.reasons[:MOST_REASONS]]
    shown += [f"and {more} more: qc hold"] if more > 0 else []
    return {**asdict(tag), "reasons": shown, "next_step": _cut(tag.next_step)}


def _cut(text: str) -> str:
    """Cut what would run over the tag at the end of a word."""
    return text if len(text) <= MOST_WORDS else f"{text[:MOST_WORDS].rsplit(' ', 1)[0]} …"
