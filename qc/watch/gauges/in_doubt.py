"""Days on which a gauge read wrongly: from its last good check until it was found off and put right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from qc.plan import Gauge
from qc.watch.gauges.checked import check_is_good
from qc.watch.gauges.masters import MasterCheck, worst_of_days
from qc.words import day_words, named, quantity_words

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class FoundOff:
    """A stretch in which what a gauge read is in doubt, because a check found it off.

    Attributes
    ----------
    gauge : Gauge
        Of the plan.
    value : float
        By how much it was off. [unit of the gauge]
    day : date
        Of the check that found it off.
    good : date or None
        Of the last good check before; None where there is none since its calibration or at all.
    last : date or None
        Last day in doubt; None as long as it was neither zeroed nor found good again.
    """

    gauge: Gauge
    value: float
    day: date
    good: date | None
    last: date | None

    @property
    def first(self) -> date:
        """The first day in doubt: a check is of the morning, so a good one vouches for its own day."""
        return date.min if self.good is None else self.good + ONE_DAY

    def holds_on(self, day: date) -> bool:
        """Say whether what the gauge read on a day is in doubt."""
        return self.first <= day and (self.last is None or day <= self.last)

    def sentence(self, today: date | None = None) -> str:
        """Say it as it goes on after "coincides with".

        Examples
        --------
        >>> gauge = Gauge(id="BG-2", name="Bore gauge", gauge_class="bore", resolution=1, unit="um")
        >>> FoundOff(gauge, 22.0, date(2026, 10, 9), date(2026, 9, 30), None).sentence()
        'bore gauge BG-2, found 22 µm off on 9 Oct, last known good on 30 Sep'
        """
        known = "" if self.good is None else f", last known good on {day_words(self.good, today)}"
        much = quantity_words(abs(self.value), self.gauge.unit)
        name, day = named(self.gauge.name, self.gauge.id), day_words(self.day, today)
        return f"{name}, found {much} off on {day}{known}"


def found_off(gauge: Gauge, checks: Iterable[MasterCheck]) -> Iterator[FoundOff]:
    """Yield the stretches in which what a gauge read is in doubt because it was found off, oldest first.

    A check that was off puts everything in doubt since the last good one; between two good checks all is
    trusted. On the day of a good check the gauge is trusted, and on that of one after which it was zeroed;
    what it read before is in doubt all the same.
    """
    good: date | None = None
    last_off: tuple[date, float] | None = None
    for day, made in groupby(sorted(checks, key=lambda check: check.day), key=lambda check: check.day):
        own = list(made)
        off = [check.value for check in own if check_is_good(gauge, check.value) is False]
        if off:
            last_off = (day, max(off, key=abs))
        if last_off is not None and off and was_zeroed(gauge, own):
            if good is None or good < day - ONE_DAY:
                yield FoundOff(gauge, last_off[1], last_off[0], good, day - ONE_DAY)
            last_off, good = None, day
            continue
        if check_is_good(gauge, worst_of_days(own)[0].value) is not False:
            if last_off is not None:
                yield FoundOff(gauge, last_off[1], last_off[0], good, day - ONE_DAY)
            last_off, good = None, day
    if last_off is not None:
        yield FoundOff(gauge, last_off[1], last_off[0], good, None)


def was_zeroed(gauge: Gauge, checks: Iterable[MasterCheck]) -> bool:
    """Say whether a gauge was zeroed after every check of a day that found it off."""
    off = [check for check in checks if check_is_good(gauge, check.value) is False]
    return bool(off) and all(check.zeroed for check in off)
