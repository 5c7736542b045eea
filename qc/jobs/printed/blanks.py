"""Blank cards of the plan as files: a page to print and a workbook to type into, in the same order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from qc.errors import MachineError
from qc.jobs.errors import JobError
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Card, Plan
from qc.report.cards import BlankCard, blank_card, card_pdf, card_workbook
from qc.report.terminal import blank_cards_text
from qc.stats import Tabled
from qc.store import OWN_FILE, private_folder
from qc.words import closest, listed

CARD_FILES: Final[dict[str, Callable[[BlankCard, date], bytes]]] = {"pdf": card_pdf, "xlsx": card_workbook}
"""Ending of a file -> what writes it."""


@dataclass(frozen=True, slots=True)
class WrittenCard:
    """A card that was written: `lines` where each row is a piece or an event, `room` for how many entries."""

    card: str
    title: str
    lines: bool
    room: int
    files: tuple[Path, ...]


@dataclass(frozen=True, slots=True)
class BlankCards(Tabled):
    """The cards that were written."""

    cards: tuple[WrittenCard, ...]

    def to_dict(self) -> JsonObject:
        """Return the cards with their files."""
        return {
            "cards": [
                {
                    "card": one.card,
                    "title": one.title,
                    "lines": one.lines,
                    "room": one.room,
                    "files": [str(file) for file in one.files],
                }
                for one in self.cards
            ]
        }

    def to_text(self) -> str:
        """Say which cards lie where."""
        rows = [(one.title, one.room, one.lines, [file.name for file in one.files]) for one in self.cards]
        return blank_cards_text(rows, str(self.cards[0].files[0].parent))


def write_cards(workshop: Workshop, out: Path, *, card: str = "") -> BlankCards:
    """Write blank cards, each as a pdf to print and as a workbook to type into.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    out : pathlib.Path
        The folder, made where it is not there; files of these names that are there are written over.
    card : str, optional
        Id or title of one card; every card of the plan where it is left out.

    Returns
    -------
    BlankCards
        The cards in the plan's order.

    Raises
    ------
    JobError
        The plan has no such card, or none at all.
    MachineError
        A file cannot be written.
    """
    plan = workshop.plan
    written = []
    for one in [_card(plan, card)] if card else plan.cards:
        blank = blank_card(one, plan)
        files = tuple(out / f"{one.id}.{ending}" for ending in CARD_FILES)
        for file, make in zip(files, CARD_FILES.values(), strict=True):
            _write(file, make(blank, workshop.today))
        written.append(WrittenCard(one.id, one.title, blank.lines, blank.room, files))
    if not written:
        raise JobError("The plan has no card. Add one under cards in plan.yaml, then print it.")
    return BlankCards(tuple(written))


def blank_file(plan: Plan, card: str, ending: str, as_of: date) -> bytes | None:
    """Return one blank card as the bytes of its file.

    Parameters
    ----------
    plan : Plan
        The measuring plan.
    card : str
        Its id.
    ending : str
        ``pdf`` or ``xlsx``.
    as_of : date
        The day it carries.

    Returns
    -------
    bytes or None
        None where the plan has no such card, or cards are not written so.
    """
    found = next((one for one in plan.cards if one.id == card), None)
    make = CARD_FILES.get(ending)
    return None if found is None or make is None else make(blank_card(found, plan), as_of)


def _card(plan: Plan, name: str) -> Card:
    """Return a card by its id or title."""
    wanted = name.strip().casefold()
    found = next((one for one in plan.cards if wanted in {one.id.casefold(), one.title.casefold()}), None)
    if found is None:
        ids = [one.id for one in plan.cards]
        close = closest(name, ids)
        meant = f" Did you mean {close}?" if close else ""
        raise JobError(f"The plan has no card {name}.{meant} Its cards are {listed(ids)}.")
    return found


def _write(file: Path, data: bytes) -> None:
    try:
        private_folder(file.parent)
        file.touch(OWN_FILE)
        file.write_bytes(data)
    except OSError as error:
        raise MachineError(
            f"{file}: the card cannot be written here ({error.strerror}). Name another folder with --out."
        ) from error
