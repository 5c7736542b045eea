"""`qc import`: a history taken in part by part, each durable by itself, and judged once at the end.

What was interrupted goes on where it stopped: a part that is on record is passed over by its hash. Every row
goes through the checks of any sheet; what is in doubt is held.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from qc.errors import UsageError
from qc.ingest import ORDERS, SheetError, ask_dates, check, tidy_figures, unfold_tidy
from qc.jobs.errors import JobError
from qc.jobs.history.parts import HistoryPart, Source, find_sources, parts_of
from qc.jobs.history.receipt import HistoryReceipt
from qc.jobs.judging import STORED_NOT_JUDGED, ending
from qc.jobs.past import known_of_parts
from qc.jobs.roles import refuse_no_name
from qc.jobs.rows import told_reasons
from qc.jobs.upload import WAITS, ShowProgress, judge_new
from qc.jobs.workshop import Workshop
from qc.plan import Plan
from qc.store import NewSheet, SheetCount, sheet_hash
from qc.words import count_words, some_of

TAKING = "Taking in row"
STRANGE = (
    "Write the id or the name that the plan has for it, with its stage; or put the figure on a card of the "
    "plan. Nothing was stored."
)


def bring_in(
    workshop: Workshop,
    paths: Sequence[Path],
    *,
    who: str = "",
    dates: str = "",
    again: bool = False,
    progress: ShowProgress | None = None,
) -> HistoryReceipt:
    """Take in a history: csv or Parquet files with a reading a row.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    paths : sequence of Path
        Files and folders, in the order in which their readings are to be on record.
    who : str
        Code of the person who brings them in.
    dates : {"", "day-first", "month-first"}
        Which way round dates with strokes are meant.
    again : bool
        Check parts that are on record once more: what was held and is good now is accepted.
    progress : callable, optional
        Told how many rows are done.

    Returns
    -------
    HistoryReceipt
        Sums over all parts; made after everything is durable on the disk and judged.

    Raises
    ------
    UsageError
        No such file, none of a kind that can be read, an order of dates that is none, or the name of the
        person is no name.
    SheetError, JobError
        What a file says cannot be meant: its headings, a figure that the plan does not have, a date that can
        be read two ways. All of it is looked for before anything is stored.
    MachineError
        A lock, a full disk or a missing right; the text says how much was stored by then.
    """
    refuse_no_name(who)
    if dates and dates not in ORDERS:
        raise UsageError(f"--dates {dates}: say {' or '.join(ORDERS)}.")
    sources = find_sources(paths)
    _refuse_strange(sources, workshop.plan, dates)
    known = set() if again else {sheet.sheet for sheet in workshop.store.sheets()}
    taken = _Taken()
    for source in sources:
        for part in parts_of(source):
            with ending(taken.sentence()):
                taken.part(workshop, part, known, who, dates)
            if progress is not None:
                progress(taken.done, sum(source.rows for source in sources), TAKING)
    with ending(taken.sentence(all_of_it=True)):
        raised = judge_new(workshop)
    return HistoryReceipt(
        files=len(sources),
        parts=len(taken.counts),
        passed=taken.passed,
        rows=sum(count.rows for count in taken.counts),
        accepted=sum(count.accepted for count in taken.counts),
        held=sum(count.held for count in taken.counts),
        already_known=sum(count.already_known for count in taken.counts),
        reasons=dict(sorted(taken.reasons.items())),
        signals=tuple(signal for found in raised.values() for signal in found),
        marks=tuple(taken.marks),
        beside=tuple(dict.fromkeys(label for source in sources for label in source.columns.beside)),
    )


@dataclass(slots=True)
class _Taken:
    """How far a history is taken in."""

    counts: list[SheetCount] = field(default_factory=list)
    reasons: Counter[str] = field(default_factory=Counter)
    marks: dict[str, None] = field(default_factory=dict)
    done: int = 0
    passed: int = 0

    def part(
        self, workshop: Workshop, part: HistoryPart, known: Collection[str], who: str, dates: str
    ) -> None:
        """Take in one part, or pass it over where it is on record."""
        data = part.data()
        digest = sheet_hash(data)
        if digest in known:
            self.passed += 1
        else:
            count, said = _take_in(workshop, part, data, digest, who, dates)
            self.counts.append(count)
            self.reasons.update(count.reasons)
            self.marks |= dict.fromkeys(said)
        self.done += len(part.rows)

    def sentence(self, *, all_of_it: bool = False) -> str:
        """Say what is stored when something fails, and how to go on."""
        rows = sum(count.rows for count in self.counts if count.entered)
        if not rows:
            known = f"{count_words(self.done, 'row')} were on record before; nothing new was stored."
            return f"{known} {WAITS}" if all_of_it else known
        stored = f"{count_words(rows, 'row')} are stored"
        if all_of_it:
            return f"{stored}. {STORED_NOT_JUDGED}"
        return f"{stored}, not yet judged; the same command goes on behind them, and judges them."


def _take_in(
    workshop: Workshop, part: HistoryPart, data: bytes, digest: str, who: str, dates: str
) -> tuple[SheetCount, list[str]]:
    """Check one part and store it in a transaction of its own; returns its count and its marks."""
    unfolded = unfold_tidy(part.grid(digest), workshop.plan, dates)
    (checked,) = check([unfolded], workshop.plan, known_of_parts(workshop, [unfolded]))
    sheet = NewSheet(
        file=part.name,
        hash=digest,
        data=data,
        card=unfolded.card,
        readings=checked.readings,
        events=pl.DataFrame(schema=checked.events.schema),
        held=checked.held,
        told=told_reasons,
    )
    (count,) = workshop.store.add_sheets([sheet], who=who, when=workshop.now)
    return count, [mark.sentence for mark in checked.marks]


def _refuse_strange(sources: Sequence[Source], plan: Plan, dates: str) -> None:
    """Refuse what would stop the work halfway: figures that are not in the plan, dates read two ways."""
    figures = tidy_figures(plan)
    strange = {
        f"{name or 'an empty cell'}{f' of stage {stage}' if stage else ''}"
        for source in sources
        for stage, name in source.said
        if (stage, name) not in figures
    }
    if strange:
        raise JobError(f"These are no figures on a card of the plan: {some_of(sorted(strange))}. {STRANGE}")
    for source in sources:
        question = None if dates else ask_dates([source.two_ways])
        if question is not None:
            raise SheetError(
                source.name,
                f"the date {question.typed} leaves open whether the day or the month comes first",
                f"Say it with --dates {' or --dates '.join(ORDERS)}. Nothing was stored.",
            )
