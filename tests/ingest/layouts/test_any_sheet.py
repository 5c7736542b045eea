"""A sheet of any make is read back through its layout exactly as it was filled in, or refused by its cell."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest

from qc.ingest import Known, Mappings, SheetError, check, read_layout_texts, read_sheet, unfold

STRANGER = Path(__file__).parents[2] / "strangers" / "eighth"
sys.path.insert(0, str(STRANGER.parent))

import score_sheets as score  # noqa: E402

PLAN, DAY = score.planned(STRANGER)
TARGETS = {"reiher": 92.0, "kranich": 108.0, "zeisig": 68.0}
STATIONS = {"innen": 0.56, "aussen": 0.44, "flanke": 0.50}


def letter(column):
    return chr(65 + column)


def drawn(draw):
    """Return a random sheet as cells, its layout as YAML, and the readings that were put in."""
    make = draw.choice(["rows", "columns", "blocks"])
    top, left = draw.randint(2, 5), draw.randint(1, 4)
    step = draw.randint(5, 8) if make == "blocks" else draw.randint(1, 2)
    order = draw.sample(["serial", "model", *STATIONS, "span"], 6)
    spots = {name: draw.sample(range(3), 1)[0] for name in order}
    cells = {(1, 0): draw.choice(["Bogen der Presse", "Sheet 7", "x"]), (1, 2): "09.09.2026"}
    meant = []
    for piece in range(draw.randint(1, 6)):
        model = draw.choice(list(TARGETS))
        said = {"serial": f"TW-{900 + piece}", "model": model}
        values = {s: round(v + draw.uniform(-0.03, 0.03), 2) for s, v in STATIONS.items()}
        values["span"] = round(TARGETS[model] + draw.uniform(-0.8, 0.8), 1)
        said |= {name: f"{value:g}".replace(".", ",") for name, value in values.items()}
        for number, name in enumerate(order):
            if make == "rows":
                where = top + piece * step, left + number
            elif make == "columns":
                where = top + number, left + piece * step
            else:
                where = top + piece * step + number % 5, left + spots[name] + 3 * (number // 5)
            cells[where] = said[name]
            if piece == 0:
                said[f"at {name}"] = f"{letter(where[1])}{where[0]}"
        first = said if piece == 0 else first  # noqa: F821
        meant += [(said["serial"], model, "bow_wall", s, values[s]) for s in STATIONS]
        meant.append((said["serial"], model, "bow_span", "", values["span"]))
    are = "columns" if make == "columns" else "rows"
    start = letter(left) if are == "columns" else top
    fixed = {"A1": cells[1, 0]}
    if make != "blocks":  # a heading beside each line or over each column, in words nobody knows
        for number, name in enumerate(order):
            where = (top - 1, left + number) if make == "rows" else (top + number, left - 1)
            if where not in cells:
                cells[where] = f"q{name[:2]}{draw.randint(10, 99)}"
                fixed[f"{letter(where[1])}{where[0]}"] = cells[where]
    lines = [
        "layouts:",
        "  - layout: any",
        f"    fixed: {{{', '.join(f'{cell}: {text}' for cell, text in fixed.items())}}}",
        "    dates: day-first",
        "    tables:",
        "      - card: bow-card",
        f"        pieces: {{are: {are}, first: {start}, every: {step}}}",
        "        facts:",
        f"          date: cell C1\n          serial: cell {first['at serial']}",
        f"          model: cell {first['at model']}",
        "        figures:",
        *(f"          - {{at: {first[f'at {s}']}, is: Bogenwand, station: {s}}}" for s in STATIONS),
        f"          - {{at: {first['at span']}, is: Bow span, unit: mm}}",
    ]
    return cells, "\n".join(lines), fixed, meant


def as_csv(cells):
    last, right = max(line for line, _ in cells), max(column for _, column in cells)
    rows = [[cells.get((line, column), "") for column in range(right + 1)] for line in range(1, last + 1)]
    return "\n".join(";".join(row) for row in rows).encode()


@pytest.mark.parametrize("seed", range(120))
def test_what_was_put_in_comes_back(seed):
    draw = random.Random(f"layout {seed}")
    cells, text, _, meant = drawn(draw)
    layouts = read_layout_texts(text, "any.yaml", PLAN)
    (grid,) = read_sheet(as_csv(cells), "any.csv")
    part = unfold(grid, PLAN, Mappings(layouts=layouts))
    # exactly what was put in, before anything is doubted of it
    columns = "serial", "model", "characteristic", "station", "value"
    rows = [(s, m, c, p, round(v, 6)) for s, m, c, p, v in part.readings.select(columns).iter_rows()]
    assert sorted(rows) == sorted(meant)
    for cell, value in part.readings.select("cell", "text").iter_rows():
        line, column = cell.removeprefix("line ").split(", column ")
        assert cells[int(line), ord(column) - 65] == value
    (checked,) = check([part], PLAN, Known(today=DAY))
    assert checked.readings.height + checked.held.height == len(meant)


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("handed_in", [True, False])
def test_a_sheet_that_was_changed_is_refused_by_its_cell(seed, handed_in):
    draw = random.Random(f"changed {seed}")
    cells, text, fixed, _ = drawn(draw)
    cell = draw.choice(list(fixed))
    cells[int(cell[1:]), ord(cell[0]) - 65] = "something else"
    layouts = read_layout_texts(text, "any.yaml", PLAN)
    known = Mappings(given_layouts=layouts) if handed_in else Mappings(layouts=layouts)
    (grid,) = read_sheet(as_csv(cells), "any.csv")
    with pytest.raises(SheetError) as refused:
        unfold(grid, PLAN, known)
    if handed_in or len(fixed) > 2:
        assert refused.value.cell == cell
        assert "something else" in refused.value.problem and fixed[cell] in refused.value.problem
