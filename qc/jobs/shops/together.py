"""How each workshop of a group stands, the one to look at first on top; each by its own plan and budget."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from qc import clock
from qc.errors import QcError
from qc.jobs.errors import JobError
from qc.jobs.status import status
from qc.jobs.workshop import PLAN, Workshop, open_workshop
from qc.plain import JsonObject
from qc.report.terminal import series_line, shops_text
from qc.stats import Tabled


@dataclass(frozen=True, slots=True)
class ShopStanding(Tabled):
    """How one workshop stands; `fault` says why it could not be asked, and then nothing else is known.

    Attributes
    ----------
    folder : str
        Its folder, within that of the group.
    workshop : str
        Its name, by its plan.
    as_of : date or None
        The day judged by.
    series, drifting, outside : int
        Series in all, those that drift, those whose limits are not kept.
    open_signals, held_rows : int
        Signals and held rows that wait.
    stages : tuple of str
        Names of the stages with a series that drifts, in route order.
    to_hold : int
        Pieces in the house that are to be held.
    last_hand_in : date or None
        Day of its newest sheet.
    not_judged : str
        Since when something waits there to be judged, in words; empty mostly.
    worst : str
        Its first series in words; empty where all are as they were and keep their limits.
    budget : str
        How often this workshop is told a false signal, in words.
    fault : str
        What keeps it from being asked.
    weight : float
        By how much its worst series comes before others; comparable between workshops.
    """

    folder: str
    workshop: str = ""
    as_of: date | None = None
    series: int = 0
    drifting: int = 0
    outside: int = 0
    open_signals: int = 0
    held_rows: int = 0
    stages: tuple[str, ...] = ()
    to_hold: int = 0
    last_hand_in: date | None = None
    not_judged: str = ""
    worst: str = ""
    budget: str = ""
    fault: str = ""
    weight: float = 0.0

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        plain = Tabled.to_dict(self)
        del plain["weight"]
        days = {"as_of": self.as_of, "last_hand_in": self.last_hand_in}
        return plain | {name: day.isoformat() if day else None for name, day in days.items()}

    def to_text(self) -> str:
        """Say it in words."""
        return shops_text("", [self.to_dict()])


@dataclass(frozen=True, slots=True)
class ShopsTogether(Tabled):
    """The workshops of a group, those that could not be asked first, then the worst."""

    ROWS = "workshops"

    group: str
    workshops: tuple[ShopStanding, ...]

    @property
    def faults(self) -> tuple[str, ...]:
        """Why some could not be asked."""
        return tuple(one.fault for one in self.workshops if one.fault)

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {"group": self.group, "workshops": [one.to_dict() for one in self.workshops]}

    def to_text(self) -> str:
        """Say it in words, a paragraph each."""
        return shops_text(self.group, [one.to_dict() for one in self.workshops])


def status_of_shops(group: Path, *, as_of: date | None = None) -> ShopsTogether:
    """Ask every workshop of a folder for its status; one that cannot be asked keeps no other from it.

    Rows may be in files or on a server, as the folder of each says.

    Parameters
    ----------
    group : Path
        A folder whose folders are workshops; others in it are passed over.
    as_of : date, optional
        Judge as on this day; else each by its own day.

    Raises
    ------
    JobError
        There is no workshop in the folder.
    """
    return together(group, [_standing(folder, as_of) for folder in folders_of(group)])


def folders_of(group: Path) -> list[Path]:
    """Return the folders of the workshops in a folder, by name.

    Raises
    ------
    JobError
        There is none, or it cannot be looked into.
    """
    try:
        folders = sorted(path for path in group.iterdir() if (path / PLAN).is_file())
    except OSError as error:
        raise JobError(
            f"{group} cannot be looked into ({error.strerror}). Name the folder in which the workshops lie."
        ) from error
    if not folders:
        raise JobError(
            f"There is no workshop in {group} (no folder in it with a {PLAN}). Name the folder in which the "
            "folders of the workshops lie."
        )
    return folders


def together(group: Path, standing: Iterable[ShopStanding]) -> ShopsTogether:
    """Put workshops together: those that could not be asked first, then the worst."""
    return ShopsTogether(
        str(group), tuple(sorted(standing, key=lambda s: (not s.fault, -s.weight, s.folder)))
    )


def _standing(folder: Path, as_of: date | None) -> ShopStanding:
    try:
        workshop = open_workshop(folder, as_of=as_of)
        try:
            return standing_of(workshop)
        finally:
            workshop.store.close()
    except QcError as error:
        return ShopStanding(folder.name, fault=str(error))


def standing_of(workshop: Workshop, *, judge: bool = True) -> ShopStanding:
    """Say how one open workshop stands; without `judge` by what was judged before, and nothing is written."""
    found = status(workshop, judge=judge)
    zone = workshop.plan.workshop.time_zone
    newest = max((sheet.entered for sheet in workshop.store.sheets()), default=None)
    drifting = {one.key.stage for one in found.series if one.behaviour == "drifting"}
    first = found.series[0] if found.series else None
    quiet = first is None or (first.behaviour != "drifting" and first.capable != "no")
    return ShopStanding(
        folder=workshop.folder.name,
        workshop=found.workshop,
        as_of=found.as_of,
        series=len(found.series),
        drifting=sum(one.behaviour == "drifting" for one in found.series),
        outside=sum(one.capable == "no" for one in found.series),
        open_signals=sum(found.open_signals.values()),
        held_rows=len(workshop.store.held()),
        stages=tuple(stage.name for stage in workshop.plan.stages if stage.id in drifting),
        to_hold=found.to_hold,
        last_hand_in=None if newest is None else clock.day_of(newest, zone),
        not_judged=found.not_judged.sentence(zone) if found.not_judged else "",
        worst="" if first is None or quiet else series_line(first, found.as_of),
        budget=found.budget if found.series else "",
        weight=first.worst if first else 0.0,
    )
