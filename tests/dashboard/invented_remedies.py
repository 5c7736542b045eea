"""Invented answers about remedies: a long F wrap, a rack with a tube too many, two dies, a thin bell."""

from datetime import date

import polars as pl

from qc.errors import QcError
from qc.jobs.board.remedies import DiesView, LacquerView, RackView, Sitting, TuningView
from qc.jobs.remedies import coat, pair, tune, wear
from qc.trade import Instrument, Valve

TENOR = Instrument(2944.9, (Valve("F", 986.1),))
NATURAL = {2: 0, 3: 2, 4: 0, 5: -14, 6: 2, 8: 0}


def notes(sitting, flat, testers=("RA",)):
    """Four readings of each note of a tenor whose F side is so many cents flat."""
    return [
        {"partial": n, "position": 1, "valve": valve, "tester": who, "sitting": sitting,
         "cents": NATURAL[n] + (flat if valve else 0) + wander}
        for who in testers for valve in ("", "F") for n in NATURAL for wander in (-1, 1)
    ]  # fmt: skip


def rack():
    inners = [("IN-1", 13.900), ("IN-2", 13.905), ("IN-3", 13.894)]
    outers = [("OU-1", 14.052, 14.040), ("OU-2", 14.060, 14.060)]
    inner = pl.DataFrame([{"tube": n, "leg": "upper", "station": "mouth", "od_mm": d} for n, d in inners])
    outer = pl.DataFrame(
        [
            {"tube": n, "leg": "upper", "station": s, "id_mm": d}
            for n, *ends in outers
            for s, d in zip(("mouth", "crook"), ends, strict=True)
        ]
    )
    return inner, outer


class InventedRemedies:
    """Answers as `RemedyAnswers` does, from frames instead of a store."""

    def pieces(self, figure):
        return ("TQ-0442", "TQ-0410")

    def for_piece(self, serial):
        return ("tuning", "lacquer") if serial == "TQ-0442" else ()

    def for_series(self, key):
        return {"tuning": "tuning", "polish": "", "draw": "dies", "lacquer": "lacquer"}.get(key.stage, "rack")

    def tuning(self, serial, asked=None):
        if serial != "TQ-0442":
            return TuningView(serial, problem=f"{serial} (tuning): the store holds no readings.")
        old, new = notes("2026-05-04", -14), notes("2026-06-01", -7)
        more = {}
        if asked is not None and asked.since:
            more = {"before": pl.DataFrame(old), "changed": f"{asked.part}={asked.mm}"}
        result = tune(pl.DataFrame(new if more else old + new), TENOR, **more)
        sittings = tuple(
            Sitting(day, 24, abs(flat) / 2, tune(pl.DataFrame(notes(day, flat)), TENOR).places)
            for day, flat in (("2026-05-04", -14), ("2026-06-01", -7))
        )
        return TuningView(serial, "Tenor", result, "", sittings, ("F", "D"))

    def rack(self, locked=()):
        try:
            result = pair(*rack(), target_um=150, lower_um=100, upper_um=200, locked=locked)
        except QcError as error:
            return (RackView(problem=str(error)),)
        return (RackView("", result),)

    def dies(self):
        rows = [
            {"tool": "D-1", "draws": x, "od": 14.60 + 2e-5 * x + 2e-4 * (x % 3)} for x in range(0, 300, 20)
        ]
        rows += [{"tool": "D-2", "draws": x, "od": 14.60} for x in (0, 10)]
        found = wear(
            pl.DataFrame(rows), value="od", against="draws", tool="tool", upper=14.612, per_week=70,
            as_of=date(2026, 6, 8),
        )  # fmt: skip
        return DiesView((("Tube OD", "mm", found),))

    def lacquer(self, serial):
        if serial != "TQ-0442":
            return LacquerView(serial, problem=f"{serial} (lacquer): the store holds no readings.")
        spots = {("bell flare", "1"): 16, ("bell flare", "2"): 9, ("outer slide", "1"): 15, ("key", "1"): 14}
        table = pl.DataFrame([{"area": a, "spot": s, "um": um} for (a, s), um in spots.items()])
        return LacquerView(serial, coat(table, nominal_um=15, lower_um=10))
