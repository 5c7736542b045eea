"""Layouts as text, as they stand in ``mappings.yaml``; read back they are the same."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence

from qc.ingest.layouts.shown import LaidTable, Pieces, Pointed, SheetLayout, ShownFigure, letters


def layouts_text(layouts: Iterable[SheetLayout]) -> str:
    """Return layouts as the lines below ``layouts:``, that line among them; empty without any.

    Examples
    --------
    >>> layouts_text(())
    ''
    """
    lines: list[str] = []
    for layout in layouts:
        lines.append(f"  - layout: {_quoted(layout.name)}")
        fixed = {f"{letters(column)}{line}": text for (line, column), text in layout.fixed}
        lines.append(f"    fixed: {_flow(fixed)}")
        lines += [f"    dates: {layout.dates}"] if layout.dates else []
        lines += [f"    decimal: {layout.decimal}"] if layout.decimal else []
        lines += [f"    serials: {_quoted(layout.serials)}"] if layout.serials else []
        lines += [f"    not measured: {_list(layout.not_measured)}"] if layout.not_measured else []
        lines += [f"    words: {_flow(dict(layout.words))}"] if layout.words else []
        lines.append("    tables:")
        for table in layout.tables:
            lines += _table(table)
    return "\n".join(["layouts:", *lines]) + "\n" if lines else ""


def _table(table: LaidTable) -> list[str]:
    lines = [f"      - card: {_quoted(table.card)}", f"        pieces: {_flow(_pieces(table.pieces))}"]
    lines += [f"        leave out: {_list(table.leave_out)}"] if table.leave_out else []
    lines += [f"        as above: {_list(table.as_above)}"] if table.as_above else []
    lines.append("        facts:" if table.facts else "        facts: {}")
    lines += [f"          {name}: {_spot(spot)}" for name, spot in table.facts]
    lines.append("        figures:")
    return lines + [f"          - {_figure(figure)}" for figure in table.figures]


def _pieces(pieces: Pieces) -> dict[str, str]:
    if pieces.are == "sheet":
        return {"are": "sheet"}
    spelled = str if pieces.are == "rows" else letters
    found = {"are": pieces.are, "first": spelled(pieces.first), "every": str(pieces.every)}
    return found | ({"last": spelled(pieces.last)} if pieces.last >= 0 else {})


def _figure(figure: ShownFigure) -> str:
    found = [("at", _quoted(figure.at())), ("is", _spot(figure.what))]
    found += [("unit", _spot(figure.unit))] if figure.unit is not None else []
    found += [(name, _spot(spot)) for name, spot in figure.places]
    found += [("within", _list(figure.within))] if figure.within else []
    return "{" + ", ".join(f"{name}: {text}" for name, text in found) + "}"


def _spot(spot: Pointed) -> str:
    text = _quoted(spot.text())
    return f"{{of: {text}, within: {_list(spot.within)}}}" if spot.within else text


def _flow(found: dict[str, str]) -> str:
    return "{" + ", ".join(f"{_quoted(name)}: {_quoted(text)}" for name, text in found.items()) + "}"


def _list(texts: Sequence[str]) -> str:
    return f"[{', '.join(map(_quoted, texts))}]"


def _quoted(text: str) -> str:
    """Write a text as YAML has it: a plain word or cell as it stands, anything else in double quotes."""
    bare = text.replace(" ", "").replace("-", "")
    if bare.isascii() and bare.isalnum() and text[0].isalnum() and text[-1].isalnum() and "  " not in text:
        return text
    return json.dumps(text, ensure_ascii=False)
