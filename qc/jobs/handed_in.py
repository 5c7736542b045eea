"""What is handed in, read: each file unfolded by the plan, refused, or kept until its layout is shown."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol, TypeAlias

from qc.ingest import (
    Checked,
    DateQuestion,
    HeadingsUnknown,
    Mappings,
    NothingFilledIn,
    SheetError,
    SheetQuestion,
    Unfolded,
    batch_reader,
    date_question,
    unfold,
)
from qc.jobs.rows import UnreadSheet
from qc.jobs.workshop import Workshop
from qc.plan import Plan
from qc.store import NewUnread, StoreError, sheet_hash
from qc.words import command_words, listed

GivenFile: TypeAlias = "tuple[str, bytes | SheetError]"
"""A file handed in: its name, and its content or why there is none."""


class ShowProgress(Protocol):
    """Told how far a long job has come."""

    def __call__(self, done: int, total: int, what: str) -> None:
        """`done` of `total` steps of `what` are done."""


@dataclass(slots=True)
class HandedIn:
    """One file that was read: its parts as they unfolded, what came of checking them, dates left open."""

    name: str
    data: bytes
    parts: list[Unfolded] = field(default_factory=list)
    checked: list[Checked] = field(default_factory=list)
    dates: list[DateQuestion] = field(default_factory=list)
    waited: str = ""  # since when it had waited for its layout

    def read_with(self, plan: Plan) -> tuple[str, ...]:
        """Say how its headings and dates were read, where that was not by the plan alone."""
        titles = {card.id: card.title for card in plan.cards}
        said = [f"It had waited for its layout since {self.waited}."] if self.waited else []
        for read in (read for part in self.parts for read in part.read_as):
            title = titles.get(read.card, read.card)
            if (mapping := read.confirmed()) is not None:
                said.append(mapping.sentence(title))
            said += [
                f"{typed} is read as {meant} by what stands below it." for typed, meant in read.told_words()
            ]
            if read.left_open:
                said.append(
                    f"Held until it is said which figure of {title} stands under {listed(read.left_open)}: "
                    f"{command_words('upload', self.name, '--propose-mapping')}"
                )
            if read.beside:
                said.append(f"No heading of {title}, kept as a remark: {listed(read.beside)}.")
            if read.numbers:
                it = "They are" if len(read.numbers) > 1 else "It is"
                said.append(
                    f"Is {' or '.join(read.numbers)} a figure of {title}? {it} kept as a remark and on no "
                    "chart; put a figure into the plan, then hand the sheet in again."
                )
        for through in (part.through for part in self.parts if part.through is not None):
            said.append(f"Read through the layout {through.layout.name}.")
            if left := through.left:
                more = f" and {len(left) - 3} more" if len(left) > 4 else ""
                cells = ", ".join(left[:3]) + more if more else listed(left)
                said.append(f"Numbers that it does not take, kept with the sheet alone: {cells}.")
        tabs = [tab for part in self.parts for tab in part.passed_over]
        said += [f"Passed over, since no figure stands there: tab {listed(tabs)}."] if tabs else []
        once = command_words("upload", self.name, "--propose-mapping")
        said += [f"{d.sentence()} Say it once: {once}" for d in self.dates]
        return tuple(dict.fromkeys(said))


@dataclass(slots=True)
class ReadFiles:
    """What came of the files of an upload: those that were read, refused ones, and what is asked of them."""

    taken: list[HandedIn] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    asked: list[SheetQuestion] = field(default_factory=list)
    unread: list[NewUnread] = field(default_factory=list)  # refused, and kept until their layout is shown
    not_kept: list[str] = field(default_factory=list)


def read_all(
    workshop: Workshop, files: Sequence[GivenFile], mappings: Mappings, progress: ShowProgress | None = None
) -> ReadFiles:
    """Read every file in the process that may break, and unfold what it gives; a bad sheet costs itself."""
    found = ReadFiles()
    if not files:
        return found
    with batch_reader() as reader:
        for number, (name, data) in enumerate(files, start=1):
            opened = False
            try:
                if isinstance(data, SheetError):
                    raise data
                grids = reader.read(name, data)
                opened = True
                parts = [unfold(grid, workshop.plan, mappings) for grid in grids]
                found.taken.append(HandedIn(name, data, parts))
                open_dates = [q for part in parts if (q := date_question(part, workshop.plan)) is not None]
                found.taken[-1].dates += [q.dates for q in open_dates if q.dates is not None]
                found.asked += open_dates
            except SheetError as error:
                found.refused.append(str(error))
                if isinstance(error, HeadingsUnknown):
                    found.asked.append(error.question)
                if not opened:
                    found.not_kept.append(name)
                elif isinstance(data, bytes) and not isinstance(error, NothingFilledIn):
                    found.unread.append(NewUnread(name, sheet_hash(data), data, str(error)))
            if progress is not None:
                progress(number, len(files), "Reading sheet")
    return found


def read_waiting_too(workshop: Workshop, files: Sequence[GivenFile], mappings: Mappings) -> list[HandedIn]:
    """Read what waits for its layout once more; what still cannot be read goes on waiting, unsaid."""
    given = {sheet_hash(data) for _, data in files if isinstance(data, bytes)}
    found: list[HandedIn] = []
    for one in workshop.store.unread():
        if one.sheet in given:
            continue
        with suppress(StoreError):  # one that is gone from the disk is for `qc verify` to name
            read = read_all(workshop, [(one.file, workshop.store.sheet_bytes(one.sheet))], mappings)
            for file in read.taken:
                file.waited = UnreadSheet.of(one, workshop.plan.workshop.time_zone).handed_in
            found += read.taken
    return found


def those_kept(workshop: Workshop, unread: Sequence[NewUnread]) -> list[UnreadSheet]:
    """Return which sheets that could not be read wait on record now, or were put away, in the order given."""
    kept = {one.sheet: one for one in workshop.store.unread(open_only=False)} if unread else {}
    zone = workshop.plan.workshop.time_zone
    found = (kept[one.hash] for one in unread if one.hash in kept)
    return [UnreadSheet.of(one, zone) for one in found if one.state != "read"]
