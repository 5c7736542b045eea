"""What is asked about the headings of a sheet: all unknown ones at once, what each may be, nearest first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from difflib import SequenceMatcher
from itertools import islice, product

from qc.ingest.cards.headings import LABELS, CardHeadings
from qc.ingest.cards.headlines import looks_like_serial
from qc.ingest.cards.laid import LayoutError
from qc.ingest.cards.mapping import BESIDE, ColumnQuestion, DateQuestion, SheetQuestion
from qc.ingest.cards.recognition import EVENT_SHAPES, FIXED_HEADINGS, VALUE
from qc.ingest.cells import (
    KNOWN_NAMES,
    both_ways,
    heading,
    packed_figures,
    plain,
    possible_days,
    read_decimal,
)
from qc.ingest.errors import SheetError
from qc.plan import PLACE, Card, Plan
from qc.words import APART, CLOSE, command_words, listed

FIXED = tuple("serial model day time person gauge tool tool_count batch air_c repeat".split())
"""What any card may have beside its figures, by our names."""

OWN = {
    "slide": ("leg", "station", "direction", "surface"),
    "tuning": ("partial", "position", "valve", "cents", "hz", "a4_hz", "method"),
    "lacquer": ("area", "spot", "thickness", "r1", "r2", "r3", "base"),
}
"""What the cards of a source have besides, by our names."""

WRITTEN = {"day": "Date", "air_c": "Room C", "a4_hz": "A4 Hz", "tool_count": "Draws", **LABELS}
HALF = 0.5  # chosen: a likeness below it says nothing about which card a sheet is
CONTAINED = 0.75  # chosen: a known word inside a longer one (Prüfdatum) is a good guess
MOST_ACROSS = 40  # chosen: places across in one list of choices; more could not be chosen from
SAID = 0.9  # chosen: what its cells say a column is, before any likeness of its heading but a whole one
NUMBERS = 0.1  # chosen: between two equal likenesses figures stand for a figure
EXAMPLES = 3


class HeadingsUnknown(LayoutError):
    """A sheet is refused for its headings; `question` is what a mapping has to answer."""

    question: SheetQuestion


def ask(refusal: SheetError, question: SheetQuestion) -> HeadingsUnknown:
    """Return a refusal that carries its question and names the way to answer it."""
    command = command_words("upload", refusal.file, "--propose-mapping")
    way = (
        f"Or answer once for this heading line: `{command}` prints what to "
        "fill in, and the board's page of sheets asks the same."
    )
    asked = HeadingsUnknown(
        refusal.file, refusal.problem, f"{refusal.hint} {way}", tab=refusal.tab, cell=refusal.cell
    )
    asked.question = question
    return asked


def known_headings(words: CardHeadings) -> str:
    """Say what may stand over a column of a card: its figures, their places, then what any card may have."""
    figures = ", ".join(dict.fromkeys(c.name for c in words.figures.values())) or "none"
    own = [kind for kind in PLACE if any(kind in places for places in words.places.values())]
    said = f"places on the piece stand under {listed([kind.capitalize() for kind in own])}"
    if not own:
        said = "where on the piece it was read is told by Station, Area or Leg, with its words in the plan"
    return f"its figures are {figures}; {said}; any card may have {FIXED_HEADINGS}"


def ask_columns(
    words: CardHeadings, columns: Sequence[tuple[str, Sequence[str]]], taken: Iterable[str], plan: Plan
) -> tuple[ColumnQuestion, ...]:
    """Return the question for each unknown heading.

    Parameters
    ----------
    words : CardHeadings
        The words of the card.
    columns : sequence of (str, sequence of str)
        Each unknown heading with the texts below it.
    taken : iterable of str
        Headings of the table that are known: none of these is guessed again.
    plan : Plan
        Its people, models and serials tell what a column of such words is.

    Returns
    -------
    tuple of ColumnQuestion
        In the order of the sheet.
    """
    choices = _choices(words)
    gone = {m for text in taken if (m := _meaning(words, text)) is not None}
    open_to = [(label, known) for label, known in choices if _meaning(words, label) not in gone]
    found = []
    for typed, texts in columns:
        found.append(_ask(words, typed, texts, open_to, choices, _mostly(texts, plan)))
    guessed = [column.guess for column in found]
    return tuple(
        replace(c, guess="") if c.guess != BESIDE and guessed.count(c.guess) > 1 else c for c in found
    )  # one heading cannot stand over two columns: which is which is for the bench to say


def ask_dates(texts: Iterable[str]) -> DateQuestion | None:
    """Return the first date that can be read two ways; None where there is none.

    Examples
    --------
    >>> ask_dates(["14.05.2026", "10/11/2026"]).month_first.isoformat()
    '2026-10-11'
    """
    for text in texts:
        ways = both_ways(text) if text[:1].isdigit() or text[:1].isalpha() else None
        if ways is not None:
            return DateQuestion(text.strip(), *ways)
    return None


def likeliest(cards: Sequence[Card], headings: Sequence[str], words: dict[str, CardHeadings]) -> list[Card]:
    """Return the cards that know a heading or come near one, those that know most of them first."""

    def fit(card: Card) -> float:
        own = words[card.id]
        known = [m for text in headings if text.strip() and (m := own.read(text)) is not None]
        figures = _figures(own)
        unknown = [text for text in headings if figures and own.read(text) is None]
        near = [score for text in unknown if (score := max(_ranked(text, figures))[0]) >= HALF]
        return sum(1.0 + 2.0 * m.figure for m in known) + sum(near)

    fits = {card.id: fit(card) for card in cards}
    return sorted(cards, key=lambda card: -fits[card.id])


def mostly_figures(texts: Sequence[str]) -> bool:
    """Tell whether at least half of what stands under a heading are figures."""
    filled = [text for text in texts if text]
    figures = sum(read_decimal(text) is not None or bool(packed_figures(text)) for text in filled)
    return bool(filled) and 2 * figures >= len(filled)


def with_dates(question: SheetQuestion, texts: Iterable[str]) -> SheetQuestion:
    """Return the question with the first date among the texts that can be read two ways."""
    return replace(question, dates=ask_dates(texts))


def _ask(
    words: CardHeadings,
    typed: str,
    texts: Sequence[str],
    open_to: list[tuple[str, tuple[str, ...]]],
    choices: list[tuple[str, tuple[str, ...]]],
    content: str,
) -> ColumnQuestion:
    numbers = mostly_figures(texts)
    ranked = [
        (
            max(score, SAID)
            if label == content
            else score + NUMBERS * (numbers and _is_figure(words, label)),
            label,
        )
        for score, label in _ranked(typed, open_to)
    ]
    ranked.sort(key=lambda found: -found[0])
    best, other = ranked[0], next((r for r in ranked[1:]), (0.0, ""))
    sure = best[0] >= CLOSE and best[0] - other[0] >= APART / 2
    guess = best[1] if sure and (numbers or not _is_figure(words, best[1])) else ""
    if not guess and not numbers and not content:
        guess = BESIDE  # words are lost to no chart; codes of the plan would be
    rest = [label for label, _ in choices if label not in {r[1] for r in ranked}]
    allowed = (*(label for _, label in ranked), *rest, BESIDE)
    filled = tuple(islice(dict.fromkeys(text for text in texts if text.strip()), EXAMPLES))
    return ColumnQuestion(typed, filled, tuple(dict.fromkeys(allowed)), guess)


def by_content(texts: Sequence[str], plan: Plan) -> str:
    """Return what the cells below a heading say they are, by the plan's names; empty where they do not."""
    filled = [text.strip() for text in texts if text.strip()]
    fits = [name for name, is_one in _told_by_cells(plan).items() if filled and all(map(is_one, filled))]
    return fits[0] if len(fits) == 1 else ""


def _told_by_cells(plan: Plan) -> dict[str, Callable[[str], bool]]:
    prefix = plan.workshop.serial_prefix
    return {
        "Date": lambda text: bool(possible_days(text)),
        "Serial": lambda text: (
            bool(prefix)
            and text[-1:].isdigit()
            and (text.startswith(prefix) or looks_like_serial(text, prefix))
        ),
        "Person": {person.code for person in plan.people}.__contains__,
        "Model": {name for model in plan.models for name in (model.id, model.name)}.__contains__,
    }


def _mostly(texts: Sequence[str], plan: Plan) -> str:
    """Return what at least half of the cells below a heading are: it is only asked, so some may be odd."""
    filled = [text.strip() for text in texts if text.strip()]
    codes: dict[str, Callable[[str], bool]] = {
        "Tool": {tool.id for tool in plan.tools}.__contains__,
        "Gauge": {gauge.id for gauge in plan.gauges}.__contains__,
    }
    shares = {name: sum(map(is_one, filled)) for name, is_one in (_told_by_cells(plan) | codes).items()}
    fits = [name for name, share in shares.items() if share and share >= HALF * len(filled)]
    return fits[0] if len(fits) == 1 else ""


def _ranked(typed: str, choices: Sequence[tuple[str, tuple[str, ...]]]) -> list[tuple[float, str]]:
    name = heading(typed, {}, {}).name or plain(typed)
    scored = [(max(_likeness(name, known) for known in names), label) for label, names in choices]
    return sorted(scored, key=lambda found: -found[0])


def _likeness(name: str, known: str) -> float:
    inside = CONTAINED if len(known) > 3 and known in name and known != name else 0.0
    return max(inside, SequenceMatcher(None, name, known).ratio())


def _meaning(words: CardHeadings, text: str) -> tuple[object, ...] | None:
    found = words.read(text)
    return None if found is None else (found.field, found.places, found.basis)


def _is_figure(words: CardHeadings, label: str) -> bool:
    found = words.read(label)
    return found is not None and found.figure


def _choices(words: CardHeadings) -> list[tuple[str, tuple[str, ...]]]:
    """Return what may stand over a column, each with the names it is likened by."""
    card = words.card
    places = dict.fromkeys(name for known in words.places.values() for name in known)
    event = EVENT_SHAPES.get(card.event or "", ())
    fields = [*places, *OWN.get(card.source, ()), *event, *FIXED, "note"]
    gauges = [(n.capitalize(), (n,)) for n, field in words.names.items() if field.startswith("gauge:")]
    found = [*_figures(words), *((_written(f), KNOWN_NAMES.get(f, (f,))) for f in fields), *gauges]
    return list(dict(found).items())


def _figures(words: CardHeadings) -> list[tuple[str, tuple[str, ...]]]:
    """Return each figure as a heading may name it, with the words that a typed one is compared with."""
    found: list[tuple[str, tuple[str, ...]]] = []
    for field, characteristic in words.figures.items():
        if field == "clearance":
            found += [(f"Clearance [um {basis}]", ("clearance",)) for basis in ("on diameter", "per side")]
            continue
        own = field.startswith(VALUE)
        if not own:
            alone = [value for spelled in words.places.get(field, {}).values() for value in spelled.values()]
            known = KNOWN_NAMES.get(field, ())
            found += [
                (f"{_written(field)} {value}", tuple(f"{value} {name}" for name in known))
                for value in alone
                if words.read(f"{_written(field)} {value}") is not None
            ]
        label = characteristic.name if own else _written(field)
        short = [name for name, of in words.short.items() if of == field and own]
        names: tuple[str, ...] = (plain(label), plain(characteristic.id.replace("-", " ")), *short)
        found.append((label, names if own else (plain(label), *KNOWN_NAMES.get(field, ()))))
        places = words.places.get(field, {})
        across = list(product(*(spelled.values() for spelled in places.values())))
        if own and places and len(across) <= MOST_ACROSS:
            for values in across:
                said = " ".join(values)
                if words.read(f"{label} {said}") is not None:
                    found.append((f"{label} {said}", tuple(f"{name} {said}" for name in names)))
    return found


def _written(field: str) -> str:
    """Return a field as it is written over a column."""
    return WRITTEN.get(field, KNOWN_NAMES.get(field, (field,))[0].capitalize())
