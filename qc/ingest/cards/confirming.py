"""Mappings as text: a proposal to edit, the file that is handed in, and ``mappings.yaml`` beside the plan."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence

from qc.ingest.cards.headings import CardHeadings
from qc.ingest.cards.mapping import BESIDE, ORDERS, CardMapping, SheetQuestion
from qc.ingest.cards.questions import known_headings
from qc.ingest.errors import MappingError
from qc.ingest.layouts import SheetLayout, layouts_text, read_layouts
from qc.plan import Card, Node, Plan, PlanFault, read_tree
from qc.words import closest, command_words, dated_words

FIELDS = ("card", "headings", "columns", "dates")
WHOLE = "the whole file"
_PLAIN_TEXT = re.compile(r"^[^\W\d_][\w ./()\[\]-]*[\w)\].]$|^[^\W\d_]$")
_TOP = """\
# Which heading lines of which benches mean what, and the layouts that were shown: kept by the board and by
# `qc upload --mapping`, a version each time it changes, and yours to edit. A heading line stands here once
# for each card. docs/reference/sheets.md, docs/reference/layouts.md
"""


def read_mapping(text: str, name: str, plan: Plan, *, strict: bool = True) -> tuple[CardMapping, ...]:
    """Read a mapping, or several under ``mappings:``.

    Parameters
    ----------
    text : str
        YAML: ``card``, ``columns: {typed: meant}``, ``dates: day-first|month-first``.
    name : str
        Name of the file, for the faults.
    plan : Plan
        The measuring plan.
    strict : bool
        Whether cards and headings that the plan does not know are faults. In what is remembered they are
        not: the plan may have changed since, and the sheet is then asked about again.

    Returns
    -------
    tuple of CardMapping

    Raises
    ------
    MappingError
        With every fault at once.

    Examples
    --------
    >>> read_mapping("mappings: []", "mappings.yaml", Plan.model_construct(), strict=False)
    ()
    """
    if not text.strip():
        raise MappingError(name, [_empty()])
    root, faults = read_tree(text)
    if root is None:
        raise MappingError(name, faults or [_empty()])
    blocks = [root]
    if root.get("mappings") is not None or root.get("layouts") is not None:
        faults += _strange(root, ("mappings", "layouts"))
        listed = root.get("mappings")
        blocks = listed.items() if listed is not None else []
        if listed is not None and not isinstance(listed.value, list) and listed.value is not None:
            faults.append(_fault(listed, "", "is no list", "Begin each mapping below it with a dash."))
    found = [_mapping(block, plan, faults, strict=strict) for block in blocks]
    if faults:
        raise MappingError(name, faults)
    return tuple(mapping for mapping in found if mapping is not None)


def read_layout_texts(text: str, name: str, plan: Plan, *, strict: bool = True) -> tuple[SheetLayout, ...]:
    """Read the layouts that a file has under ``layouts:``, none where it has none.

    Parameters
    ----------
    text : str
        YAML, as on the page of the reference about layouts.
    name : str
        Name of the file, for the faults.
    plan : Plan
        The measuring plan.
    strict : bool
        As in `read_mapping`.

    Returns
    -------
    tuple of SheetLayout

    Raises
    ------
    MappingError
        With every fault at once.

    Examples
    --------
    >>> read_layout_texts("mappings: []", "mappings.yaml", Plan.model_construct(), strict=False)
    ()
    """
    root, faults = read_tree(text)
    if root is None:
        raise MappingError(name, faults or [_empty()])
    block = root.get("layouts")
    found = read_layouts(block, plan, faults, strict=strict) if block is not None else ()
    if faults:
        raise MappingError(name, faults)
    return found


def mappings_text(mappings: Iterable[CardMapping], layouts: Iterable[SheetLayout] = ()) -> str:
    """Return mappings and layouts as the text of ``mappings.yaml``; read back they are the same."""
    lines = [_TOP, "mappings:" if (known := list(mappings)) else "mappings: []"]
    for mapping in known:
        lines.append(f"  - card: {_quoted(mapping.card)}")
        lines.append(f"    headings: {_line(mapping.headings)}")
        lines.append("    columns:" if mapping.columns else "    columns: {}")
        lines += [f"      {_quoted(typed)}: {_quoted(meant)}" for typed, meant in mapping.columns]
        lines += [f"    dates: {mapping.dates}"] if mapping.dates else []
    return "\n".join(lines) + "\n" + layouts_text(layouts)


def proposal_text(questions: Sequence[SheetQuestion]) -> str:
    """Return a mapping to edit: every unknown heading, what it may be beside it, nearest first."""
    if not questions:
        return "# Every heading is known and every date can be read one way only: no mapping is needed.\n"
    files = dict.fromkeys(question.file for question in questions)
    lines = [
        "# Write behind each heading what it means, save this as a file, and hand the sheet in with it:",
        f"#   {command_words('upload', *files, '--mapping', 'FILE')}",
        f'# "{BESIDE}" keeps a column with the sheet as a remark; no figure of it is read.',
    ]
    many = len(questions) > 1
    if many:
        lines.append("mappings:")
    for question in questions:
        own = _proposed(question)
        if many:
            own = [f"  - headings: {_line(question.headings)}", *(f"    {line}" for line in own)]
        lines += own
    return "\n".join(lines) + "\n"


def _proposed(question: SheetQuestion) -> list[str]:
    lines = [f"card: {_quoted(question.card)}  # {question.title}"]
    others = [f"{own} ({title})" for own, title in question.cards if own != question.card]
    if others:
        lines.append(f"# The sheet names no card; it may also be: {', '.join(others)}")
    lines.append("columns:" if question.columns else "columns: {}")
    for column in question.columns:
        if column.examples:
            lines.append(f"  # below it: {'; '.join(' '.join(text.split()) for text in column.examples)}")
        lines.append(f"  # may be: {', '.join(column.allowed)}")
        lines.append(f"  {_quoted(column.typed)}: {_quoted(column.guess)}".rstrip())
    if question.dates is not None:
        typed = question.dates.typed
        ways = zip(ORDERS, (question.dates.day_first, question.dates.month_first), strict=True)
        said = [f"{order}: {dated_words(day) if day else 'no day'}" for order, day in ways]
        lines.append(f"# {typed} is, {', '.join(said)}")
        lines.append("dates:")
    return lines


def _mapping(block: Node, plan: Plan, faults: list[PlanFault], *, strict: bool) -> CardMapping | None:
    if not isinstance(block.value, dict):
        faults.append(_fault(block, "", "is no mapping", "Write card, columns and dates below each other."))
        return None
    faults += _strange(block, FIELDS)
    own = block.text("card")
    card = next((c for c in plan.cards if own in {c.id, c.title}), None) if own else None
    titles = ", ".join(c.id for c in plan.cards) if strict else ""
    if not own:
        faults.append(_fault(block, "card", "is missing", f"Name a card of the plan: {titles}."))
    elif strict and card is None:
        faults.append(_fault(block, "card", f"names {own}, which is no card", f"The cards are: {titles}."))
    dates = block.text("dates")
    if dates and dates not in ORDERS:
        faults.append(_fault(block, "dates", f"says {dates}", f"Write {' or '.join(ORDERS)}."))
    headings = block.get("headings")
    if headings is not None and headings.value is not None and not headings.texts():
        faults.append(_fault(block, "headings", "is no list of headings", "Write it as [one, two]."))
    columns = _columns(block, faults)
    if strict and card is not None:
        faults += _unknown(block, columns, card, plan)
    if not strict and headings is None:
        faults.append(_fault(block, "headings", "is missing", "Write the heading line as [one, two]."))
    line = tuple(headings.texts()) if headings is not None else ()
    return CardMapping(card.id if card else own, tuple(columns), dates, line)


def _columns(block: Node, faults: list[PlanFault]) -> list[tuple[str, str]]:
    columns = block.get("columns")
    if columns is None or columns.value is None:
        return []
    if not isinstance(columns.value, dict):
        faults.append(_fault(block, "columns", "is no list of headings", "Write each as `typed: meant`."))
        return []
    found = []
    for typed, below in columns.value.items():
        meant = below.value.strip() if isinstance(below.value, str) else ""
        if not meant:
            mend = f"Write behind it what it means, or {BESIDE}."
            faults.append(PlanFault(below.line, f"columns.{typed}", "does not say what it means", mend))
        found.append((typed, BESIDE if meant.casefold() == BESIDE else meant))
    return found


def _unknown(block: Node, columns: Sequence[tuple[str, str]], card: Card, plan: Plan) -> list[PlanFault]:
    """Return a fault for each heading that the card does not know, or that two columns are said to be."""
    words, taken, found = CardHeadings(card, plan), dict[object, str](), []
    for typed, meant in columns:
        node = block.get("columns", typed) or block
        if not meant or meant == BESIDE:
            continue
        meaning = words.read(meant)
        if meaning is None:
            near = closest(meant.casefold(), [*words.names, *words.short])
            guess = f"Perhaps {near} is meant; " if near else ""
            mend = f"{guess}{known_headings(words)}, or write {BESIDE}."
            problem = f"{card.title} has no column {meant}"
            found.append(PlanFault(node.line, f"columns.{typed}", problem, mend[0].upper() + mend[1:]))
            continue
        key = (meaning.field, meaning.places)
        if meaning.field != "note" and key in taken:
            problem = f"means {meant}, and so does {taken[key]}"
            found.append(PlanFault(node.line, f"columns.{typed}", problem, f"Say {BESIDE} of one of them."))
        taken.setdefault(key, typed)
    return found


def _strange(block: Node, known: Sequence[str]) -> list[PlanFault]:
    if not isinstance(block.value, dict):
        return []
    return [
        PlanFault(below.line, below.path, "is no field of a mapping", f"The fields are: {', '.join(known)}.")
        for name, below in block.value.items()
        if name not in known
    ]


def _fault(block: Node, name: str, problem: str, mend: str) -> PlanFault:
    below = block.get(name) if name else None
    where = below.path if below is not None else ".".join(part for part in (block.path, name) if part)
    return PlanFault((below or block).line, where or WHOLE, problem, mend)


def _empty() -> PlanFault:
    mend = "Write card and columns, or let `qc upload FILE --propose-mapping` print a mapping to edit."
    return PlanFault(0, WHOLE, "is empty", mend)


def _line(headings: Sequence[str]) -> str:
    return f"[{', '.join(json.dumps(text, ensure_ascii=False) for text in headings)}]"


def _quoted(text: str) -> str:
    """Write a text as YAML has it: as it stands where it is a plain word, else in double quotes."""
    return text if not text or _PLAIN_TEXT.match(text) else json.dumps(text, ensure_ascii=False)
