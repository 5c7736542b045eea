"""Write the fifty layouts of the tenth stranger and what must come of each.

    python tests/strangers/tenth/make_layouts.py

The sheets and their readings stand in `layouts.txt`, as a person wrote them before anything was run: a
line `= file`, a line `why`, lines of readings, a line `---`, and the sheet. A workbook's sheet is
written with bars between its cells; `tab NAME` begins a tab and `merge A1:D1` merges cells.
"""

from __future__ import annotations

import io
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import openpyxl
import yaml

HERE = Path(__file__).parent
HEAD = (HERE / "layouts-head.txt").read_text("utf-8")


def readings_of(line: str) -> list[str]:
    """Spell out `serial model month-day: name kind: place=value ...; name place=word value`."""
    who, _, what = line.partition(": ")
    serial, model, day = who.split()
    found = []
    for part in what.split(";"):
        name, *words = part.split()
        kind, fixed = "", []
        for word in words:
            if word.endswith(":"):
                kind = word[:-1]
            elif kind:
                place, _, value = word.partition("=")
                found.append((name, [*fixed, f"{kind}={place}"], value))
            elif "=" in word:
                fixed.append(word)
            else:
                found.append((name, fixed, word))
    full = serial if "-" in serial else f"F26-{serial}"
    return [f"{full} | {model} | 2026-{day} | {name} | {' '.join(p)} | {v}" for name, p, v in found]


def cell_of(text: str) -> Any:
    """Return a workbook's value: a number, a day written `@2026-11-02`, or text."""
    if text.startswith("@"):
        return datetime.combine(date.fromisoformat(text[1:]), datetime.min.time())
    if text.startswith("'"):
        return text[1:]
    try:
        return float(text) if "." in text else int(text)
    except ValueError:
        return text or None


def workbook(lines: list[str]) -> bytes:
    """Make a workbook; its bytes depend on nothing but the lines."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    tab = None
    for line in lines:
        if line.startswith("tab "):
            tab, row = book.create_sheet(line[4:]), 0
            continue
        if tab is None:
            tab, row = book.create_sheet("Sheet1"), 0
        if line.startswith("merge "):
            tab.merge_cells(line[6:])
            continue
        row += 1
        for column, text in enumerate(line.split("|") if line else [], 1):
            if (value := cell_of(text.strip())) is not None:
                tab.cell(row, column, value)
    book.properties.created = book.properties.modified = datetime(2026, 11, 20)
    made = io.BytesIO()
    book.save(made)
    out = io.BytesIO()
    with ZipFile(made) as given, ZipFile(out, "w", ZIP_DEFLATED) as kept:
        for name in given.namelist():
            if name == "docProps/core.xml":
                text = given.read(name).split(b"<dcterms:modified")[0] + b"</cp:coreProperties>"
                kept.writestr(ZipInfo(name), text)
            else:
                kept.writestr(ZipInfo(name), given.read(name))
    return out.getvalue()


def main() -> None:
    """Write the sheets and `layouts.yaml`."""
    (HERE / "layouts").mkdir(exist_ok=True)
    cases: list[dict[str, Any]] = []
    for block in (HERE / "layouts.txt").read_text("utf-8").split("\n= ")[1:]:
        head, _, sheet = block.partition("\n---\n")
        file, *told = head.splitlines()
        case: dict[str, Any] = {"file": file}
        where: list[str] | None = None
        for line in told:
            word, _, rest = line.partition(" ")
            if word == "why":
                case["why"] = rest
            elif word == "whole":
                case["whole"] = True
            elif word in ("asked", "either"):
                one: dict[str, Any] = {"names": rest.split(", "), "readings": []}
                case.setdefault(word, []).append(one)
                where = one["readings"]
            else:
                where = case.setdefault("readings", []) if where is None else where
                where += readings_of(line)
        cases.append(case)
        lines = sheet.rstrip("\n").split("\n")
        text = "\n".join(lines) + "\n"
        code = "utf-16" if "utf16" in file else "cp1252" if "latin" in file else "utf-8"
        made = workbook(lines) if file.endswith("xlsx") else text.encode(code)
        (HERE / "layouts" / file).write_bytes(made)
    body = yaml.safe_dump({"layouts": cases}, allow_unicode=True, sort_keys=False, width=1000)
    (HERE / "layouts.yaml").write_text(f"{HEAD}\nas_of: 2026-11-20\n{body}", "utf-8")


if __name__ == "__main__":
    main()
