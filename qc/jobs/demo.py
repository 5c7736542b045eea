"""The sample workshop, made the way a real one fills up: its own sheets through the real upload."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from qc.errors import QcError
from qc.jobs.month import MonthReport, month
from qc.jobs.receipts import Total, UploadReceipt
from qc.jobs.status import Status, status
from qc.jobs.upload import ShowProgress, upload
from qc.jobs.workshop import PLAN, Workshop, open_workshop
from qc.plain import JsonObject
from qc.report.terminal import demo_text
from qc.stats import Tabled
from qc.store import OWN_FILE, private_folder
from sample_measurements import folder as sample_folder

SHEETS = {".csv", ".xlsx"}


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
    workshop = open_workshop(folder)
    receipt = None if _is_filled(workshop) else upload(workshop, sample_sheets(), progress=progress)
    # the last whole month: the present one is not over
    before = workshop.today.replace(day=1) - timedelta(days=1)
    return Demo(folder, _total(receipt), status(workshop), month(workshop, f"{before:%Y-%m}"))


def sample_sheets() -> list[tuple[str, bytes]]:
    """Return the sample workshop's sheets, oldest first by name within their folders."""
    found = sorted(p for p in sample_folder().rglob("*") if p.suffix in SHEETS)
    return [(path.name, path.read_bytes()) for path in found]


def _is_filled(workshop: Workshop) -> bool:
    """Say whether the sheets are in and judged; a demo that was cut short is taken up where it stopped."""
    return bool(workshop.store.verdicts()) and len(workshop.store.sheets()) >= len(sample_sheets())


def _total(receipt: UploadReceipt | None) -> Total | None:
    if receipt is None:
        return None
    if receipt.refused:
        raise QcError(f"The sample sheets are damaged: {receipt.refused[0]} Fetch them again.")
    return Total.of(receipt.sheets)
