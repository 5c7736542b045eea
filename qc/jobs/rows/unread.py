"""Sheets that nobody could read yet: which wait for their layout, and what is said of them; put away."""

from __future__ import annotations

from dataclasses import dataclass

from qc import clock
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, ending
from qc.jobs.roles import Verb, may, refuse_no_reason
from qc.jobs.workshop import Workshop
from qc.report.terminal import unread_text
from qc.stats import Tabled
from qc.store import UnreadRecord, UnreadState
from qc.words import command_words, dated_words, listed

FEWEST = 6
"""So many digits of its hash name a sheet; chosen, as no file is called so by chance."""


@dataclass(frozen=True, slots=True)
class UnreadSheet(Tabled):
    """A sheet that could not be read when it was handed in, for people.

    Attributes
    ----------
    sheet, file : str
        SHA-256 of its bytes, its name as handed in.
    size : int
        [bytes]
    who, handed_in : str
        Code of the person, and the workshop's day in words.
    refusal : str
        The sentence by which it was refused.
    state : UnreadState
        ``waits``, ``read`` or ``put-away``.
    note, settled_by, settled : str
        Why it was put away, or how it was read, by whom, and on which day; empty while it waits.
    """

    sheet: str
    file: str
    size: int
    who: str
    handed_in: str
    refusal: str
    state: UnreadState
    note: str = ""
    settled_by: str = ""
    settled: str = ""

    @classmethod
    def of(cls, row: UnreadRecord, zone: str) -> UnreadSheet:
        """Put what the store holds of a sheet into words."""
        days = [dated_words(clock.day_of(when, zone)) if when else "" for when in (row.entered, row.settled)]
        facts = (row.sheet, row.file, row.size, row.who, days[0], row.refusal, row.state, row.note)
        return cls(*facts, row.settled_by, days[1])

    @property
    def why(self) -> str:
        """The sentence of the refusal without the name of the file, which stands beside it."""
        own = self.refusal.removeprefix(self.file).lstrip(":, ")
        return f"{own[:1].upper()}{own[1:]}"

    @property
    def sentence(self) -> str:
        """Say how it stands."""
        if self.state == "put-away":
            by = f" by {self.settled_by}" if self.settled_by else ""
            return f"{self.file} was put away on {self.settled}{by}: {self.note}"
        return f"{self.file} waits for its layout since {self.handed_in}; it is kept as it was handed in."

    def to_text(self) -> str:
        """Say how it stands, why it was refused, and what to do."""
        read = command_words("held", "read", self.file, "--mapping", "FILE", "--who", "CODE")
        away = command_words("held", "put-away", self.file, "--why", "REASON", "--who", "CODE")
        by = f", handed in by {self.who}" if self.who else ""
        return unread_text(f"{self.file}, since {self.handed_in}{by}", self.why, read, away)


def waiting_sheets(workshop: Workshop, *, sheet: str = "", open_only: bool = True) -> tuple[UnreadSheet, ...]:
    """Return the sheets that wait for their layout, in the order in which they were handed in.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    sheet : str
        Only this one: its file name or the beginning of its hash.
    open_only : bool
        False for those that were put away or read since, too.
    """
    zone = workshop.plan.workshop.time_zone
    found = (UnreadSheet.of(row, zone) for row in workshop.store.unread(open_only))
    return tuple(one for one in found if not sheet or one.file == sheet or one.sheet.startswith(sheet))


def waiting_note(workshop: Workshop) -> str:
    """Say in one line how many sheets wait for their layout, nothing where none does."""
    number = len(workshop.store.unread())
    if not number:
        return ""
    told = "1 sheet waits" if number == 1 else f"{number} sheets wait"
    return f"{told} for {'its' if number == 1 else 'their'} layout: {command_words('held', 'list')}"


def named_sheet(workshop: Workshop, name: str) -> UnreadSheet:
    """Return the one sheet that a name or the beginning of a hash names, put away or not.

    Raises
    ------
    JobError
        None is called so, or several are.
    """
    known = [one for one in waiting_sheets(workshop, open_only=False) if one.state != "read"]
    found = [one for one in known if one.file == name or (len(name) >= FEWEST and one.sheet.startswith(name))]
    # of two of one name the one that still waits is meant
    waiting = [one for one in found if one.state == "waits"] or found
    if not waiting:
        others = [one.file for one in known if one.state == "waits"]
        there = f"These wait: {listed(others)}." if others else "None waits."
        raise JobError(f"No sheet {name} waits for its layout. {there}")
    if len(waiting) > 1:
        numbers = listed([one.sheet[:12] for one in waiting])  # of their hashes
        raise JobError(f"{len(waiting)} sheets are called {name}. Name one by its number: {numbers}.")
    return waiting[0]


@dataclass(frozen=True, slots=True)
class PutAway(Tabled):
    """A sheet that was put away: its file, and the sentence that says so."""

    file: str
    sentence: str

    def to_text(self) -> str:
        """Say it."""
        return self.sentence


def put_sheet_away(workshop: Workshop, name: str, *, who: str, why: str) -> PutAway:
    """Put away a sheet that waits for its layout: it stays on record, and is asked about no more.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    name : str
        Its file name or the beginning of its hash.
    who, why : str
        Code of the person who decides, and the reason, kept with it.

    Raises
    ------
    UsageError
        Nobody is named where a name is due, or no reason is given.
    JobError
        No such sheet waits, several are called so, or the person may not decide it.
    """
    refuse_no_reason(why)
    with ending(NOTHING_STORED), workshop.store.writing():
        may(who, Verb.MEND, workshop.plan, workshop.store.people())
        found = named_sheet(workshop, name)
        if found.state != "waits":
            raise JobError(f"{found.sentence}. It need not be put away twice.")
        workshop.store.put_away(found.sheet, who=who, when=workshop.now, why=why.strip())
    said = "is put away; it stays on record as it was handed in, and can still be read with its layout."
    return PutAway(found.file, f"{found.file} {said}")
