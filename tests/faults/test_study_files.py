"""Every chart of `qc study` and every mode of `qc gauge` with every kind of bad file.

Whatever the file holds, the answer is strict JSON, or one sentence and exit 1 or 2: no traceback, no warning
(warnings are errors here), no NaN. Where the fault has a place, the sentence names it.
"""

import json

import numpy as np
import polars as pl
import pytest
import xlsxwriter

from qc.cli.main import main

N = 30


def readings(seed, mean):
    """Return one column of invented readings."""
    return np.random.default_rng(seed).normal(mean, 1, N).round(3).tolist()


GOOD = {
    "mm": readings(1, 10),
    "wall": readings(2, 5),
    "gap": readings(3, 1),
    "tray": np.repeat(np.arange(10), 3).tolist(),
    "spot": ["near", "middle", "far"] * 10,
    "faults": np.random.default_rng(4).poisson(4, N).tolist(),
    "pieces": [50] * N,
    "draws": list(range(1, N + 1)),
    "days": np.random.default_rng(5).exponential(10, N).round(2).tolist(),
    "model": ["tenor", "alto"] * 15,
    "part": np.repeat(np.arange(5), 6).tolist(),
    "who": ["P1", "P2", "P3"] * 10,
    "ring": np.repeat([9.0, 10.0, 11.0], 10).tolist(),
}
INSIDE = "--lower 5 --upper 15"
STUDIES = [  # column that is spoilt, chart and options
    ("mm", "individuals"),
    ("mm", f"individuals {INSIDE} --target 9 --shape positive"),
    ("mm", f"individuals {INSIDE} --shape any"),
    ("mm", "individuals --lower 5 --limits guaranteed --rules all --resolution 0.1"),
    ("mm", "individuals --limits prediction --screen --robust"),
    ("mm", f"individuals --series model {INSIDE}"),
    ("mm", "individuals --nominal ring --model model"),
    ("ring", "individuals --nominal ring"),
    ("mm", f"mean-range --subgroup tray {INSIDE}"),
    ("mm", "mean-sd --subgroup tray --limits guaranteed"),
    ("mm", f"three-way --subgroup tray --place spot {INSIDE}"),
    ("mm", "ewma --time-varying"),
    ("mm", "cusum --fast-start"),
    ("mm", "self-starting"),
    ("mm", "changepoint"),
    ("mm", "changepoint --shape any"),
    ("mm", f"trend --against draws {INSIDE}"),
    ("draws", "trend --against draws"),
    ("mm", "t2"),
    ("wall", "mewma"),
    ("faults", "defects"),
    ("faults", "defects --exact"),
    ("faults", "defects-per-unit --size pieces --corrected"),
    ("pieces", "defects-per-unit --size pieces --exact"),
    ("faults", "number-defective --size pieces"),
    ("faults", "proportion --size pieces --exact"),
    ("pieces", "proportion --size pieces --corrected"),
    ("days", "time-between"),
    ("faults", "time-between --exact"),
]
GAUGES = [
    ("mm", f"--part part --person who {INSIDE} --resolution 0.01"),
    ("mm", "--part part --person who --keep-interaction --by-hand"),
    ("mm", f"--part part {INSIDE} --by-hand"),
    ("mm", "--part part --person who --nested --lower 5"),
    ("ring", "--reference ring"),
]
COUNTED = ("faults", "pieces")
SEVERAL = ("t2", "mewma")


def words(column, options):
    """Words of the command after the file."""
    chart = options.split()[0]
    if options.startswith("--"):
        return ["gauge", "--value", "mm", *options.split()]
    value = "mm,wall,gap" if chart in SEVERAL else column
    if f" --size {column}" in options:
        value = "faults"
    if f" --against {column}" in options or f" --nominal {column}" in options:
        value = "mm"
    return ["study", "--value", value, "--chart", *options.split()]


CALLS = [pytest.param(column, words(column, options), id=options) for column, options in STUDIES + GAUGES]


def may_have_holes(command):
    """Tell whether an empty reading is one that was never taken: a study of a gauge on parts."""
    return command[0] == "gauge" and "--part" in command


def with_cell(cell):
    return lambda cells: [*cells[:3], cell, *cells[4:]]


def times(factor):
    return lambda cells: [cell * factor for cell in cells]


def write(path, columns):
    """Write a table; None becomes an empty cell."""
    if path.suffix == ".csv":
        rows = [",".join(columns)]
        rows += [
            ",".join("" if c is None else str(c) for c in row) for row in zip(*columns.values(), strict=True)
        ]
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    elif path.suffix == ".parquet":
        pl.DataFrame({name: pl.Series(_one_kind(cells)) for name, cells in columns.items()}).write_parquet(
            path
        )
    else:
        book = xlsxwriter.Workbook(str(path))
        page = book.add_worksheet("Study")
        for column, (name, cells) in enumerate(columns.items()):
            page.write(0, column, name)
            for row, cell in enumerate(cells, start=1):
                if cell is not None:
                    page.write(row, column, cell)
        book.close()


def _one_kind(cells):
    """A parquet column is of one kind: text where any cell is."""
    if any(isinstance(cell, str) for cell in cells):
        return [None if cell is None else str(cell) for cell in cells]
    return cells


@pytest.fixture
def ask(tmp_path, capsys):
    """Run the whole command in this process: (exit code, answer or None, what it said)."""

    def run(command, columns, suffix=".csv", more=("--json",)):
        path = tmp_path / f"table{suffix}"
        write(path, columns)
        code = main([command[0], str(path), *command[1:], *more])
        out, err = capsys.readouterr()
        assert code in (0, 1, 2)
        if code:
            assert out == ""
            assert err.startswith("qc: ") and err.count("\n") == 1 and "Traceback" not in err
            return code, None, err
        assert err == ""
        answer = None
        if "--json" in more:
            answer = json.loads(out, parse_constant=lambda word: pytest.fail(f"{word} is not strict JSON"))
        return code, answer, out

    return run


def spoilt(column, change):
    return GOOD | {column: change(list(GOOD[column]))}


@pytest.mark.parametrize("column, command", CALLS)
def test_the_good_file_is_answered(ask, column, command):
    code, answer, _ = ask(command, GOOD)
    assert code == 0 and answer
    code, _, text = ask(command, GOOD, more=())
    assert code == 0 and text.strip() and "nan" not in text.replace("nance", "")


@pytest.mark.parametrize("column, command", CALLS)
def test_a_missing_column_is_named(ask, column, command):
    code, _, said = ask(command, {name: cells for name, cells in GOOD.items() if name != column})
    assert code == 1
    assert f"there is no column '{column}'" in said and "table.csv" in said


@pytest.mark.parametrize("column, command", CALLS)
@pytest.mark.parametrize("cell", ["abc", None, "-Infinity", "NaN", "1e300"])
def test_a_cell_that_is_no_usable_number_is_named_with_its_line(ask, column, command, cell):
    columns = {name: [str(c) for c in cells] for name, cells in GOOD.items()}
    columns[column][3] = cell
    code, answer, said = ask(command, columns)
    if cell is None and may_have_holes(command):
        assert code == 0 and answer["anova"][-1]["df"] == N - 2
        by_hand = {"--by-hand", "--person"} <= set(command)
        assert not by_hand or answer["by_hand"]["left_out"], "its part is read less often than the others"
        return
    assert code == 1
    assert "table.csv, line 5: " in said and f"column '{column}'" in said


@pytest.mark.parametrize(
    "column, command",
    [CALLS[i] for i in (0, 8, 18, 23, 27)] + CALLS[-5:-4] + CALLS[-1:],
)
@pytest.mark.parametrize("cell", ["abc", None, "nan", "inf"])
@pytest.mark.parametrize("suffix", [".xlsx", ".parquet"])
def test_workbooks_name_the_cell_and_parquet_the_row(ask, column, command, cell, suffix):
    code, answer, said = ask(command, spoilt(column, with_cell(cell)), suffix)
    if cell is None and may_have_holes(command):
        assert code == 0 and answer["anova"][-1]["df"] == N - 2
        return
    letter = "ABCDEFGHIJKLM"[list(GOOD).index(column)]
    assert code == 1
    assert (f"table.xlsx, cell {letter}5: " if suffix == ".xlsx" else "table.parquet, row 4: ") in said
    assert f"column '{column}'" in said


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".parquet"])
@pytest.mark.parametrize("command", [CALLS[0].values[1], CALLS[-5].values[1], CALLS[-1].values[1]])
def test_files_without_rows(ask, command, suffix):
    code, _, said = ask(command, {name: cells[:0] for name, cells in GOOD.items()}, suffix)
    assert code == 1 and "there are no rows under the names" in said


@pytest.mark.parametrize("column, command", CALLS)
@pytest.mark.parametrize("rows", [1, 2, 3, 4])
def test_a_handful_of_rows_is_answered_or_refused_with_the_need(ask, column, command, rows):
    code, answer, said = ask(command, {name: cells[:rows] for name, cells in GOOD.items()})
    if code == 0:
        assert answer
    else:
        assert any(word in said for word in ("need", "has no reading", "nothing", "differ", "takes", "equal"))


CHANGES = {
    "constant": lambda cells: [cells[0]] * N,
    "a constant that binary numbers cannot hold": lambda cells: [0.1] * N,
    "zeros": lambda cells: [0] * N,
    "one cell differs": lambda cells: [cells[0]] * (N - 1) + [cells[0] + 1],
    "two values in turn": lambda cells: [cells[0], cells[0] + 1] * (N // 2),
    "negative": lambda cells: [-abs(cell) - 1 for cell in cells],
    "all huge": times(1e58),
    "one huge": with_cell(1e59),
    "one tiny": with_cell(1e-300),
    "far from zero": lambda cells: [cell + 1e15 for cell in cells],
}


@pytest.mark.parametrize("column, command", CALLS)
def test_odd_numbers_give_strict_json_or_one_sentence(ask, column, command):
    for change in CHANGES.values():
        code, _, said = ask(command, spoilt(column, change))
        assert code in (0, 1) and said


@pytest.mark.parametrize(
    "column, command", [call for call in CALLS if "--nominal ring" not in call.id or call.values[0] != "ring"]
)
def test_numbers_too_small_to_square_are_refused(ask, column, command):
    code, _, said = ask(command, spoilt(column, times(1e-300)))
    assert code == 1
    assert any(word in said for word in ("too small", "whole numbers", "above 0"))


@pytest.mark.parametrize("column, command", [call for call in CALLS if call.values[0] in COUNTED])
def test_negative_counts_and_size_0(ask, column, command):
    code, _, said = ask(command, spoilt(column, with_cell(-1 if column == "faults" else 0)))
    assert code == 1
    if column == "pieces":
        assert "size 4 is 0: it must be above 0" in said
    elif "time-between" in command:
        assert "cannot be negative" in said
    else:
        assert "count 4 is -1: counts are whole numbers from 0 up" in said


OFFSET = 1_000_000_000.0
SHIFTED = [call for call in CALLS if call.values[0] == "mm" and "--shape" not in call.values[1]]


@pytest.mark.parametrize("column, command", SHIFTED)
def test_a_large_offset_costs_no_digits(ask, column, command):
    """Readings about 1e9: every spread stays what it was (readings themselves keep six decimals there)."""
    limits = {"5": str(OFFSET + 5), "15": str(OFFSET + 15)}
    far = [limits.get(word, word) for word in command]
    columns = GOOD | {
        "mm": [cell + OFFSET for cell in GOOD["mm"]],
        "ring": [c + OFFSET for c in GOOD["ring"]],
    }
    _, near, _ = ask(command, GOOD)
    _, found, _ = ask(far, columns)
    for ours, theirs in zip(spreads(found), spreads(near), strict=True):
        assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-6)


def spreads(answer):
    """Everything in an answer that a shift of all readings must leave as it is."""
    if "series" in answer:
        return [figure for one in answer["series"].values() for figure in spreads(one)]
    if "components" in answer:
        shares = [answer[name] for name in ("share_of_variation", "share_of_tolerance") if answer[name]]
        return [*answer["components"].values(), *shares]
    chart = answer["chart"]
    kept = [chart["sigma"]] if chart["sigma"] is not None else []
    if chart["kind"] in ("t2", "mewma", "self-starting"):
        kept += [value for value in chart["values"] if value is not None]
    kept += [signal["point"] for signal in answer["signals"]]
    kept += [signal["size"] for signal in answer["signals"]]
    figures = answer.get("capability") or {}
    return kept + [figures[name] for name in ("cp", "cpk", "pp", "ppk") if figures.get(name) is not None]


VERDICTS = {
    "piece": [*range(6)] * 2,
    "judge": ["P1"] * 6 + ["P2"] * 6,
    "said": ["good", "bad"] * 6,
    "true": ["good", "bad"] * 6,
}
BY_EYE = (
    "gauge",
    "--value",
    "said",
    "--part",
    "piece",
    "--person",
    "judge",
    "--agreement",
    "--truth",
    "true",
)


@pytest.mark.parametrize("column", list(VERDICTS))
@pytest.mark.parametrize("fault", ["missing", "empty"])
def test_verdicts_by_eye_name_what_is_missing(ask, column, fault):
    assert ask(BY_EYE, VERDICTS)[0] == 0
    columns = {name: cells for name, cells in VERDICTS.items() if name != column}
    if fault == "empty":
        columns = VERDICTS | {column: with_cell(None)(VERDICTS[column])}
    code, _, said = ask(BY_EYE, columns)
    assert code == 1 and f"'{column}'" in said
    assert ("line 5" in said) == (fault == "empty")


@pytest.mark.parametrize(
    "options, words_",
    [
        ("--lower 15 --upper 5", "not below|below the upper|wrong way|must be below"),
        ("--lower 5 --upper 15 --target 20", "target"),
        ("--lower nan", "limit"),
        ("--upper inf", "limit"),
        ("--sigma 0", "sigma"),
        ("--sigma -1", "sigma"),
        ("--sigma 1e-300", "sigma"),
        ("--sigma 1e300", "sigma"),
        ("--center nan", "center"),
        ("--resolution 0", "resolution"),
        ("--resolution inf", "resolution"),
        ("--baseline 40:50", "baseline"),
        ("--baseline 0", "baseline"),
        ("--limits guaranteed:2", "confidence"),
        ("--chart ewma --weight 0", "weight"),
        ("--chart ewma --width -1", "width"),
        ("--chart cusum --decision 0", "decision"),
        ("--chart cusum --reference nan", "reference"),
        ("--chart changepoint --false-alarm-rate 2", "false-alarm rate"),
    ],
)
def test_options_out_of_range_are_named(ask, options, words_):
    code, _, said = ask(["study", "--value", "mm", *options.split()], GOOD)
    assert code in (1, 2)
    assert any(word in said for word in words_.split("|")), said


@pytest.mark.parametrize(
    "options, words_",
    [
        ("--lower 15 --upper 5", "lower limit 15 is not below upper limit 5"),
        ("--lower nan", "lower limit is nan"),
        ("--upper 1e300", "upper limit is 1e+300"),
        ("--resolution 0", "resolution is 0"),
        ("--resolution 1e300", "resolution is 1e+300"),
        ("--confidence 0", "--confidence is 0"),
        ("--confidence nan", "--confidence is nan"),
    ],
)
def test_gauge_options_out_of_range_are_named(tmp_path, capsys, options, words_):
    path = tmp_path / "table.csv"
    write(path, GOOD)
    code = main(["gauge", str(path), "--value", "mm", "--part", "part", "--person", "who", *options.split()])
    out, err = capsys.readouterr()
    assert code in (1, 2) and out == "" and words_ in err and err.count("\n") == 1
