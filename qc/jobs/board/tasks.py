"""What the board's worker does: take in sheets, settle held rows, add to a signal's life, decide, study.

The heavy part: all of it runs in the one process that writes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from qc.errors import QcError
from qc.ingest import batch_reader, keep_reader, read_layout_texts, read_mapping, warm_up
from qc.jobs.baseline import DECIDED_ALREADY, decide
from qc.jobs.bench import enter_card as enter_card
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, ending, judge_waiting
from qc.jobs.pieces import keep_back, outside_up_to_date, release, with_hold
from qc.jobs.questions import gauge_study
from qc.jobs.rows import (
    CheckedAhead,
    Decision,
    check_next,
    correct_reading,
    settle_rows,
    undo_settled,
    withdraw_reading,
)
from qc.jobs.rows import put_sheet_away as put_away
from qc.jobs.shown import read_waiting
from qc.jobs.signals import SAID_ALREADY, say_of_signal
from qc.jobs.upload import ShowProgress, upload
from qc.jobs.workshop import Workshop, open_workshop
from qc.plain import JsonObject
from qc.sayings import TICKED, Saying, What
from qc.states import SIGNAL_WORDS
from qc.stats import StatisticsError

_AHEAD = CheckedAhead()
"""What the worker's process checked while nobody waited."""


def warm() -> None:
    """Start the reader, so that no card of the day waits for it."""
    keep_reader()


def warm_for_large_sheets() -> None:
    """Load the validation library, which the cards of a day do without."""
    warm_up()


@contextmanager
def opened(folder: Path, as_of: date | None) -> Iterator[Workshop]:
    """Open the workshop for one task; its store is closed whatever becomes of that.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    as_of : date or None
        The day to stand on.
    """
    with ending(NOTHING_STORED):
        workshop = open_workshop(folder, as_of=as_of)
    try:
        yield workshop
    finally:
        workshop.store.close()


def take_sheets(
    workshop: Workshop, files: Sequence[tuple[str, Path]], who: str, tell: ShowProgress, mapping: str = ""
) -> JsonObject:
    """Upload sheets and return the receipt as plain values.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    files : sequence of (name, path)
        The sheets: what a person called each, and where it lies.
    who : str
        Code of the person who hands them in.
    tell : callable
        Told how many sheets are done, of how many, and in words.
    mapping : str
        What their headings mean, as the page of sheets asked it; empty where nothing was asked.
    """
    sheets = [(name, path.read_bytes()) for name, path in files]
    meant = read_mapping(mapping, "The answer", workshop.plan) if mapping else ()
    receipt = upload(workshop, sheets, who=who, progress=tell, mappings=meant)
    return {**receipt.to_dict(), "questions": [question.to_dict() for question in receipt.questions]}


def decide_held(
    workshop: Workshop,
    rows: Sequence[str],
    decision: str,
    changes: Mapping[str, object],
    who: str,
    tell: ShowProgress | None = None,
) -> JsonObject:
    """Decide the same about held rows and say what became of them; judging follows when none comes after.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    rows : sequence of str
        Ids of the rows, as the board shows them.
    decision : str
        A `Decision`.
    changes : mapping
        Column -> new value, for a decision by hand.
    who : str
        Code of the person who decides.
    tell : callable, optional
        Told how many rows are done, of how many, and in words; of a single row nothing is told.
    """

    def told(done: int, of: int) -> None:
        # chosen: a word every five rows, so that the bar moves and the line is not flooded
        if tell is not None and of > 1 and (done % 5 == 0 or done == of):
            tell(done, of, "Settling row")

    numbers = [int(row) for row in rows]
    found = settle_rows(workshop, numbers, Decision(decision), changes, who=who, progress=told, ahead=_AHEAD)
    return {**found.to_dict(), "sentence": found.to_line()}


def check_next_row(folder: Path, as_of: date | None, row: str, waits: Callable[[], bool]) -> None:
    """Check what follows a row on the list, as long as nobody waits for anything; no fault of it is told."""
    with suppress(QcError), opened(folder, as_of) as workshop:
        check_next(workshop, int(row), _AHEAD, waits=waits)


def undo_held(workshop: Workshop, rows: Sequence[str], why: str, who: str) -> JsonObject:
    """Take back what was decided about held rows; judging follows when no decision comes after.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    rows : sequence of str
        Their numbers while they were held.
    why, who : str
        The reason, and the code of the person who takes it back.
    """
    done = undo_settled(workshop, [int(row) for row in rows], who=who, why=why)
    return {**done.to_dict(), "sentence": done.to_text(), "reasons": []}


def read_shown(workshop: Workshop, sheet: str, layout: str, who: str) -> JsonObject:
    """Read a sheet that waits through a layout, and return the receipt as plain values.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    sheet : str
        The SHA-256 of its bytes.
    layout : str
        The layout, as it is written below ``layouts:``.
    who : str
        Code of the person who shows it.
    """
    layouts = read_layout_texts(layout, "The layout", workshop.plan)
    receipt = read_waiting(workshop, sheet, who=who, layouts=layouts)
    return {**receipt.to_dict(), "questions": []}


def put_sheet_away(workshop: Workshop, sheet: str, why: str, who: str) -> JsonObject:
    """Put away a sheet that waits for its layout.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    sheet : str
        The SHA-256 of its bytes.
    why, who : str
        The reason, and the code of the person.
    """
    done = put_away(workshop, sheet, who=who, why=why)
    return {"sentence": done.sentence, "put_away": done.file, "reasons": []}


def correct_row(
    workshop: Workshop, reading: str, changes: Mapping[str, str], why: str, sure: bool, who: str
) -> JsonObject:
    """Put a reading right, or take it back where nothing is changed; what it touched is judged anew.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    reading : str
        Its number.
    changes : mapping
        Column -> what it should say.
    why, who : str
        The reason, and the code of the person.
    sure : bool
        It is really so: doubts about it are answered.
    """
    if changes:
        done = correct_reading(workshop, reading, changes, who=who, why=why, as_typed=sure)
    else:
        done = withdraw_reading(workshop, reading, who=who, why=why)
    _, *reasons = with_hold(workshop, done).to_text().splitlines()
    return {"sentence": done.sentence, "reasons": [{"sentence": line.strip()} for line in reasons]}


SAID_ONLY = {
    What.COMMENT: "The remark is kept.",
    What.STEP_DONE: "The step is ticked.",
    What.STEP_UNDONE: "The tick is taken back.",
    What.PIECE_DONE: "{} is ticked.",
    What.PIECE_UNDONE: "The tick of {} is taken back.",
}
"""What stands in the life of a signal and changes nothing that is drawn or judged, with the answer to it."""


def _said_only(saying: Saying) -> str:
    if saying.what is What.COMMENT and saying.text.startswith(TICKED):
        return "Ticked, and kept."
    return SAID_ONLY[saying.what].format(saying.first)


def say_signal(workshop: Workshop, signal_id: str, saying: Saying) -> JsonObject:
    """Add to the life of a signal and say how it now stands.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    signal_id : str
        The signal.
    saying : Saying
        What is said.
    """
    life = say_of_signal(workshop, signal_id, saying)
    if life.already:
        return {"sentence": SAID_ALREADY, "reasons": []}
    if saying.what in SAID_ONLY:
        return {"sentence": _said_only(saying), "reasons": [], "said_only": True}
    return {"sentence": f"The signal is now {SIGNAL_WORDS[life.state]}.", "reasons": []}


def decide_series(workshop: Workshop, series: str, saying: Saying) -> JsonObject:
    """Take a lead's decision about a series, judge it anew and say how it now stands.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    series : str
        ``stage/characteristic/family``.
    saying : Saying
        What is decided.
    """
    found = decide(workshop, series, saying)
    if found.already:
        return {"sentence": DECIDED_ALREADY, "reasons": []}
    return {"sentence": f"Kept. {found.title} is now {found.behaviour}.", "reasons": []}


def decide_piece(workshop: Workshop, serial: str, what: str, figure: str, why: str, who: str) -> JsonObject:
    """Release a piece or keep it back, and say how it now stands.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    serial : str
        The piece.
    what : str
        ``release`` or ``keep``.
    figure : str
        Only this one, empty for all of the piece.
    why, who : str
        The reason, and the code of the person.
    """
    way = release if what == "release" else keep_back
    found = way(workshop, serial, who=who, why=why, figure=figure)
    return {"sentence": f"{found.serial}: {found.sentence}", "reasons": []}


def judge(workshop: Workshop, tell: ShowProgress | None = None) -> JsonObject:
    """Judge what came in and is not yet judged.

    Parameters
    ----------
    workshop : Workshop
        As `opened` gives it.
    tell : callable, optional
        Told how many series are done, of how many, and in words; where it raises, nothing of it is kept.
    """
    judged = judge_waiting(workshop, tell)
    outside_up_to_date(workshop)
    return {**judged, "sentence": "All that came in is judged.", "reasons": []}


def study_file(file: tuple[str, Path], question: Mapping[str, str]) -> JsonObject:
    """Study a gauge from a file of repeated readings; nothing of it is stored.

    Parameters
    ----------
    file : (str, Path)
        Name, and where it lies. What a sheet may not be (packed too tight, with macros or formulas) is
        refused before anything reads it as a table.
    question : mapping
        Columns `value`, `part` and `person`; limits `lower` and `upper`; the gauge's step `resolution`. Empty
        where not given.

    Returns
    -------
    dict
        ``{"study": ..., "file": ..., "value": ...}``, the study as `qc gauge --json` prints it.
    """
    name, data = file[0], file[1].read_bytes()
    with batch_reader() as reader:
        reader.read(name, data)
    # The name a person gave the file labels what is said of it; it never reaches the disk.
    plain = "study.xlsx" if data.startswith(b"PK") else "study.csv"
    with TemporaryDirectory() as folder:
        path = Path(folder) / plain
        path.write_bytes(data)
        try:
            found = gauge_study(
                path,
                question["value"],
                question["part"],
                question.get("person") or None,
                lower=_number(question, "lower"),
                upper=_number(question, "upper"),
                resolution=_number(question, "resolution"),
            )
        except StatisticsError as error:
            raise JobError(str(error).replace(plain, name)) from error
    return {"study": found.to_dict(), "file": name, "value": question["value"]}


def _number(question: Mapping[str, str], name: str) -> float | None:
    text = question.get(name, "").strip()
    return float(text) if text else None
