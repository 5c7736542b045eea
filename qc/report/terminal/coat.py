"""Lacquer as a person reads it: where it is thin and what to do first, then the areas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qc.report.terminal.columns import block, figures
from qc.trade import AreaThickness, HouseRule


def coat_text(
    areas: Sequence[AreaThickness],
    rules: Mapping[str, HouseRule],
    passes: Mapping[str, bool],
    lower_um: float,
    capability: tuple[float | None, tuple[float, float] | None],
    base_drift_um: float | None,
    cautions: Sequence[str],
) -> str:
    """Say what a lacquer sheet holds.

    Parameters
    ----------
    areas : sequence of AreaThickness
    rules : mapping of serial to HouseRule
    passes : mapping of area to bool
        Whether the house rule holds for the instruments with this area.
    lower_um : float
        Lower limit. [um]
    capability : (float or None, (float, float) or None)
        At the lower limit, with its interval.
    base_drift_um : float or None
        How far the bare-metal reading moved. [um]
    cautions : sequence of str
    """
    rows = [("area", "spots", "mean um", "least", "below", "  house rule")]
    for area in areas:
        mean, least = f"{area.mean:.1f}", f"{area.least:.1f}"
        verdict = "  pass" if passes[area.area] else "  fail"
        rows.append((area.area, str(area.n), mean, least, str(area.below_nominal), verdict))
    lines = [_first(areas, rules, lower_um), "", *figures(rows, "<>>>><")]
    cpl, interval = capability
    if cpl is not None and interval is not None:
        lines.append(
            f"Capability at the lower limit {cpl:.2f} ({interval[0]:.2f} to {interval[1]:.2f}, 95 %)"
        )
    if base_drift_um is not None:
        lines.append(f"Bare-metal reading moved by {base_drift_um:+.1f} um")
    return "\n".join(lines + block("Cautions", cautions))


def _first(areas: Sequence[AreaThickness], rules: Mapping[str, HouseRule], lower_um: float) -> str:
    thinnest = min(areas, key=lambda area: area.least)
    if thinnest.least < lower_um:
        return (
            f"{thinnest.area} is too thin: least spot {thinnest.least:.1f} um, limit {lower_um:g} um; "
            "measure it again, then strip and spray again"
        )
    if not all(rule.passes for rule in rules.values()):
        return f"House rule failed, though no spot is below the limit; thinnest is {thinnest.area}"
    return f"Thick enough everywhere; thinnest is {thinnest.area}, {thinnest.least:.1f} um"
