"""What the checks of a gauge against its master have gone through: a series a gauge, judged by the detector.

A check inside its tolerance says that the gauge may be used today; only the run of checks says that it has
begun to read high, to creep or to scatter, long before one lies outside. Checks at zero and checks on a ring
are lines of their own: which of the two moved says whether to wipe and zero the gauge or to send it away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Final

from qc.plan import Gauge
from qc.stats import Detection, DetectorSignal, Stretch, detect_many
from qc.watch.gauges.masters import MasterCheck, Moved, lines_of, masters_words, moved_together
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
APART: Final = "Check {} at zero and on its ring, and write which was which: it tells what moved."
BY_PART: Final[dict[Moved, str]] = {
    "zero": "Wipe its faces and its master, zero it, and put it on its ring again: both moved alike.",
    "ring": (
        "Zeroing does not mend it, for it is right at zero: put it on another ring to tell gauge from ring, "
        "then have the one that is off calibrated."
    ),
    "both": (
        "Wipe and zero it first and put it on its ring again: what is left there is not its zero, have it "
        "calibrated."
    ),
}
BESIDE: Final[dict[Moved, str]] = {
    "": "",
    "zero": " Zero and ring moved together.",
    "ring": " Its zero did not move.",
    "both": " Zero and ring moved apart.",
}
WATCH: Final = (
    "Until its checks stay at their master, check it before and after work, and use another gauge for pieces "
    "near a limit."
)


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
    master : str
        What the checks were made on: as written on the card, empty where it does not say.
    moved : "" | "zero" | "ring" | "both"
        What moved, by the checks at zero and on a ring beside each other: "zero" where both moved by the
        same; empty where only one of them is checked, or where their scatter cannot tell.
    """

    kind: str
    since: date
    told: date
    before: float
    now: float
    stands: bool
    master: str = ""
    moved: Moved = ""


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
    judged: list[tuple[Gauge, dict[str, list[MasterCheck]], str]] = []
    for gauge in gauges:
        calibrated = max((day for day in gauge.calibrated if day <= today), default=date.min)
        lines = lines_of(check for check in checks.get(gauge.id, ()) if check.day >= calibrated)
        judged += [(gauge, lines, master) for master in lines]
    # in steps of its own, so that one pass judges them all
    found = _detected(
        tuple(
            tuple(check.value / gauge.resolution for check in lines[master])
            for gauge, lines, master in judged
        )
    )
    told: dict[str, list[GaugeChange]] = {}
    for (gauge, lines, master), detection in zip(judged, found, strict=True):
        own = told.setdefault(gauge.id, [])
        for signal in detection.signals:
            change = _change(gauge, lines[master], signal, detection.stretches)
            part = moved_together(lines, master, change.since, gauge.resolution)
            own.append(replace(change, master=master, moved=part if change.kind in LASTING else ""))
    return {name: tuple(sorted(own, key=lambda one: one.told)) for name, own in told.items()}


@lru_cache(maxsize=4)
def _detected(steps: tuple[tuple[float, ...], ...]) -> tuple[Detection, ...]:
    """Judge series of checks; the status, the list to hold and each page ask about the same ones."""
    return tuple(detect_many(steps, false_alarm_rate=CHECK_RATE, resolution=1.0))


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
    where = masters_words(change.master)
    if change.kind == "single":
        return (
            f"Its check{where} of {since} reads {now} off its master and stands apart from those before "
            f"({before})."
        )
    if change.kind == "spread":
        return f"Its checks{where} scatter more since {since}."
    beside = BESIDE[change.moved]
    if change.kind == "trend":
        return f"Its checks{where} creep since {since}: from {before} to {now} off its master.{beside}"
    return f"Its checks{where} read {now} off its master since {since}, {before} before.{beside}"


def gauge_moved_steps(gauge: str, change: GaugeChange | None = None) -> tuple[str, ...]:
    """Return what to do about a gauge whose checks changed; by its zero and its ring where both are checked.

    Examples
    --------
    >>> gauge_moved_steps("G-1")[0]
    'Check G-1 on its master again, by another person, with gauge and master clean and as warm as the room.'
    """
    if change is not None and change.moved:
        return (AGAIN.format(gauge), BY_PART[change.moved], WATCH)
    apart = () if change is None or change.kind not in LASTING else (APART.format(gauge),)
    return (AGAIN.format(gauge), *apart, CAUSE, WATCH)


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
