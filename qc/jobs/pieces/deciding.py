"""Release a piece by name and reason, or keep it back: entries of the chain, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.judging import NOTHING_STORED, ending
from qc.jobs.pieces.hold import HoldList, hold_list, lines_of
from qc.jobs.pieces.rows import HAND, HoldRow
from qc.jobs.roles import Verb, may
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import decided_text
from qc.store import PieceDecision, PieceWord
from qc.watch import part_uses, way_down
from qc.words import listed

ON_THE_LIST = "{serial} is not on the list of pieces to hold{figure}. See it: qc hold"
LONGEST_WHY = 600  # chosen: a reason, not a report


@dataclass(frozen=True, slots=True)
class PieceAnswer:
    """What was decided about a piece, and what is still to be said of it.

    Attributes
    ----------
    serial : str
        The piece.
    sentence : str
        What was decided, in words.
    rows : tuple of HoldRow
        All its rows as they now stand.
    already : bool
        It stood already, word for word, so that it was not recorded a second time.
    """

    serial: str
    sentence: str
    rows: tuple[HoldRow, ...]
    already: bool = False

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        said = {"serial": self.serial, "sentence": self.sentence}
        rows = {"pieces": [row.to_dict() for row in self.rows]}
        return {**said, **rows, **({"already": True} if self.already else {})}

    def to_text(self) -> str:
        """Say what was decided, and what still holds the piece."""
        return decided_text(self.serial, self.sentence, lines_of(row for row in self.rows if row.waits))


def release(workshop: Workshop, serial: str, *, who: str, why: str, figure: str = "") -> PieceAnswer:
    """Release a piece from the list of those to hold.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    serial : str
        The piece.
    who, why : str
        The lead's code, and the reason in words: both stand on the list from then on.
    figure : str
        Only this figure, ``characteristic`` or ``stage/characteristic``; all of the piece when left out.

    Returns
    -------
    PieceAnswer
        A release covers what is known now. A later reading, signal or check brings the piece back.

    Raises
    ------
    UsageError
        Nobody is named, or no reason given.
    JobError
        The piece is not on the list, or the person may not release it.
    """
    with ending(NOTHING_STORED), workshop.store.writing():
        rows = _asked(workshop, serial, who, why, figure)
        if not rows:
            said = f" for {figure}" if figure else ""
            raise JobError(ON_THE_LIST.format(serial=serial, figure=said) + _parts_on_it(workshop, serial))
        open_rows = [row for row in rows if row.waits]
        done = all(row.released and (row.released.who, row.released.why) == (who, _why(why)) for row in rows)
        if not open_rows and not done:
            last = rows[0].released
            by = f" by {last.who}: {last.why}" if last else ""
            raise JobError(f"{serial} is released already{by}. To keep it back again: qc hold keep {serial}")
        decisions = _decisions(workshop, open_rows, PieceWord.RELEASED, who, why)
        if decisions:
            workshop.store.decide_pieces(decisions)
    told = "released" + (f" for {figure}" if figure else "") + f" by {who}: {_why(why)}"
    return _answer(workshop, serial, told, already=not decisions)


def keep_back(workshop: Workshop, serial: str, *, who: str, why: str, figure: str = "") -> PieceAnswer:
    """Keep a piece back by name and reason: one that is on the list, was released, or was never on it.

    Parameters and errors are those of `release`; a piece that was never measured cannot be kept back.
    """
    with ending(NOTHING_STORED), workshop.store.writing():
        rows = _asked(workshop, serial, who, why, figure)
        own = [row for row in rows if row.why != HAND] or rows
        if own:
            said = {(row.kept_back.who, row.kept_back.why) if row.kept_back else None for row in own}
            new = said != {(who, _why(why))}
            decisions = _decisions(workshop, own, PieceWord.KEPT_BACK, who, why) if new else []
        elif figure:
            raise JobError(ON_THE_LIST.format(serial=serial, figure=f" for {figure}"))
        elif workshop.store.pieces([serial]).is_empty():
            raise JobError(f"There is no piece {serial!r}. Look for its serial: qc board, page Instruments")
        else:
            rests = f"{workshop.today.isoformat()} {_why(why)}"
            blank = PieceDecision(
                serial, PieceWord.KEPT_BACK, "", "", HAND, rests, _why(why), who, workshop.now
            )
            decisions = [blank]
        if decisions:
            workshop.store.decide_pieces(decisions)
    return _answer(workshop, serial, f"kept back by {who}: {_why(why)}", already=not decisions)


def _asked(workshop: Workshop, serial: str, who: str, why: str, figure: str) -> list[HoldRow]:
    """Check who asks and return the rows the decision is about."""
    may(who, Verb.RELEASE, workshop.plan, workshop.store.people())
    if not _why(why):
        raise UsageError("Say why with --why: whoever looks at the piece next year will want to know.")
    rows = _list(workshop, serial).rows
    return [row for row in rows if figure in {"", row.characteristic, f"{row.stage}/{row.characteristic}"}]


def _parts_on_it(workshop: Workshop, serial: str) -> str:
    """Say which parts of a piece are on the list in its place: each is released by its own serial."""
    inside = way_down(serial, part_uses(workshop.store.events("part", until=workshop.today)))
    rows = hold_list(workshop, serials=inside, judge=False).rows if inside else ()
    waits = list(dict.fromkeys(row.serial for row in rows if row.waits))
    if not waits:
        return ""
    which = f"Its part {waits[0]} is" if len(waits) == 1 else f"Its parts {listed(waits)} are"
    return f". {which} on it: qc hold release {waits[0]} --who CODE --why REASON"


def _list(workshop: Workshop, serial: str) -> HoldList:
    return hold_list(workshop, serials=[serial], judge=False)


def _decisions(
    workshop: Workshop, rows: Sequence[HoldRow], what: PieceWord, who: str, why: str
) -> list[PieceDecision]:
    return [
        PieceDecision(
            row.serial, what, row.stage, row.characteristic, row.why, names[0], _why(why), who, workshop.now
        )
        for row in rows
        for names in row.rests_on
    ]


def _answer(workshop: Workshop, serial: str, told: str, *, already: bool) -> PieceAnswer:
    sentence = f"{told}." if not told.endswith(".") else told
    if already:
        sentence = f"{sentence} That stands already, word for word, so it was not recorded a second time."
    return PieceAnswer(serial, sentence, _list(workshop, serial).rows, already)


def _why(why: str) -> str:
    return " ".join(why.split())[:LONGEST_WHY]
