"""Signals as the board shows them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from qc.jobs.judging import name_of
from qc.jobs.signals import MadeUnder
from qc.sayings import SignalState, What
from qc.watch import SeriesVerdict, SignalResult


@dataclass(frozen=True, slots=True)
class SignalComment:
    """One step in the life of a signal."""

    when: str
    who: str
    state: What
    text: str


@dataclass(frozen=True, slots=True)
class SignalView:
    """A signal, its series and its life so far."""

    id: str
    verdict: SeriesVerdict
    signal: SignalResult
    state: SignalState | Literal["over"]  # over: nobody answered, and the series came back by itself
    comments: tuple[SignalComment, ...] = ()
    standing: str = ""  # how it stands, in a word or two
    owner: str = ""  # code of the person who has it
    had: str = ""  # of the one who had it before it was opened anew, where nobody has taken it since
    known: date | None = None  # when it was first told, which may be after its piece was measured
    age_days: int = 0  # since then
    overdue: bool = False  # the day by which it was to be closed is past
    due: date | None = None  # by when it is to be closed
    closed_as: SignalResult | None = None  # of a closed one: what had been found when it was closed
    anew: SignalResult | None = None  # of a closed one: what is found now, where that is said otherwise
    not_kept: bool = False  # its level stays, as was said, and breaks the limits: it stays listed
    mend: str = ""  # how far a mend is borne out, in words
    beside: tuple[str, ...] = ()  # what stands in it, that it waits, what is to tick off, in sentences
    ticked: tuple[str, ...] = ()  # steps that are done
    made_under: tuple[MadeUnder, ...] = ()  # pieces made under the cause; of one asked for by itself
    before: tuple[str, ...] = ()  # ids that it went by
    numbers: tuple[int, ...] = ()  # it goes by the lowest, and answers to all

    @property
    def name(self) -> str:
        """What people call it by: its number, or its id as long as it has none."""
        return name_of(self.id, self.numbers)

    @property
    def told(self) -> SignalResult:
        """What it says: of a closed one by the words it was closed by."""
        return self.closed_as or self.signal
