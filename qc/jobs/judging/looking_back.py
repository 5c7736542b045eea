"""What was said on the day asked about: as kept, or, of a day already past, judged as it stood then."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from qc.jobs.judging.verdicts import judge_now, load_verdicts, said_by
from qc.jobs.workshop import Workshop
from qc.store import signal_id, state_after
from qc.watch import SeriesVerdict

Row = dict[str, Any]


def looks_back(workshop: Workshop) -> bool:
    """Return whether the day asked about lies before the newest day that was judged."""
    newest = workshop.store.judged_day()
    return newest is not None and workshop.today < newest


def verdicts_of_day(workshop: Workshop) -> list[SeriesVerdict]:
    """Return the verdicts of the day asked about, in route order; those of a past day are not kept."""
    return judge_now(workshop).verdicts if looks_back(workshop) else load_verdicts(workshop)


def signals_of_day(
    workshop: Workshop, verdicts: Iterable[SeriesVerdict], *, series: str | None = None
) -> list[tuple[Row, bool]]:
    """Return the signals as they stood on the day asked about.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    verdicts : iterable of SeriesVerdict
        `verdicts_of_day`.
    series : str, optional
        Only of this series, ``stage/characteristic/family``.

    Returns
    -------
    list of (row, bool)
        As `Store.signals` gives them, and whether the verdicts show the signal. Of a past day there are only
        those that had been raised by then, with what had been said by then.
    """
    rows = workshop.store.signals(series=series)
    if not looks_back(workshop):
        shown = {
            signal_id(str(v.key), {"kind": s.kind, "raised_serial": s.raised_serial})
            for v in verdicts
            for s in v.signals
        }
        return [(row, row["id"] in shown) for row in rows]
    kept = {row["id"]: row for row in rows}
    found = []
    for key, plain in ((str(v.key), v.to_dict()) for v in verdicts if v.signals):
        for signal in plain["signals"] if series in {None, key} else ():
            own = signal_id(key, signal)
            found.append((_as_then(workshop, {**signal, "id": own, "series": key}, kept.get(own)), True))
    return found


def _as_then(workshop: Workshop, signal: Row, kept: Mapping[str, Any] | None) -> Row:
    events = said_by(workshop, kept["events"] if kept else ())
    return {**signal, "state": state_after(events), "events": events}
