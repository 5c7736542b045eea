"""A group of workshops as a board shows it: each store stays open and is read as it stands."""

from __future__ import annotations

import threading
from datetime import date
from pathlib import Path
from typing import Protocol

from qc.errors import QcError
from qc.jobs.board import StoreBoardData
from qc.jobs.errors import JobError
from qc.jobs.shops.compared import ShopLevel, ShopsCompared, compared, levels_of, unit_of
from qc.jobs.shops.together import ShopStanding, ShopsTogether, folders_of, standing_of, together


class ShopWatch(Protocol):
    """What the pages of a group ask."""

    def there(self) -> bool:
        """Return whether this board looks over a group at all."""
        ...

    def standing(self) -> ShopsTogether:
        """Return how each workshop stands, the worst first."""
        ...

    def figures(self) -> tuple[tuple[str, str], ...]:
        """Return the figures that two workshops or more have: stage/characteristic, and its name."""
        ...

    def compared(self, figure: str) -> ShopsCompared | str:
        """Return one figure compared between the workshops, or a sentence why it cannot be."""
        ...


class NoGroup:
    """The answer of a board over one workshop alone."""

    def there(self) -> bool:
        """Return False."""
        return False

    def standing(self) -> ShopsTogether:
        """Return no workshop."""
        return ShopsTogether("", ())

    def figures(self) -> tuple[tuple[str, str], ...]:
        """Return no figure."""
        return ()

    def compared(self, figure: str) -> ShopsCompared | str:
        """Say that there is no group."""
        return "This board looks over one workshop. Start it with qc board --group FOLDER to see several."


class ShopGroup:
    """Looks over the workshops whose folders lie in one (`ShopWatch`).

    What was worked out for a workshop is given again until it accepts or judges something. A workshop that
    cannot be opened says why and is tried again the next time.

    Parameters
    ----------
    group : Path
        The folder in which their folders lie.
    as_of : date, optional
        The day to stand on; else each on its own.

    Raises
    ------
    JobError
        There is no workshop in it.
    """

    def __init__(self, group: Path, as_of: date | None = None) -> None:
        self._group, self._as_of = group, as_of
        self._lock = threading.RLock()
        self._open: dict[Path, _Overlooked] = {}
        folders_of(group)

    def there(self) -> bool:
        """Return True."""
        return True

    def standing(self) -> ShopsTogether:
        """Return how each workshop stands, the worst first."""
        return together(self._group, [self._standing(folder) for folder in self._folders()])

    def figures(self) -> tuple[tuple[str, str], ...]:
        """Return the figures that two workshops or more can be compared by."""
        names: dict[str, str] = {}
        shops: dict[str, set[tuple[str, str]]] = {}
        for level in self._levels()[0]:
            names.setdefault(level.figure, level.name)
            shops.setdefault(level.figure, set()).add((level.folder, level.model))
        several = (figure for figure, made in shops.items() if _shared(made))
        return tuple((figure, names[figure]) for figure in several)

    def compared(self, figure: str) -> ShopsCompared | str:
        """Return one figure compared between the workshops, or a sentence why it cannot be."""
        levels, unasked = self._levels()
        try:
            return compared(self._group, figure, "", levels, unasked, unit_of(levels, figure))
        except QcError as error:
            return str(error)

    def _folders(self) -> list[Path]:
        try:
            return folders_of(self._group)
        except JobError:  # moved away while the board runs: nothing is there, and the page says so
            return []

    def _standing(self, folder: Path) -> ShopStanding:
        try:
            return self._of(folder).standing()
        except QcError as error:
            return ShopStanding(folder.name, fault=str(error))

    def _levels(self) -> tuple[list[ShopLevel], dict[str, str]]:
        levels: list[ShopLevel] = []
        unasked: dict[str, str] = {}
        for folder in self._folders():
            try:
                levels += self._of(folder).levels()
            except QcError as error:
                unasked[folder.name] = str(error)
        return levels, unasked

    def _of(self, folder: Path) -> _Overlooked:
        with self._lock:
            if folder not in self._open:
                self._open[folder] = _Overlooked(folder, self._as_of)
            return self._open[folder]


class _Overlooked(StoreBoardData):
    """One workshop of the group."""

    def standing(self) -> ShopStanding:
        """Return how it stands by what was judged."""
        return self._once("standing", lambda w: standing_of(w, judge=False))

    def levels(self) -> tuple[ShopLevel, ...]:
        """Return the level of each figure and model."""
        return self._once("levels", levels_of)


def _shared(made: set[tuple[str, str]]) -> bool:
    """Say whether one model of a figure is made in two workshops or more."""
    models = [model for _, model in made]
    return len(models) > len(set(models))
