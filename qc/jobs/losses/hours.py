"""What was reworked in a stretch of days: hours by cause and their cost, beside the yields of the stages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from qc.errors import UsageError
from qc.jobs.losses.yields import yields_of
from qc.jobs.then import said_of_then
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject, as_meant
from qc.report.terminal import rework_text
from qc.stats import RolledYield, Tabled
from qc.watch import ReworkCause, StageYield, rework_causes, rolled, summed
from qc.words import dated_words


@dataclass(frozen=True, slots=True)
class ReworkReport(Tabled):
    """Rework and yields of a stretch of days.

    Attributes
    ----------
    first, last : date
        The days, both included.
    causes : tuple of ReworkCause
        Most hours first.
    yields : tuple of StageYield
        First-pass yield of each stage to which a piece came, in route order.
    rate : float or None
        What an hour of rework costs, where the plan says so. [currency]
    currency : str
        In what, as the plan writes it.
    known : date or None
        The past day whose knowledge this is, where that was asked for.
    note : str
        What must be said of that day.
    """

    ROWS = "causes"

    first: date
    last: date
    causes: tuple[ReworkCause, ...]
    yields: tuple[StageYield, ...]
    rate: float | None = None
    currency: str = ""
    known: date | None = None
    note: str = ""

    @property
    def hours(self) -> float:
        """Hours of all causes [h]."""
        return summed([one.hours for one in self.causes])

    @property
    def rolled(self) -> RolledYield | None:
        """The product of the stages' yields with its interval; None where no stage had a piece."""
        return rolled(self.yields)

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc rework --json``; with a rate in the plan the cost beside it."""
        whole = self.rolled
        plain: JsonObject = {
            "from": self.first.isoformat(),
            "to": self.last.isoformat(),
            "known": self.known.isoformat() if self.known else None,
            "hours": self.hours,
            "causes": [one.to_dict() for one in self.causes],
            "first_pass": [one.to_dict() for one in self.yields],
            "rolled": {
                "share": whole.share if whole else None,
                "interval": list(whole.interval) if whole else None,
            },
        }
        if self.rate is not None:
            plain["cost"] = {"of_an_hour": self.rate, "currency": self.currency, "all": self.cost(self.hours)}
        return plain

    def to_text(self) -> str:
        """Say what was reworked, most hours first, and how the stages passed at the first go."""
        told = rework_text(self.first, self.last, self.causes, self.yields, self.rolled, self.hour)
        return f"{self.note}\n{told}" if self.note else told

    @property
    def hour(self) -> tuple[float, str] | None:
        """What an hour costs, and in what; None without a rate."""
        return None if self.rate is None else (self.rate, self.currency)

    def cost(self, hours: float) -> float | None:
        """Return what so many hours cost, None where the plan has no rate [currency]."""
        return None if self.rate is None else summed([self.rate * hours])


@as_meant
def rework(workshop: Workshop, *, first: date | None = None, last: date | None = None) -> ReworkReport:
    """Return rework hours by cause and the yields of the stages.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, or one as it was known on a day.
    first, last : date, optional
        The days, both included: from the first card on and until the workshop's day when left out.

    Raises
    ------
    UsageError
        The first day lies after the last.
    """
    begin = first or workshop.store.oldest_day() or workshop.today
    end = last or workshop.today
    if begin > end:
        raise UsageError(
            f"From {dated_words(begin)} to {dated_words(end)} there is no day: the first lies after the "
            "last. Turn them round."
        )
    shop = workshop.plan.workshop
    events = workshop.store.events("rework", since=begin, until=min(end, workshop.today))
    return ReworkReport(
        begin,
        end,
        rework_causes(events),
        yields_of(workshop, begin, end),
        shop.hourly_rate,
        shop.currency,
        workshop.then.day if workshop.then else None,
        said_of_then(workshop),
    )
