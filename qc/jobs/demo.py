"""The sample workshop, made the way a real one fills up: its own sheets through the real upload."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import TypeAlias

from qc import clock
from qc.errors import QcError
from qc.ingest import batch_reader, unfold
from qc.jobs.monthly import MonthReport, month
from qc.jobs.receipts import SheetReceipt, Total, UploadReceipt
from qc.jobs.status import Status, status
from qc.jobs.upload import ShowProgress, upload
from qc.jobs.workshop import PLAN, Workshop, open_workshop
from qc.plain import JsonObject, as_meant
from qc.plan import Plan, load_plan
from qc.report.terminal import demo_text
from qc.stats import Tabled
from qc.store import OWN_FILE, private_folder, sheet_hash
from sample_measurements import folder as sample_folder

SHEETS = {".csv", ".xlsx"}
FRIDAY = 4
SHEET_COVERS = timedelta(days=31)
"""No card of the sample workshop goes on for longer than a month."""

Sheet: TypeAlias = tuple[str, bytes]
"""A file's name and its bytes."""


@dataclass(frozen=True, slots=True)
class Demo(Tabled):
    """The sample workshop as it stands."""

    folder: Path
    total: Total | None  # None where an earlier demo was found and used
    status: Status
    report: MonthReport

    def to_dict(self) -> JsonObject:
        """Return the receipt's sums, the status and the report's files."""
        total = self.total
        return {
            "workshop": str(self.folder),
            "reused": total is None,
            "upload": None if total is None else {n: getattr(total, n) for n in Total.__slots__},
            "status": self.status.to_dict(),
            "report": self.report.to_dict(),
        }

    def to_text(self) -> str:
        """Say what was made, the state of every series, and where the report lies."""
        made = f"Using the sample workshop in {self.folder}." if self.total is None else self.total.sentence()
        return demo_text(made, self.status.to_text(), self.report.to_text())


@as_meant
def make_demo(folder: Path, *, progress: ShowProgress | None = None) -> Demo:
    """Make the sample workshop, or use the one that is there; write the report of its last whole month.

    Parameters
    ----------
    folder : pathlib.Path
        Where it is made; new, empty, or an earlier demo.
    progress : callable, optional
        Told how far the upload is.

    Raises
    ------
    QcError
        The folder holds something else.
    """
    plan = (sample_folder() / PLAN).read_text("utf-8")
    there = folder / PLAN
    if there.exists() and there.read_text("utf-8") != plan:
        raise QcError(f"{folder} holds another workshop. Name a new folder: qc demo --workshop DIR")
    if folder.exists() and not there.exists() and any(folder.iterdir()):
        raise QcError(
            f"{folder} is not empty and holds no workshop. Name a new folder: qc demo --workshop DIR"
        )
    private_folder(folder)
    if not there.exists():
        there.touch(OWN_FILE)
        there.write_text(plan, "utf-8")
    taken = _hand_in(folder, progress)
    workshop = open_workshop(folder)
    # the last whole month: the present one is not over
    before = workshop.today.replace(day=1) - timedelta(days=1)
    return Demo(folder, taken, status(workshop), month(workshop, f"{before:%Y-%m}"))


def sample_sheets() -> list[tuple[str, bytes]]:
    """Return the sample workshop's sheets, oldest first by name within their folders."""
    found = sorted(p for p in sample_folder().rglob("*") if p.suffix in SHEETS)
    return [(path.name, path.read_bytes()) for path in found]


def _hand_in(folder: Path, progress: ShowProgress | None) -> Total | None:
    """Hand in the sheets that are not there yet, in the order of their days; None where all are there."""
    sheets = sample_sheets()
    plan = load_plan((folder / PLAN).read_text("utf-8"))
    lots = _lots(sheets, plan)
    workshop = open_workshop(folder, as_of=min(lots), writes=True)
    try:
        if _is_filled(workshop, sheets):
            return None
        receipts: list[SheetReceipt] = []
        for day, own in sorted(lots.items()):
            # a demo that was cut short is taken up where it stopped
            lacking = [(name, data) for name, data in own if not workshop.store.has_sheet(sheet_hash(data))]
            then = replace(workshop, today=day, now=clock.moment(plan.workshop.time_zone, day))
            receipts += _taken(upload(then, lacking, in_words=False)) if lacking else ()
            if progress is not None:
                progress(len(receipts), len(sheets), "Handing in sheet")
        return Total.of(receipts)
    finally:
        workshop.store.close()


def _lots(sheets: Sequence[Sheet], plan: Plan) -> dict[date, list[Sheet]]:
    """Return the sheets by the day on which they are handed in.

    Those of the present month come in at the end of their week, older ones with the last of their month: a
    day each would take some minutes. Each lot is handed in on the day of its last row.
    """
    now = clock.today(plan.workshop.time_zone, plan.workshop.today)
    lots: dict[date, list[tuple[date, Sheet]]] = {}
    with batch_reader() as reader:
        for name, data in sheets:
            parts = [unfold(grid, plan) for grid in reader.read(name, data)]
            day = _last_day([day for p in parts for frame in (p.readings, p.events) for day in frame["day"]])
            lot = (
                day + timedelta(days=FRIDAY - day.weekday())
                if day >= now.replace(day=1)
                else day.replace(day=1)
            )
            lots.setdefault(lot, []).append((day, (name, data)))
    return {max(day for day, _ in own): [sheet for _, sheet in own] for own in lots.values()}


def _last_day(days: Iterable[date | None]) -> date:
    """Return the day of the last row of a sheet; a mistyped one lies far from the middle of all."""
    known = sorted(day for day in days if day is not None)
    middle = known[len(known) // 2]
    return max(day for day in known if day <= middle + SHEET_COVERS)


def _is_filled(workshop: Workshop, sheets: Sequence[Sheet]) -> bool:
    """Say whether the sheets are in and judged."""
    return bool(workshop.store.verdicts()) and len(workshop.store.sheets()) >= len(sheets)


def _taken(receipt: UploadReceipt) -> tuple[SheetReceipt, ...]:
    if receipt.refused:
        raise QcError(f"The sample sheets are damaged: {receipt.refused[0]} Fetch them again.")
    return receipt.sheets
