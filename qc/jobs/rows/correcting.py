"""An accepted reading is put right or taken back.

Nothing that was accepted is touched: another reading takes its place, or an entry says that it counts no
more.
The corrected figure goes through the same check as a new one, and what it touched is judged anew at once.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from qc.ingest import DOUBTS, Checked, MendedRow, mend_recorded, recheck
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, STORED_NOT_JUDGED, catch_up, ending
from qc.jobs.past import known_of
from qc.jobs.roles import Verb, may, refuse_no_reason
from qc.jobs.rows.finding import STANDS, standing_reading
from qc.jobs.rows.naming import ColumnChange, piece_words, value_words
from qc.jobs.rows.reasons import is_doubt
from qc.jobs.rows.respelling import as_stored, left_behind
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow, JsonObject
from qc.report.terminal import correction_text
from qc.stats import Tabled
from qc.store import HeldReason, ToldRecord, reasons_of
from qc.watch import SeriesVerdict, SignalResult, heirs_of
from qc.words import listed

Place = tuple[str, str, str]
"""A piece, the stage and the characteristic of a reading."""


@dataclass(frozen=True, slots=True)
class SeriesChange:
    """What judging a series anew changed.

    Attributes
    ----------
    series, title : str
        ``stage/characteristic/family``, and its name for people.
    behaviour : tuple of str
        Before and now; the first is empty for a series that had not been judged.
    gone, raised : tuple of str
        Sentences of signals that are told no more, and of those that were not told before.
    """

    series: str
    title: str
    behaviour: tuple[str, str]
    gone: tuple[str, ...]
    raised: tuple[str, ...]

    @property
    def changed(self) -> bool:
        """Whether anything is told otherwise."""
        return bool(self.gone or self.raised or self.behaviour[0] != self.behaviour[1])

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "series": self.series,
            "title": self.title,
            "was": self.behaviour[0],
            "is": self.behaviour[1],
            "gone": list(self.gone),
            "raised": list(self.raised),
            "changed": self.changed,
        }


@dataclass(frozen=True, slots=True)
class Corrected(Tabled):
    """What became of a reading, and of the series it stood in.

    Attributes
    ----------
    reading : int
        The reading that was put right.
    state : {"corrected", "taken back"}
        What became of it.
    by : int or None
        Number of the reading that stands in its place.
    serial, what : str
        The piece; its figure and place in words.
    changes : tuple of ColumnChange
        What was and is; empty where it was taken back.
    who, why : str
        As given.
    series : tuple of SeriesChange
        The series judged anew, in route order.
    places : tuple of (str, str, str)
        Piece, stage and characteristic before and now.
    hold : tuple of str
        What is outside a limit of these figures now, in sentences; filled by `qc.jobs.pieces.with_hold`.
    left : str
        What still stands under another writing of the serial, in a sentence; empty where nothing does.
    """

    reading: int
    state: Literal["corrected", "taken back"]
    by: int | None
    serial: str
    what: str
    changes: tuple[ColumnChange, ...]
    who: str
    why: str
    series: tuple[SeriesChange, ...] = ()
    places: tuple[Place, ...] = ()
    hold: tuple[str, ...] = ()
    left: str = ""

    @property
    def sentence(self) -> str:
        """Say what became of the reading."""
        if self.state == "taken back":
            return (
                f"{self.what}: reading {self.reading} is taken back; it stays on record and counts no more."
            )
        said = listed([change.sentence() for change in self.changes]) or "it stands again as it was"
        told = f"{self.what}: {said}. Reading {self.by} stands in the place of {self.reading}."
        return f"{told} {self.left}".rstrip()

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc correct --json``."""
        return {
            "reading": self.reading,
            "state": self.state,
            "by": self.by,
            "serial": self.serial,
            "what": self.what,
            "changes": [
                {"column": one.column, "was": one.was, "is": one.becomes, "sentence": one.sentence()}
                for one in self.changes
            ],
            "who": self.who,
            "why": self.why,
            "series": [one.to_dict() for one in self.series],
            "hold": list(self.hold),
            "sentence": self.sentence,
        }

    def to_text(self) -> str:
        """Say what was and is, what judging anew changed, and what is to be held now."""
        return _told(self.sentence, self.series, self.hold)


@dataclass(frozen=True, slots=True)
class CorrectedTogether(Tabled):
    """What became of several readings that were put right or taken back at once, and of their series.

    Attributes
    ----------
    readings : tuple of Corrected
        Each of them, in the order in which they were named, without series.
    who, why : str
        As given, kept with each.
    series : tuple of SeriesChange
        The series judged anew by all of it, in route order.
    hold : tuple of str
        As in `Corrected`, for all of them.
    """

    ROWS = "readings"

    readings: tuple[Corrected, ...]
    who: str
    why: str
    series: tuple[SeriesChange, ...] = ()
    hold: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return each reading as ``qc correct --json`` has it, and the series once, for all of them."""
        own = [one.to_dict() for one in self.readings]
        for one in own:
            del one["series"], one["hold"], one["who"], one["why"]
        series = [one.to_dict() for one in self.series]
        hold = list(self.hold)
        return {"readings": own, "who": self.who, "why": self.why, "series": series, "hold": hold}

    def to_text(self) -> str:
        """Say what each was and is, and what judging anew changed."""
        return _told("\n".join(one.sentence for one in self.readings), self.series, self.hold)


def correct_reading(
    workshop: Workshop,
    name: str,
    changes: Mapping[str, str],
    *,
    who: str,
    why: str,
    as_typed: bool = False,
) -> Corrected:
    """Put an accepted reading right.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    name : str
        Its number, or the serial with what tells it from the others, as `standing_reading` reads it.
    changes : mapping of str to str
        Column to what it should say. A reading that was taken back comes in again by it.
    who, why : str
        Code of the person who corrects it, and the reason, kept with it.
    as_typed : bool
        It is really so: doubts about the corrected figure are answered.

    Returns
    -------
    Corrected
        With the series that were judged anew.

    Raises
    ------
    UsageError
        Nobody is named, or no reason is given.
    JobError
        There is no such reading, it says so already, or what it should say does not pass the check.
    MendError
        A column cannot be changed, or a value cannot be read.
    """
    (done,), series = _settled(
        workshop, [name], who, why, lambda one: _corrected(workshop, one, changes, who, why, as_typed)
    )
    return replace(done, series=series)


def withdraw_reading(workshop: Workshop, name: str, *, who: str, why: str) -> Corrected:
    """Take back an accepted reading: it stays on record and counts no more.

    Parameters and errors as in `correct_reading`.
    """
    (done,), series = _settled(workshop, [name], who, why, lambda one: _withdrawn(workshop, one, who, why))
    return replace(done, series=series)


def correct_readings(
    workshop: Workshop,
    names: Sequence[str],
    changes: Mapping[str, str],
    *,
    who: str,
    why: str,
    as_typed: bool = False,
) -> CorrectedTogether:
    """Put several accepted readings right alike, the figures of a card, say, that name the wrong piece.

    All of them are stored, or none: where one cannot be put right, nothing is changed.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    names : sequence of str
        Each as `correct_reading` takes it.
    changes : mapping of str to str
        Column to what each of them should say.
    who, why, as_typed
        As in `correct_reading`; kept with each.

    Raises
    ------
    UsageError, JobError, MendError
        As in `correct_reading`.
    """
    done, series = _settled(
        workshop, names, who, why, lambda one: _corrected(workshop, one, changes, who, why, as_typed)
    )
    return CorrectedTogether(done, who, why, series)


def withdraw_readings(workshop: Workshop, names: Sequence[str], *, who: str, why: str) -> CorrectedTogether:
    """Take back several accepted readings: all of them, or none.

    Parameters and errors as in `correct_readings`.
    """
    done, series = _settled(workshop, names, who, why, lambda one: _withdrawn(workshop, one, who, why))
    return CorrectedTogether(done, who, why, series)


def _settled(
    workshop: Workshop, names: Sequence[str], who: str, why: str, settle: Callable[[str], Corrected]
) -> tuple[tuple[Corrected, ...], tuple[SeriesChange, ...]]:
    """Settle readings in one transaction, then judge once what they touched."""
    refuse_no_reason(why)
    with ending(NOTHING_STORED):
        catch_up(workshop)  # else what waited would look like an effect of this
        with workshop.store.writing():
            may(who, Verb.CORRECT, workshop.plan, workshop.store.people())
            done = tuple(settle(name) for name in names)
            left = left_behind(workshop, [(one.places[0][0], one.places[-1][0]) for one in done])
            done = tuple(replace(one, left=text) for one, text in zip(done, left, strict=True))
    return done, _judged(workshop)


def _corrected(
    workshop: Workshop, name: str, changes: Mapping[str, str], who: str, why: str, as_typed: bool
) -> Corrected:
    """Replace a reading by its mend, checked as if it had been typed so, and say each change."""
    old = standing_reading(workshop, name)
    mended = _mended(workshop, old, changes)
    checked = _checked(workshop, old, mended, as_typed=as_typed)
    mended = as_stored(workshop, old, mended, checked)
    by = workshop.store.replace_reading(old["id"], checked.readings, who=who, when=workshop.now, why=why)
    told = tuple(
        ColumnChange(
            column,
            value_words(was, (old["text"] or "") if column == "value" else ""),
            value_words(becomes, changes.get("value", "") if column == "value" else ""),
        )
        for column, (was, becomes) in mended.changed.items()
    )
    what = piece_words(old, workshop.plan)
    places = (_place_of(old), _place_of(mended.row))
    serial = old["serial"] or ""
    return Corrected(old["id"], "corrected", by, serial, what, told, who, why, places=places)


def _withdrawn(workshop: Workshop, name: str, who: str, why: str) -> Corrected:
    old = standing_reading(workshop, name)
    if old["state"] != STANDS:
        raise JobError(
            f"Reading {old['id']} was taken back already, by {old['changed_by'] or 'nobody named'}"
            f"{': ' + old['why'] if old['why'] else ''}. With --set it comes in again."
        )
    workshop.store.withdraw_reading(old["id"], who=who, when=workshop.now, why=why)
    what = piece_words(old, workshop.plan)
    serial, places = old["serial"] or "", (_place_of(old),)
    return Corrected(old["id"], "taken back", None, serial, what, (), who, why, places=places)


def _place_of(row: FrameRow) -> Place:
    return row["serial"] or "", row["stage"], row["characteristic"]


def _mended(workshop: Workshop, old: FrameRow, changes: Mapping[str, str]) -> MendedRow:
    """Return the reading with what is changed, as a row that can be checked."""
    own = next((one for one in workshop.store.sheets() if one.sheet == old["sheet"]), None)
    file, card = (own.file, own.card) if own else ("", "")
    mended = mend_recorded(old, changes, workshop.plan, file=file, card=card)
    if changes and not mended.changed and old["state"] == STANDS:
        said = listed([f"{name} {text}" for name, text in changes.items()])
        raise JobError(f"{piece_words(old, workshop.plan)}: reading {old['id']} says {said} already.")
    return mended


def _checked(workshop: Workshop, old: FrameRow, mended: MendedRow, *, as_typed: bool) -> Checked:
    """Judge the corrected reading by the rules and doubts of a new one; refuses one that does not pass.

    A doubt that the reading as it stands would raise just as well is none about the correction.
    """
    found = _judge(workshop, mended, DOUBTS if as_typed else ())
    if found.held.is_empty():
        return found
    raised = {reason.id for reason in _reasons(_judge(workshop, _mended(workshop, old, {}), ()))}
    found = _judge(workshop, mended, DOUBTS if as_typed else raised)
    if found.held.is_empty():
        return found
    reasons = _reasons(found)
    said = " ".join(f"{reason.sentence} {reason.mend}" for reason in reasons)
    way = " If it is really so, add --as-typed." if all(is_doubt(reason) for reason in reasons) else ""
    raise JobError(f"Nothing was changed. {said}{way}")


def _judge(workshop: Workshop, mended: MendedRow, confirmed: Collection[str]) -> Checked:
    row = mended.row
    figure = (row["stage"], row["characteristic"], row["model"], row["serial"])
    known = known_of(workshop, [figure], {row["serial"]} - {""}, without=[mended.replaces or 0])
    doubts = {str(one) for one in DOUBTS} & set(confirmed)
    return recheck([mended], workshop.plan, known, confirmed=doubts)[0]


def _reasons(checked: Checked) -> tuple[HeldReason, ...]:
    return () if checked.held.is_empty() else reasons_of(checked.held["reasons"][0])


def _judged(workshop: Workshop) -> tuple[SeriesChange, ...]:
    """Judge what was touched, and say what that changed."""
    with ending(STORED_NOT_JUDGED):
        before = {one.series: one for one in workshop.store.told()}
        verdicts = catch_up(workshop)
    return tuple(_change(before.get(str(verdict.key)), verdict) for verdict in verdicts)


def _told(sentences: str, series: Sequence[SeriesChange], hold: Sequence[str]) -> str:
    told = [(one.title, one.behaviour, one.gone, one.raised) for one in series]
    return correction_text(sentences, told, hold)


def _change(before: ToldRecord | None, now: SeriesVerdict) -> SeriesChange:
    told = [] if before is None else [SignalResult.from_dict(one) for one in before.plain["signals"]]
    was = "" if before is None else str(before.plain["behaviour"])
    ordinals = {point.serial: point.ordinal for point in now.points}
    heirs = heirs_of(told, now.signals, ordinals)
    gone = tuple(one.sentence for one, heir in zip(told, heirs, strict=True) if heir is None)
    raised = tuple(one.sentence for place, one in enumerate(now.signals) if place not in heirs)
    return SeriesChange(str(now.key), now.title, (was, now.behaviour), gone, raised)
