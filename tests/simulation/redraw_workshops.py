"""Draw the sample workshop anew with other seeds and count what the whole pipeline finds in each.

    python tests/simulation/redraw_workshops.py [--seeds 2 3 ...] [--json FILE]

Every workshop is made by `python -m sample_measurements.make --seed N`, uploaded as a bench would, judged.
Counted are the planted changes found with their start within two pieces and the right suspect first, the die
whose wear quickens by the same rule as the steps, and the signals raised anywhere else, against what the
budget allows.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import yaml

from qc.jobs.judging.kept import load_verdicts
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.watch import DAYS_PER_MONTH, SeriesVerdict, SignalResult
from sample_measurements.make import make_workshop

SEEDS = tuple(range(52, 62))
WITHIN = 2
"""Pieces that the estimated start of a change may lie off."""


@dataclass(frozen=True)
class Score:
    """What was found in one workshop."""

    seed: int
    planted: int
    located: int  # start within two pieces, still open
    explained: int  # of these, the right suspect first
    off: dict[str, int | None]  # pieces from the planted start to the one told nearest to it, by series
    missed: tuple[str, ...]
    false_signals: int  # raised in any series, planted ones of the changed series aside
    allowed: float  # by the budget, over the months judged
    drifting_beside: int  # series that drift although nothing was planted in them


def score_workshop(seed: int, folder: Path) -> Score:
    """Draw, upload and judge one workshop."""
    make_workshop(folder / "drawn", seed)
    shop = folder / "shop"
    shop.mkdir()
    (shop / "plan.yaml").write_bytes((folder / "drawn" / "plan.yaml").read_bytes())
    planted = yaml.safe_load((folder / "drawn" / "planted.yaml").read_text("utf-8"))
    workshop = open_workshop(shop)
    try:
        files = sorted(p for p in (folder / "drawn").rglob("*") if p.suffix in {".csv", ".xlsx"})
        upload(workshop, [(p.name, p.read_bytes()) for p in files], in_words=False)
        verdicts = {str(v.key): v for v in load_verdicts(workshop)}
    finally:
        workshop.store.close()
    return _score(seed, planted, verdicts, workshop.plan.workshop.false_signals_per_month)


def _score(seed: int, planted: dict[str, Any], verdicts: dict[str, SeriesVerdict], per_month: float) -> Score:
    found = {p["series"]: _found(p, verdicts[p["series"]]) for p in planted["changes"]}
    located = [p for p in planted["changes"] if found[p["series"]] is not None]
    explained = [p for p in located if _right(p, found[p["series"]])]
    named = {p["series"] for p in explained}
    days = [point.day for v in verdicts.values() for point in v.points]
    months = ((max(days) - min(days)).days + 1) / DAYS_PER_MONTH
    raised = sum(len(v.signals) for v in verdicts.values())
    moved = {key for key, v in verdicts.items() if v.behaviour == "drifting"}
    return Score(
        seed=seed,
        planted=len(planted["changes"]),
        located=len(located),
        explained=len(explained),
        off={p["series"]: _off(p, verdicts[p["series"]]) for p in planted["changes"]},
        missed=tuple(p["series"] for p in planted["changes"] if p["series"] not in named),
        false_signals=raised - sum(signal is not None for signal in found.values()),
        allowed=per_month * months,
        drifting_beside=len(moved - set(found)),
    )


def _found(planted: dict[str, Any], verdict: SeriesVerdict) -> SignalResult | None:
    """Return the lasting signal that begins where the change was planted."""
    begin = _begin(planted, verdict)
    if begin is None or verdict.behaviour != "drifting":
        return None
    near = [s for s in _lasting(planted, verdict) if abs(s.start - begin) <= WITHIN]
    return near[0] if near else None


def _off(planted: dict[str, Any], verdict: SeriesVerdict) -> int | None:
    """Return how many pieces late the nearest start was told; None where no change of that side lasts."""
    begin = _begin(planted, verdict)
    late = [] if begin is None else [s.start - begin for s in _lasting(planted, verdict)]
    return min(late, key=abs, default=None)


def _begin(planted: dict[str, Any], verdict: SeriesVerdict) -> int | None:
    serials = [p.serial for p in verdict.points]
    first = planted["first_serial"]
    return serials.index(first) + 1 if first in serials else None


def _lasting(planted: dict[str, Any], verdict: SeriesVerdict) -> list[SignalResult]:
    return [
        s
        for s in verdict.signals
        if s.ended is None
        and s.kind != "single"
        and s.size is not None
        and (s.size > 0) == (planted["size"] > 0)
    ]


def _right(planted: dict[str, Any], signal: SignalResult | None) -> bool:
    if signal is None or not signal.suspects:
        return False
    first = signal.suspects[0]
    return (first.kind, first.name) == (planted["suspect"]["kind"], planted["suspect"]["name"])


def main(arguments: list[str] | None = None) -> int:
    """Score the workshops asked for and print a table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seeds", type=int, nargs="+", default=list(SEEDS))
    parser.add_argument("--json", type=Path, default=None, help="write the scores there")
    chosen = parser.parse_args(arguments)
    scores = []
    for seed in chosen.seeds:
        with tempfile.TemporaryDirectory() as place:
            scores.append(score_workshop(seed, Path(place)))
        sys.stdout.write(f"{_line(scores[-1])}\n")
        sys.stdout.flush()
    sys.stdout.write(f"{_sum(scores)}\n")
    if chosen.json is not None:
        chosen.json.write_text(json.dumps([asdict(s) for s in scores], indent=1), "utf-8")
    return 0


def _line(score: Score) -> str:
    missed = [f"{series} ({_off_words(score.off[series])})" for series in score.missed]
    return (
        f"seed {score.seed}: {score.located} of {score.planted} located, {score.explained} with the right "
        f"suspect first, {score.false_signals} false signals ({score.allowed:.1f} allowed), "
        f"{score.drifting_beside} other series drifting{'; not: ' if missed else ''}{', '.join(missed)}"
    )


def _off_words(off: int | None) -> str:
    return "not told" if off is None else f"start {off:+d} pieces"


def _sum(scores: list[Score]) -> str:
    whole = sum(s.explained == s.planted for s in scores)
    return (
        f"{len(scores)} workshops: {sum(s.located for s in scores)} of {sum(s.planted for s in scores)} "
        f"changes located, {sum(s.explained for s in scores)} with the right suspect first; all of them in "
        f"{whole} workshops; {sum(s.false_signals for s in scores)} false signals, "
        f"{sum(s.allowed for s in scores):.0f} allowed"
    )


if __name__ == "__main__":
    raise SystemExit(main())
