"""Signals, decisions and what else was touched: what was found, what stands, what was said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from qc.report.terminal.columns import table
from qc.sayings import OUTCOME_WORDS, WORDS, Said, What, outcome_of
from qc.states import SIGNAL
from qc.watch import Span, caution_words, rate_words, without_interval
from qc.words import count_words, day_words


class Touch(NamedTuple):
    """A piece that something touched, as it is listed.

    `inside` is the instrument it went into, `held` whether only held rows tell of the touch, `again` the day
    on which it was measured once more.
    """

    serial: str
    inside: str
    day: date
    stages: Sequence[str]
    shipped: date | None
    returned: date | None
    held: bool
    again: date | None


@dataclass(frozen=True, slots=True)
class SignalWords:
    """Everything of one signal that is said in lines.

    Attributes
    ----------
    head : (str, str, str)
        Its id, the name of its series, and how it stands.
    sentence, because : str
        What it says; of a closed one by the words it was closed by.
    rate : float
        Chance of a false signal a piece.
    steps : sequence of (str, Said or None)
        The steps, with what was said where one is done.
    cautions, events
        Usual cautions; what was said, oldest first.
    told : sequence of (date, str, str)
        Day, sentence and coincidence each time it was said otherwise.
    owner, had, age_days, due, overdue
        Who has it, who had it before it was opened anew, for how long it is known, by when it is to be
        closed, whether that day is past.
    mend : str
        How far a mend is borne out.
    anew : (str, str) or None
        What is found now, where that is said otherwise than at the closing.
    beside : sequence of str
        What is to be known besides, in sentences.
    made_under : sequence of str
        Pieces made under the cause, a line each.
    """

    head: tuple[str, str, str]
    sentence: str
    because: str
    rate: float
    steps: Sequence[tuple[str, Said | None]] = ()
    cautions: Sequence[str] = ()
    events: Sequence[Said] = ()
    told: Sequence[tuple[date, str, str]] = ()
    owner: str = ""
    had: str = ""
    age_days: int = 0
    due: date | None = None
    mend: str = ""
    anew: tuple[str, str] | None = None
    made_under: Sequence[str] = ()
    beside: Sequence[str] = ()
    overdue: bool = False


def signal_text(words: SignalWords) -> str:
    """Say everything of one signal."""
    number, title, standing = words.head
    lines = [
        f"{number}  {title}  ({standing})",
        f"  {words.sentence}",
        f"  {words.because}",
        *([f"  Worked out anew since: {' '.join(words.anew)}"] if words.anew else []),
        *([f"  {words.mend}"] if words.mend else []),
        *(f"  {said}" for said in words.beside),
        *(
            [f"  {owner_words(words.owner, words.age_days, words.due, overdue=words.overdue, had=words.had)}"]
            if words.due
            else []
        ),
        f"  A series that has not changed is called so in error {rate_words(words.rate)}.",
        *(_step_line(place, step, done) for place, (step, done) in enumerate(words.steps, start=1)),
        *([f"  {caution_words(words.cautions)}"] if words.cautions else []),
        *(["  Made under it:", *(f"    {line}" for line in words.made_under)] if words.made_under else []),
        *(f"  {_event_words(event)}" for event in words.events),
        *_told_anew(words.sentence, words.because, words.told),
    ]
    return "\n".join(lines)


def owner_words(owner: str, age_days: int, due: date | None, *, overdue: bool = False, had: str = "") -> str:
    """Say who has a finding, for how long it is known, and by when it is to be closed.

    Examples
    --------
    >>> owner_words("IS", 3, date(2026, 12, 4))
    'In the hands of IS; known for 3 days, to be closed by 4 Dec.'
    >>> owner_words("", 1, None)
    'Nobody has taken it in hand; known for 1 day.'
    >>> owner_words("", 12, date(2026, 12, 4), overdue=True)
    'Nobody has taken it in hand; known for 12 days, overdue: it was to be closed by 4 Dec.'
    >>> owner_words("", 14, None, had="IS")
    'Nobody has taken it in hand since it was opened anew, IS before; known for 14 days.'
    """
    anew = f" since it was opened anew, {had} before" if had else ""
    who = f"In the hands of {owner}" if owner else f"Nobody has taken it in hand{anew}"
    asked = "overdue: it was to be closed" if overdue else "to be closed"
    by = f", {asked} by {day_words(due)}" if due else ""
    return f"{who}; known for {count_words(age_days, 'day')}{by}."


def _step_line(place: int, step: str, done: Said | None) -> str:
    said = f"  (done: {done.who}, {done.when.date().isoformat()})" if done else ""
    return f"  {place}. {step}{said}"


def _told_anew(sentence: str, because: str, told: Sequence[tuple[date, str, str]]) -> list[str]:
    """Say that the finding is told anew, and what had been said of it on which day."""
    now = without_interval(sentence), because
    earlier = [row for row in told if (without_interval(row[1]), row[2]) != now]
    if not earlier:
        return []
    said, before = [], ""
    for day, first, why in earlier:
        cause = why.partition(". ")[0]  # what follows is counted on from day to day
        said.append(f"    {day.isoformat()}: {first}{f' {why}' if cause != before else ''}")
        before = cause
    return ["  Told anew, by the pieces made since. It had been said:", *said]


def signals_text(rows: Sequence[tuple[str, str, str]], budget: str, whole: str = "") -> str:
    """List signals by id, standing and sentence; one alone is told whole."""
    lines = [whole] if whole else table(rows, widths=(0, max(map(len, SIGNAL)), 0), indent="")
    return "\n".join([*(lines or ["No signal is open."]), *(("", budget) if budget else ())])


def decisions_text(
    title: str, behaviour: str, baseline: Span | None, left_out: Sequence[Span], history: Sequence[Said]
) -> str:
    """Say what stands of a lead's decisions about a series, then their history."""
    stands = [f"  settled state: {baseline.first} to {baseline.last}"] if baseline else []
    stands += [f"  left out: {span.first} to {span.last}" for span in left_out]
    return "\n".join(
        [
            f"{title} ({behaviour})",
            *(stands or ["  nothing frozen, nothing left out"]),
            *(f"  {_history_words(said)}" for said in history),
        ]
    )


def touched_text(
    what: str,
    since: date | None,
    why_since: str,
    pieces: Sequence[Touch],
    as_of: date,
    doubts: Sequence[tuple[str, Mapping[str, date | None], Sequence[Touch]]] = (),
) -> str:
    """Say how many pieces it touched, how many are out, what a check found off before, and list them.

    A doubt is its sentence, its pieces with the day each was measured again, and the same pieces as listed.
    """
    gone = [one for one in pieces if one.shipped is not None]
    back = sum(one.returned is not None for one in gone)
    doubt = sum(one.held for one in pieces)
    when = f" since {day_words(since, as_of)}{why_since}" if since else why_since
    came = f", {back} of them came back" if back else ""
    head = f"{what} touched {count_words(len(pieces), 'piece')}{when}; {len(gone)} left the shop{came}."
    if doubt:
        head += f" {doubt} of them stand{'s' * (doubt == 1)} only on held rows: qc held list"
    lists = [_touched_table(pieces, as_of)]
    for because, touched, listed_ones in doubts:
        own = f" ({', '.join(touched)})" if touched else ""
        anew = [one for one, day in touched.items() if day is not None]
        later = f"; measured again since: {', '.join(anew)}" if anew else ""
        out = sum(one.shipped is not None for one in listed_ones)
        away = f", {out} of which left the shop" if out else ""
        head += f" Before, {because}: {count_words(len(touched), 'piece')} in between{own}{away}{later}."
        lists.append(["Read in between:", *_touched_table(listed_ones, as_of)] if listed_ones else [])
    return "\n".join([head, *(line for lines in lists for line in lines)])


def _touched_table(pieces: Sequence[Touch], today: date) -> list[str]:
    return table([_touch_row(piece, today) for piece in pieces])


def again_words(again: date | None, today: date) -> str:
    """Say that a piece was measured again since, empty where it was not.

    Examples
    --------
    >>> again_words(date(2026, 3, 9), date(2026, 3, 20))
    ', measured again on 9 Mar'
    """
    return "" if again is None else f", measured again on {day_words(again, today)}"


def _event_words(event: Said) -> str:
    became = OUTCOME_WORDS[outcome_of(event)] if event.what is What.CLOSED else ""
    if became and event.first:
        became += f" from {event.first} on"
    piece = event.first if event.what in {What.PIECE_DONE, What.PIECE_UNDONE} else ""
    said = "; ".join(part for part in (event.cause, event.action, became, piece, event.text) if part)
    return _dated(event) + (f" ({said})" if said else "")


def _history_words(said: Said) -> str:
    return f"{_dated(said)}, {said.first} to {said.last} ({said.text})"


def _dated(said: Said) -> str:
    return f"{said.when.date().isoformat()} {said.who}: {WORDS[said.what]}"


def _touch_row(piece: Touch, today: date) -> tuple[str, str, str]:
    part = f" in {piece.inside}" if piece.inside else ""
    left = f", left {day_words(piece.shipped, today)}" if piece.shipped else ", still here"
    if piece.returned:
        left += f", came back {day_words(piece.returned, today)}"
    doubt = again_words(piece.again, today) + (" (only on a held row)" if piece.held else "")
    return f"{piece.serial}{part}", day_words(piece.day, today), f"{', '.join(piece.stages)}{left}{doubt}"
