"""How much the other figures of the same pieces already say of one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from qc.stats import StatisticsError, explained_share
from qc.watch.pieces import PartUse
from qc.watch.results import Point, SeriesKey, SeriesVerdict
from qc.watch.worth.results import SaidByOthers

KNOWN_OF = 0.8
"""A figure takes part that is known of so many of the pieces (house rule); one measured on every second piece
says nothing of the others."""

Figure = tuple[str, str, str]
"""Stage, characteristic and the role of a part in the piece; of the piece that a part went into, `WHOLE`."""

Known = Mapping[Figure, Mapping[str, float]]
WHOLE = "the piece it went into"


def figures_by_piece(
    verdicts: Sequence[SeriesVerdict], uses: Sequence[PartUse] = ()
) -> dict[Figure, dict[str, float]]:
    """Return each charted figure by piece, families together.

    It is counted from the middle of its family [unit]. A piece also bears the figures of the parts that are
    in it, by their role, and a part those of the piece it is in.
    """
    found: dict[Figure, dict[str, float]] = {}
    for verdict in verdicts:
        own = [p for p in verdict.points if not p.left_out]
        middle = float(np.median([p.value for p in own])) if own else 0.0
        by_piece = found.setdefault((verdict.key.stage, verdict.key.characteristic, ""), {})
        by_piece.update({p.serial: p.value - middle for p in own})
    here = [use for use in uses if use.there]
    for (stage, name, _), own_figures in list(found.items()):
        for use in here:
            if use.part in own_figures:
                found.setdefault((stage, name, use.role or "part"), {})[use.piece] = own_figures[use.part]
            if use.piece in own_figures:
                found.setdefault((stage, name, WHOLE), {})[use.part] = own_figures[use.piece]
    return found


def said_by_others(
    key: SeriesKey,
    settled: Sequence[Point],
    known: Known,
    alike: Sequence[tuple[str, str]],
    names: Mapping[tuple[str, str], str],
) -> SaidByOthers | None:
    """Say how much of a series the other figures of its pieces foretell.

    Parameters
    ----------
    key, settled
        The series and its settled pieces, in order of making.
    known : mapping
        `figures_by_piece`.
    alike : sequence of Figure
        Stage and characteristic of figures made of the same readings: they are left out with it.
    names : mapping
        What figures are called.

    Returns
    -------
    SaidByOthers or None
        None where too few pieces bear other figures.
    """
    left = {(key.stage, key.characteristic), *alike}
    serials = [p.serial for p in settled]
    beside = {
        figure: [own.get(serial, np.nan) for serial in serials]
        for figure, own in known.items()
        if figure[:2] not in left and sum(s in own for s in serials) >= KNOWN_OF * len(serials)
    }
    if not beside:
        return None
    try:
        found = explained_share(
            np.array([p.value for p in settled]), np.column_stack(list(map(np.array, beside.values())))
        )
    except StatisticsError:
        return None
    said = tuple(names[f[:2]] + (f" ({f[2]})" if f[2] else "") for f in beside)
    return SaidByOthers(found.share, found.error, found.raw, found.pieces, said)
