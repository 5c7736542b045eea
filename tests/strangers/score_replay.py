"""Let a stranger's workshop live through its days, and keep what was told of it, with the truth beside it.

One workshop at a time, in this process: each day's sheets are taken in at once and judged once, as a lead
would who collects them in the evening. What a day told first is kept as it was told. Looks at how things
stood after so many pieces are judged as of that day, in the same way for shops that hand in by the day, by
the week or all at once.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import shutil
import sys
import time
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from types import ModuleType
from unittest import mock

from score_truth import Json, TrueChange, changes_of, corrected_serials, key_of, worse_side_ppk

import qc
from qc import clock
from qc.ingest import warm_up
from qc.jobs.judging import judge_now
from qc.jobs.judging.rates import rates_of_points
from qc.jobs.upload import upload
from qc.jobs.workshop import PLAN, Workshop, open_workshop
from qc.store import signal_id
from qc.watch import SeriesVerdict, SignalResult, verdict_from
from qc.watch.causes.open_questions import TIED

HERE = Path(__file__).resolve().parent
LOOKS_AFTER = (20, 40)
"""Pieces made since a change began (its first one included) after which its kind is looked at."""
CAPABLE_AT = (25, 60)
"""Unchanged pieces after which the answer about the limits is looked at, besides the end."""
UNJUDGED = 3
"""The detector speaks from the fourth piece on: the first three cannot raise anything."""

Say = Callable[[str], None]


def makers() -> dict[str, Path]:
    """Return the strangers that there are, by name."""
    return {file.parent.name: file for file in sorted(HERE.glob("*/make.py"))}


def program_of() -> str:
    """Return what tells one state of the program from another: a hash of all its files."""
    root, digest = Path(qc.__file__).parent, hashlib.sha256()
    for file in sorted(p for p in root.rglob("*") if p.suffix in {".py", ".csv", ".npz", ".yaml"}):
        digest.update(f"{file.relative_to(root)}\n".encode() + file.read_bytes())
    return digest.hexdigest()[:12]


def live_through(name: str, seed: int, months: int | None, folder: Path, say: Say = lambda _: None) -> Json:
    """Make a stranger's workshop, hand it in day by day, and set what was told beside the truth.

    Parameters
    ----------
    name : str
        One of `makers`.
    seed : int
        Which workshop of this maker.
    months : int or None
        How long; None for the maker's own length.
    folder : Path
        Where it is made; what lies there is removed first.
    say : callable
        Told how far it has come.

    Returns
    -------
    dict
        Plain values: what `score_tally` counts.
    """
    began = time.monotonic()
    shutil.rmtree(folder, ignore_errors=True)
    given, shop = folder / "given", folder / "shop"
    shop.mkdir(parents=True)
    _load(makers()[name]).make(given, seed, **({} if months is None else {"months": months}))
    shutil.copyfile(given / "plan.yaml", shop / PLAN)
    truth: Json = json.loads((given / "truth.json").read_text("utf-8"))
    made = time.monotonic()
    warm_up()
    days = sorted(date.fromisoformat(place.name) for place in (given / "hand_in").iterdir())
    with _dated_back(days[0]):
        workshop = open_workshop(shop, as_of=days[0])
    try:
        told, rows = _hand_in(workshop, given / "hand_in", days, lambda what: say(f"{name} {seed}: {what}"))
        lived = time.monotonic()
        say(f"{name} {seed}: looking back")
        last = replace(workshop, today=days[-1])
        series = [_record(last, one, told) for one in truth["series"]]
        held = _held(workshop, corrected_serials(truth))
    finally:
        workshop.store.close()
    ended = time.monotonic()
    return {
        "workshop": name,
        "seed": seed,
        "months": truth["months"],
        "habit": truth.get("habit", ""),
        "program": program_of(),
        "wanted": workshop.plan.workshop.wanted_ppk,
        "seconds": {"making": made - began, "living": lived - made, "looking": ended - lived},
        "days": len(days),
        "rows": {**rows, **held},
        "series": series,
    }


def _load(file: Path) -> ModuleType:
    """Load a maker under a name of its own: each is a `make.py`."""
    spec = importlib.util.spec_from_file_location(f"{file.parent.name}_make", file)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@contextmanager
def _dated_back(day: date) -> Iterator[None]:
    """Let the workshop be founded on its first day: its plan is no later entry than its first sheets."""
    kept = clock.moment

    def moment(zone: str, as_of: date | None = None) -> datetime:
        return kept(zone, as_of or day)

    with mock.patch.object(clock, "moment", moment):
        yield


def _hand_in(
    workshop: Workshop, folder: Path, days: Sequence[date], say: Say
) -> tuple[dict[str, list[Json]], Json]:
    """Take in every day's sheets; return each series' signals as first told, and what became of the rows."""
    told: dict[str, list[Json]] = {}
    sums: Counter[str] = Counter()
    reasons: Counter[str] = Counter()
    refused: list[str] = []
    zone = workshop.plan.workshop.time_zone
    for number, day in enumerate(days, 1):
        if number % 10 == 1 or number == len(days):
            say(f"day {number} of {len(days)}")
        files = sorted(p for p in (folder / day.isoformat()).iterdir() if p.is_file())
        today = replace(workshop, today=day, now=clock.moment(zone, day))
        receipt = upload(today, [(file.name, file.read_bytes()) for file in files], who="")
        refused += receipt.refused
        for sheet in receipt.sheets:
            for name in ("rows", "accepted", "held", "already_known"):
                sums[name] += getattr(sheet.count, name)
            reasons.update(sheet.count.reasons)
        fresh: dict[str, set[str]] = {}
        for raised in receipt.raised:
            fresh.setdefault(raised["series"], set()).add(raised["id"])
        _keep_told(workshop, fresh, day, told)
    return told, {**sums, "reasons": dict(reasons), "refused": refused}


def _keep_told(
    workshop: Workshop, fresh: Mapping[str, set[str]], day: date, told: dict[str, list[Json]]
) -> None:
    """Keep signals as a day told them; one at a piece charted before is a later retelling of the past."""
    if not fresh:
        return
    store, wanted = workshop.store, workshop.plan.workshop.wanted_ppk
    earlier = store.verdicts(day - timedelta(days=1), series=list(fresh))
    before = {one.series: set(one.serials) for one in earlier}
    for record in store.verdicts(series=list(fresh)):
        verdict = verdict_from(record.plain, wanted)
        for signal in verdict.signals:
            if signal_id(record.series, signal.kind, signal.raised_serial) in fresh[record.series]:
                retold = signal.raised_serial in before.get(record.series, ())
                one = {**plain_signal(verdict, signal), "day": day.isoformat(), "retold": retold}
                told.setdefault(record.series, []).append(one)


def plain_signal(verdict: SeriesVerdict, signal: SignalResult) -> Json:
    """Return what is scored of a signal, its pieces by serial: places move when late cards come in."""
    serial = {point.ordinal: point.serial for point in verdict.points}
    return {
        "kind": signal.kind,
        "side": signal.side,
        "raised": signal.raised_serial,
        "start": signal.start_serial,
        "low": serial[signal.start_low],
        "high": serial[signal.start_high],
        "size": [signal.size_low, signal.size, signal.size_high],
        "ended": signal.ended is not None,
        "suspects": [{"kind": s.kind, "name": s.name, "day": _iso(s.day)} for s in signal.suspects],
        "unchanged": list(signal.unchanged),
        "tied": TIED in signal.because,
    }


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _record(workshop: Workshop, truth: Json, told: Mapping[str, list[Json]]) -> Json:
    """Judge one series by its last day and on the days asked about, and set it beside the truth."""
    key = key_of(truth, workshop.plan)

    def look(day: date) -> SeriesVerdict | None:
        found = judge_now(replace(workshop, today=day), {str(key)}, keep=False).verdicts
        return found[0] if found else None

    verdict = look(workshop.today) if key is not None else None
    if key is None or verdict is None:
        return set_beside(truth, None, [], [], look)
    days = [point.day for point in verdict.points]
    rates = rates_of_points(workshop, {key: days}, keep=False)[key]
    return {**set_beside(truth, verdict, rates, told.get(key, []), look), "key": key}


def set_beside(
    truth: Json,
    verdict: SeriesVerdict | None,
    rates: Sequence[float],
    told: list[Json],
    look: Callable[[date], SeriesVerdict | None],
) -> Json:
    """Set what was told of one series beside the truth about it.

    Parameters
    ----------
    truth : dict
        One of the `series` of `truth.json`.
    verdict : SeriesVerdict or None
        At the end; None where the workshop charts no such series.
    rates : sequence of float
        Chance of a false signal of each point of the verdict.
    told : list of dict
        Its signals as first told.
    look : callable
        Gives the verdict as of a day.
    """
    named = {name: truth[name] for name in ("stage", "characteristic", "model", "noise", "sd", "pieces")}
    if verdict is None or not verdict.points:
        return {**named, "points": [], "changes": [], "lost": len(truth["changes"])}
    serials, days = [p.serial for p in verdict.points], [p.day for p in verdict.points]
    changes, lost = changes_of(truth, serials)
    settled = changes[0].first - 1 if changes else len(serials)
    return {
        **named,
        "ppk": truth["true_ppk"],
        "ppk_worse_side": worse_side_ppk(truth),
        "points": serials,
        "days": [day.isoformat() for day in days],
        "lost": lost,
        "settled": settled,
        "expected": sum(rates[UNJUDGED:settled]),
        "changes": [{**asdict(one), "looks": _looks(look, one, days)} for one in changes],
        "told": told,
        "end": {
            "behaviour": verdict.behaviour,
            "signals": [plain_signal(verdict, s) for s in verdict.signals],
        },
        "capable": list(_capable(look, days, settled)) if truth["true_ppk"] is not None else [],
    }


def _looks(look: Callable[[date], SeriesVerdict | None], change: TrueChange, days: Sequence[date]) -> Json:
    """Return the signals as they stood after so many pieces of a change, where so many were made."""
    found: Json = {}
    for pieces in LOOKS_AFTER:
        at = change.first + pieces - 2
        verdict = look(days[at]) if at < len(days) else None
        if verdict is not None:
            found[str(pieces)] = [plain_signal(verdict, signal) for signal in verdict.signals]
    return found


def _capable(
    look: Callable[[date], SeriesVerdict | None], days: Sequence[date], settled: int
) -> Iterator[Json]:
    """Give the answers about the limits while nothing had changed."""
    ordered = sorted(days)
    moments = {ordered[count - 1] for count in CAPABLE_AT if count <= settled}
    if settled == len(days):
        moments.add(ordered[-1])
    for day in sorted(moments):
        # what was made on that day after a change began would speak of the change
        if bisect_right(ordered, day) > settled:
            continue
        verdict = look(day)
        if verdict is not None:
            yield {
                "rests_on": verdict.rests_on,
                "pieces": verdict.pieces,
                "answer": verdict.capable,
                "low": verdict.ppk_low,
                "high": verdict.ppk_high,
            }


def _held(workshop: Workshop, corrected: set[str]) -> Json:
    """Tell the held rows of corrected cards, which are to be held, from the others."""
    rows = workshop.store.held(open_only=False)
    meant = sum(row.as_typed().get("serial") in corrected for row in rows)
    return {"held_rows": len(rows), "meant": meant}
