"""What the checks of a gauge against its master have gone through: a series a gauge, judged by the detector.

A check inside its tolerance says that the gauge may be used today; only the run of checks says that it has
begun to read high, to creep or to scatter, long before one lies outside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from qc.plan import Gauge
from qc.stats import DetectorSignal, Stretch, detect_many
from qc.words import day_words, quantity_words

CHECK_RATE: Final = 0.0005
"""False signals a check (chosen): five gauges checked daily then cry wolf about once in eighteen months."""

STEPS_OFF: Final = 0.5
"""So many steps off its master a gauge counts as moved (chosen): less than half a step reads as none."""

LASTING: Final = ("shift", "trend")
AGAIN: Final = (
    "Check {} on its master again, by another person, with gauge and master clean and as warm as the room."
)
CAUSE: Final = (
    "If it repeats, look for what happened then (a fall, a worn contact, another master, a new battery) "
    "and zero it."
)
WATCH: Final = (
    "Until its checks stay at their master, check it before and after work, and use another gauge for pieces "
    "near a limit."
)


@dataclass(frozen=True, slots=True)
class MasterCheck:
    """One check: its day and the reading less the master."""

    day: date
    value: float  # unit of the gauge


@dataclass(frozen=True, slots=True)
class GaugeChange:
    """A change in the checks of a gauge.

    Attributes
    ----------
    kind : str
        `shift`, `trend`, `spread` or `single`, as the detector has them.
    since, told : date
        First day of the changed stretch (best estimate), and the day whose check told it.
    before, now : float
        Mean of the checks before it and since; of a trend the newest end of the climb. [unit of the gauge]
    stands : bool
        Whether the gauge is still further from its master, or scatters more, than before the change.
    """

    kind: str
    since: date
    told: date
    before: float
    now: float
    stands: bool


def gauge_changes(
    gauges: Sequence[Gauge], checks: Mapping[str, Sequence[MasterCheck]], today: date
) -> dict[str, tuple[GaugeChange, ...]]:
    """Return what changed in the checks of each gauge since it was last calibrated, oldest first.

    Parameters
    ----------
    gauges : sequence of Gauge
        Gauges of the plan.
    checks : mapping of gauge id to sequence of MasterCheck
        Checks of each in order of time.
    today : date
        Calibrations after it do not count. A calibration sets a gauge anew, so its series begins there.

    References
    ----------
    .. [1] The change-point detector of `qc.stats.change` at `CHECK_RATE` a check, all kinds together; the
       step of the gauge is allowed for.

    Examples
    --------
    >>> ring = Gauge(id="G-1", name="Bore gauge", gauge_class="bore-gauge", resolution=0.001, unit="mm")
    >>> read = [0.0, 0.001, 0.0, -0.001, 0.0, 0.001, -0.001, 0.0, 0.001, 0.0, 0.003, 0.004, 0.003, 0.004]
    >>> own = [MasterCheck(date(2026, 3, n + 2), value) for n, value in enumerate(read)]
    >>> (change,) = gauge_changes([ring], {"G-1": own}, date(2026, 3, 20))["G-1"]
    >>> change.kind, change.since, change.stands
    ('shift', datetime.date(2026, 3, 12), True)
    """
    judged = []
    for gauge in gauges:
        calibrated = max((day for day in gauge.calibrated if day <= today), default=date.min)
        own = [check for check in checks.get(gauge.id, ()) if check.day >= calibrated]
        if own:
            judged.append((gauge, own))
    # in steps of its own, so that one pass judges them all
    steps = [[check.value / gauge.resolution for check in own] for gauge, own in judged]
    found = detect_many(steps, false_alarm_rate=CHECK_RATE, resolution=1.0)
    return {
        gauge.id: tuple(_change(gauge, own, signal, detection.stretches) for signal in detection.signals)
        for (gauge, own), detection in zip(judged, found, strict=True)
    }


def standing_change(changes: Sequence[GaugeChange]) -> GaugeChange | None:
    """Return the newest change that still stands, None where the gauge reads as it did."""
    return next((change for change in reversed(changes) if change.stands), None)


def gauge_moved_sentence(gauge: Gauge, change: GaugeChange, today: date) -> str:
    """Say what changed in the checks of a gauge, since when, and that its tolerance did not show it.

    Examples
    --------
    >>> ring = Gauge(id="G-1", name="Bore gauge", gauge_class="bore-gauge", resolution=0.001, unit="mm",
    ...              check_tolerance=0.005)
    >>> change = GaugeChange("shift", date(2026, 3, 12), date(2026, 3, 13), 0.0001, 0.0035, True)
    >>> gauge_moved_sentence(ring, change, date(2026, 3, 20))
    'Its checks read +3.5 µm off its master since 12 Mar, +0.1 µm before.'
    """
    since = day_words(change.since, today)
    now, before = (_signed(value, gauge) for value in (change.now, change.before))
    if change.kind == "single":
        return (
            f"Its check of {since} reads {now} off its master and stands apart from those before ({before})."
        )
    if change.kind == "spread":
        return f"Its checks scatter more since {since}."
    if change.kind == "trend":
        return f"Its checks creep since {since}: from {before} to {now} off its master."
    return f"Its checks read {now} off its master since {since}, {before} before."


def gauge_moved_steps(gauge: str) -> tuple[str, ...]:
    """Return what to do about a gauge whose checks changed.

    Examples
    --------
    >>> gauge_moved_steps("G-1")[0]
    'Check G-1 on its master again, by another person, with gauge and master clean and as warm as the room.'
    """
    return (AGAIN.format(gauge), CAUSE, WATCH)


def _change(
    gauge: Gauge, checks: Sequence[MasterCheck], signal: DetectorSignal, stretches: Sequence[Stretch]
) -> GaugeChange:
    """Put a signal of the detector, in steps, back on the scale of the gauge."""
    start, newest = signal.start, len(checks)
    here = next(at for at, stretch in enumerate(stretches) if stretch.first <= start <= stretch.last)
    own = stretches[here]
    if signal.kind == "single":
        now, before = checks[start - 1].value / gauge.resolution, own.mean
        stands = start == newest
    else:
        before = stretches[here - 1].mean if here and own.first == start else own.mean - signal.size / 2.0
        now = before + signal.size if signal.kind == "trend" else own.mean
        stands = own.last == newest
    off = abs(now) >= STEPS_OFF and abs(now) > abs(before)
    grows = signal.kind == "spread" and signal.size > 0.0
    return GaugeChange(
        signal.kind,
        checks[start - 1].day,
        checks[signal.point - 1].day,
        before * gauge.resolution,
        now * gauge.resolution,
        stands and (grows or (off and signal.kind != "spread")),
    )


def _signed(value: float, gauge: Gauge) -> str:
    """Write a mean of checks to a tenth of a step: more digits than that it does not have."""
    tenth = gauge.resolution / 10.0
    tenths = round(value / tenth)
    sign = "+" if tenths > 0 else "−" if tenths < 0 else ""
    return f"{sign}{quantity_words(abs(tenths) * tenth, gauge.unit)}" if tenths else "0"
