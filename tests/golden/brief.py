"""Short forms of long answers: what is long is kept as its length, its ends and its sum."""

import hashlib
import math
import re
from html.parser import HTMLParser
from itertools import chain

import numpy as np

LONG = 40
"""Lists longer than this are shortened."""

MANY = 4
"""Of more parts side by side on a page (rows of a table), the first, the last and a digest are kept."""
LOOKS = ("font", "margin", "hoverlabel", "modebar", "paper_bgcolor", "plot_bgcolor", "tickfont", "config")
"""Looks that every figure shares: kept as a digest."""


def brief(value, long=LONG):
    """Return plain values with long lists shortened; text and short lists stay whole."""
    if isinstance(value, dict):
        return {key: brief(part, long) for key, part in value.items()}
    if not isinstance(value, list | tuple):
        return value
    if len(value) <= long:
        return [brief(part, long) for part in value]
    return _shortened(list(value), long)


def _shortened(values, long):
    if all(isinstance(v, dict) for v in values):
        names = list(dict.fromkeys(chain.from_iterable(values)))
        columns = {name: brief([v.get(name) for v in values], long) for name in names}
        return {"rows": len(values), "columns": columns}
    if all(isinstance(v, list | tuple) for v in values):
        widths = {len(v) for v in values}
        if len(widths) == 1 and max(widths) <= long:
            columns = [brief(list(column), long) for column in zip(*values, strict=True)]
            return {"rows": len(values), "columns": columns}
        return {"lists": len(values), "joined": brief(list(chain.from_iterable(values)), long)}
    numbers = [float(v) for v in values if isinstance(v, int | float) and not isinstance(v, bool)]
    numbers = [v for v in numbers if math.isfinite(v)]
    others = [repr(v) for v in values if not isinstance(v, int | float) or isinstance(v, bool)]
    short = {"length": len(values), "ends": [brief(values[0], long), brief(values[-1], long)]}
    if numbers:
        short |= {"numbers": len(numbers), "sum": math.fsum(numbers)}
    if others:
        short |= {"others": len(others), "digest": digest("\n".join(others))}
    return short


def digest(text):
    """Return a short name of a text."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def brief_csv(text):
    """Return a csv text as its head and shortened columns."""
    lines = [line.split(",") for line in text.splitlines()]
    columns = zip(*lines[1:], strict=False)
    return {
        "head": lines[0],
        "rows": len(lines) - 1,
        "columns": [brief([_number(c) for c in k], 6) for k in columns],
    }


def _number(cell):
    try:
        return float(cell)
    except ValueError:
        return cell


class _Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.text, self.tags, self.numbers, self._style = [], {}, [], False

    def handle_starttag(self, tag, attrs):
        self.tags[tag] = self.tags.get(tag, 0) + 1
        self._style = tag in ("style", "script")
        drawn = " ".join(
            v or "" for k, v in attrs if k in ("d", "x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "points")
        )
        self.numbers += [float(n) for n in re.findall(r"-?\d+\.?\d*", drawn)]

    def handle_endtag(self, tag):
        self._style = False

    def handle_data(self, data):
        words = " ".join(data.split())
        if words and not self._style:
            self.text.append(words)


def brief_html(text):
    """Return the words of a page, how often each tag stands in it, and the sum of its drawn numbers."""
    reader = _Reader()
    reader.feed(text)
    return {"text": reader.text, "tags": reader.tags, "drawn": brief([0.0, *reader.numbers], 1)}


def brief_workbook(path):
    """Return every sheet of a workbook: its cells where they are few, else each column shortened."""
    import openpyxl

    book = openpyxl.load_workbook(path)
    found = {}
    for sheet in book.worksheets:
        rows = [[_cell(cell.value) for cell in row] for row in sheet.iter_rows()]
        head = rows[:3] if len(rows) > LONG else []
        found[sheet.title] = {"size": sheet.dimensions, "head": head, "cells": brief(rows)}
    book.close()
    return found


def _cell(value):
    return value if isinstance(value, int | float | str | None) else value.isoformat()


def brief_pdf(path):
    """Return the words on every page of a pdf, line by line."""
    import pypdfium2

    document = pypdfium2.PdfDocument(path)
    pages = []
    for page in document:
        text = page.get_textpage()
        pages.append(text.get_text_range().splitlines())
        text.close()
        page.close()
    document.close()
    return pages


def brief_picture(path, across=16, down=10):
    """Return the mean grey of a picture in a coarse grid, and its size in pixels."""
    from matplotlib.image import imread

    grey = imread(path)[..., :3].mean(axis=2)
    blocks = [np.array_split(band, across, axis=1) for band in np.array_split(grey, down)]
    return {
        "size": list(grey.shape),
        "grey": [[round(100 * float(b.mean())) for b in band] for band in blocks],
    }


def outline(component):
    """Return a Dash component tree as indented lines, and its figures with shortened arrays."""
    lines, figures = [], []
    _outline(component, 0, lines, figures)
    return {"outline": lines, "figures": figures}


def _outline(part, depth, lines, figures):
    pad = " " * depth
    if isinstance(part, list):
        blocks = [_block(one, depth, figures) for one in part]
        if len(blocks) > MANY:
            rest = blocks[2:-1]
            blocks[2:-1] = [[f"{pad}… {len(rest)} more, {digest(str(rest))}"]]
        lines += chain.from_iterable(blocks)
    elif isinstance(part, dict) and "props" in part:
        props = dict(part["props"])
        inside = props.pop("children", None)
        if "figure" in props:
            figures.append(brief(decoded(props.pop("figure")), 4))
        if "tree" in props:
            props["tree"] = digest(str(props["tree"]))
        words = " ".join(
            f"{name}={_plain(value)}" for name, value in sorted(props.items()) if value is not None
        )
        lines.append(f"{pad}{part['type']} {words}".rstrip())
        _outline(inside, depth + 1, lines, figures)
    elif part is not None:
        lines.append(f"{pad}| {part}")


def _block(part, depth, figures):
    lines = []
    _outline(part, depth, lines, figures)
    return lines


def _plain(value):
    if isinstance(value, str):
        return value if len(value) < 300 else f"{value[:100]}… {digest(value)}"
    return str(brief(value, 6))


def decoded(value):
    """Return a figure with its packed arrays as lists."""
    import base64

    if isinstance(value, dict):
        if set(value) >= {"dtype", "bdata"}:
            return np.frombuffer(base64.b64decode(value["bdata"]), value["dtype"]).tolist()
        shown = {k: v for k, v in value.items() if k != "template" and k not in LOOKS}
        looks = {k: v for k, v in value.items() if k in LOOKS}
        return {k: decoded(v) for k, v in shown.items()} | ({"looks": digest(str(looks))} if looks else {})
    return [decoded(v) for v in value] if isinstance(value, list) else value
