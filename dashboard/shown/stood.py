"""A series as it stood when one of its signals was closed: what that signal's own page shows."""

from __future__ import annotations

from dataclasses import replace

from qc.jobs.board import SeriesView, SignalView
from qc.watch import SeriesVerdict, SignalResult, limit_lines


def as_it_stood(view: SignalView, series: SeriesView) -> SeriesView:
    """Return the series up to the last piece that was known when a signal was closed; an open one's whole.

    Parameters
    ----------
    view : SignalView
        The signal.
    series : SeriesView
        Its series as it stands now.

    Notes
    -----
    What is usual goes by the pieces of today, so it is left out; limits are those of the last piece shown.
    """
    told, verdict = view.closed_as, series.verdict
    if told is None:
        return series
    places = {point.serial: point.ordinal for point in verdict.points}
    start, raised = (places.get(one) for one in (told.start_serial, told.raised_serial))
    if start is None or raised is None:
        return series  # its pieces are no longer among those that are read
    shift = start - told.start  # a card that came in later moves the places, not the pieces
    known = [told.raised + shift, told.start + told.pieces - 1 + shift]
    known += [places[one] for one in (told.kept or ())[-1:] if one in places]
    known += [] if told.ended is None else [told.ended + shift]
    last = min(max(known), len(verdict.points))
    if last == len(verdict.points):
        return series
    found = _moved(told, shift, raised)
    stretches = tuple(replace(s, last=min(s.last, last)) for s in verdict.stretches if s.first <= last)
    then = replace(
        verdict,
        lower=_limit_at(verdict, last, "lower"),
        upper=_limit_at(verdict, last, "upper"),
        target=_limit_at(verdict, last, "target"),
        points=verdict.points[:last],
        pieces=last,
        signals=(found,),
        stretches=stretches,
        behaviour="drifting",
        told_by=found.raised,
        natural_lower=None,
        natural_upper=None,
        present=(),
        forecast=None,
    )
    return replace(series, verdict=then)


def stood_words(view: SignalView, series: SeriesView, shown: SeriesView) -> str:
    """Say that a chart ends where the signal was closed; empty where nothing came since."""
    since = len(series.verdict.points) - len(shown.verdict.points)
    if not since:
        return ""
    last = shown.verdict.points[-1].serial
    more = "1 piece made" if since == 1 else f"{since} pieces made"
    return f"As it stood when signal {view.name} was closed, up to {last}; the series shows {more} since."


def _moved(told: SignalResult, shift: int, raised: int) -> SignalResult:
    ended = None if told.ended is None else told.ended + shift
    start, low, high = (one + shift for one in (told.start, told.start_low, told.start_high))
    return replace(told, raised=raised, start=start, start_low=max(low, 1), start_high=high, ended=ended)


def _limit_at(verdict: SeriesVerdict, place: int, name: str) -> float | None:
    held = [edge for edge, *_ in limit_lines(verdict, place - 0.25, place + 0.25, of=(name,))]
    return held[0] if held else None
