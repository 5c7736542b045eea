"""What is planted, in a form that tests can read: ``planted.yaml``."""

from __future__ import annotations

from collections.abc import Mapping

from sample_measurements.make import scenario
from sample_measurements.make.draw import off_its_line_mm, outside_mm
from sample_measurements.make.flow import Flow, Piece, batch_name
from sample_measurements.make.mishaps import Mishap

Truth = dict[str, object]


def planted(flow: Flow, mishaps: list[Mishap], seed: int) -> Truth:
    """Return the planted troubles, the quiet series and the mishaps as plain values."""
    return {
        "seed": seed,
        "today": "2026-11-24",
        "last_sheet": scenario.LAST_DAY.isoformat(),
        "changes": [_wear(flow), _nozzle(flow), _gauge(flow), _mandrel(flow), _leadpipe(flow)],
        "die_change": _die_change(flow),
        "quiet": {
            "series": "polish/mass_loss/tenor",
            "why": "independent draws of one mean and spread that look bad",
        },
        "mishaps": [mishap.to_dict() for mishap in mishaps],
    }


def _change(
    series: str, kind: str, size: float, unit: str, serials: list[str], day: str, **more: object
) -> Truth:
    return {
        "series": series,
        "kind": kind,
        "first_serial": serials[0],
        "first_day": day,
        "pieces": len(serials),
        "size": size,
        "unit": unit,
        **more,
    }


def _wear(flow: Flow) -> Truth:
    """Tell the die's break from its line: what must be found, and the line it is to be found against."""
    own = [tube for tube in flow.tubes if tube.die == scenario.WEARING_DIE]
    late = [tube for tube in own if tube.draws > scenario.WORN_THROUGH_DRAW]
    slope = scenario.DIES["tenor"][1][3]
    upper = scenario.TUBE_SIZES["tenor"][0] + 0.030
    return _change(
        "draw/tube_od/tenor",
        "trend",
        round(off_its_line_mm(own[-1]), 4),
        "mm",
        [tube.serial for tube in late],
        late[0].day.isoformat(),
        suspect={"kind": "tool", "name": scenario.WEARING_DIE},
        worn_through_at_draw=scenario.WORN_THROUGH_DRAW,
        slope_per_100=round(100 * slope, 4),
        slope_per_100_since=round(100 * (slope + scenario.BARE_STEEL_MM), 4),
        count_now=own[-1].draws,
        mean_now=round(outside_mm(own[-1]), 4),
        limit=upper,
    )


def _die_change(flow: Flow) -> Truth:
    first = next(tube for tube in flow.tubes if tube.die == scenario.WEARING_DIE)
    before = [tube for tube in flow.tubes if tube.die == "D-21"][-1]
    return {
        "series": "draw/tube_od/tenor",
        "fitted": scenario.DIE_CHANGE.isoformat(),
        "first_serial": first.serial,
        "before": before.die,
        "now": first.die,
        "draws_at_change": before.draws,
    }


def _nozzle(flow: Flow) -> Truth:
    own = [piece for piece in flow.at("lacquer") if piece.nozzle == scenario.NEW_NOZZLE]
    suspect = {"kind": "tool", "name": scenario.NEW_NOZZLE, "before": scenario.OLD_NOZZLE}
    return _shift("lacquer/thickness/all", scenario.NOZZLE_UM, "um", own, suspect)


def _gauge(flow: Flow) -> Truth:
    own = [piece for piece in flow.at("slide") if piece.days["slide"] >= flow.gauge_day]
    suspect = {"kind": "gauge-check", "name": scenario.UNZEROED_GAUGE}
    found = _shift("slide/clearance/all", 1000 * scenario.UNZEROED_MM, "um", own, suspect)
    return found | {"no_check_since": flow.gauge_day.isoformat(), "working_days": scenario.UNZEROED_DAYS}


def _mandrel(flow: Flow) -> Truth:
    own = [piece for piece in flow.at("tuning") if piece.mandrel == scenario.NEW_MANDREL]
    suspect = {"kind": "tool", "name": scenario.NEW_MANDREL, "before": scenario.OLD_MANDREL}
    found = _shift("tuning/wrap_f/all", scenario.MANDREL_MM, "mm", own, suspect)
    return found | {"fitted": flow.mandrel_day.isoformat()}


def _leadpipe(flow: Flow) -> Truth:
    name = batch_name(scenario.LEADPIPE_NEWEST)
    own = [piece for piece in flow.at("tuning") if piece.leadpipe_batch == name]
    suspect = {"kind": "batch", "name": name, "before": batch_name(scenario.LEADPIPE_NEWEST - 1)}
    return _shift("tuning/partial_5/all", scenario.LEADPIPE_CENTS, "cent", own, suspect)


def _shift(series: str, size: float, unit: str, own: list[Piece], suspect: Mapping[str, str]) -> Truth:
    """Tell a level that changed with the first of its `own` pieces."""
    serials, day = [piece.serial for piece in own], own[0].days[series.partition("/")[0]]
    return _change(series, "shift", size, unit, serials, day.isoformat(), suspect=suspect)
