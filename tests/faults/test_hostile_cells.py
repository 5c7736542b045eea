"""Every question that is asked of a table, with cells and options that nobody should write.

Whatever stands in a cell, the answer is strict JSON or one sentence with exit 1 or 2: no traceback, no
warning (warnings are errors here), nothing infinite and no NaN.
"""

import contextlib
import io
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.cli.main import main

TENOR = ["--length-mm", "2944.9", "--valve", "F=986.1"]
NOTES = {
    "partial": ["2", "4", "3", "2", "4", "3", "5"],
    "position": ["1", "1", "1", "1", "1", "2", "1"],
    "valve": ["", "", "", "F", "F", "", ""],
    "cents": ["6", "5.2", "-3", "-8.1", "-9.3", "2", "1"],
    "tester": ["AB"] * 7,
    "sitting": ["1", "1", "1", "1", "2", "2", "2"],
    "air_c": ["21"] * 7,
}
INNER = {
    "tube": ["I1", "I1", "I2", "I2", "I3", "I3"],
    "station": ["a", "b"] * 3,
    "od_mm": ["13.90", "13.91"] * 3,
}
OUTER = {
    "tube": ["O1", "O1", "O2", "O2", "O3", "O3"],
    "station": ["a", "b"] * 3,
    "id_mm": ["14.05", "14.06"] * 3,
}
SPOTS = {
    "area": ["bell", "bell", "bow", "bow", "slide", "slide"],
    "spot": ["1", "2"] * 3,
    "um": ["14", "15", "16", "13", "12", "15"],
    "base_um": ["0.1", "", "0.2", "", "0.1", ""],
    "serial": ["Q1"] * 6,
}
DRAWS = {
    "mm": ["14.01", "14.02", "14.03", "14.045", "14.05"],
    "draws": ["1", "40", "80", "120", "160"],
    "die": ["D1"] * 5,
}
READINGS = {
    "mm": ["10.1", "10.2", "9.9", "10.0", "10.3", "9.8", "10.1", "10.2"],
    "part": ["a", "a", "b", "b"] * 2,
    "who": ["P1"] * 4 + ["P2"] * 4,
    "ring": ["9", "9", "10", "10", "11", "11", "12", "12"],
    "day": ["1", "1", "2", "2", "3", "3", "4", "4"],
}
CALLS = {  # table, the words of the command around its file, columns that are spoilt
    "tune": (NOTES, ["tune", "FILE", *TENOR], ["cents", "partial", "position", "valve", "air_c", "sitting"]),
    "tune --reading-sd": (NOTES, ["tune", "FILE", *TENOR, "--reading-sd", "3"], ["cents", "air_c"]),
    "pair": (
        INNER,
        [
            "pair",
            "--inner",
            "FILE",
            "--outer",
            "OTHER",
            "--target-um",
            "150",
            "--lower-um",
            "100",
            "--upper-um",
            "200",
        ],
        ["od_mm", "tube", "station"],
    ),
    "coat": (
        SPOTS,
        ["coat", "FILE", "--nominal", "15", "--lower", "10"],
        ["um", "base_um", "area", "serial"],
    ),
    "wear": (
        DRAWS,
        [
            "wear",
            "FILE",
            "--value",
            "mm",
            "--against",
            "draws",
            "--tool",
            "die",
            "--upper",
            "14.1",
            "--per-week",
            "20",
        ],
        ["mm", "draws", "die"],
    ),
    "study": (READINGS, ["study", "FILE", "--value", "mm", "--checks"], ["mm"]),
    "study --order": (READINGS, ["study", "FILE", "--value", "mm", "--order", "day"], ["mm", "day"]),
    "study --size": (
        READINGS,
        ["study", "FILE", "--value", "day", "--chart", "defects-per-unit", "--size", "ring"],
        ["day", "ring"],
    ),
    "gauge": (
        READINGS,
        ["gauge", "FILE", "--value", "mm", "--part", "part", "--person", "who"],
        ["mm", "part", "who"],
    ),
    "gauge --reference": (
        READINGS,
        ["gauge", "FILE", "--value", "mm", "--reference", "ring"],
        ["mm", "ring"],
    ),
    "gauge --day": (READINGS, ["gauge", "FILE", "--value", "mm", "--day", "day"], ["mm", "day"]),
}
HOSTILE = [
    "²", "١٢", "\uff11\uff12", "⅕", "1e308", "-1e308", "1e-308", "1e400", "1e999999999", "9" * 400, "1e60",
    "1e12", "nan", "inf", "-Infinity", "", " ", "1_0", "0x10", "1,5", "1.2.3",
    "--", "-0", "1e", "=1+1", "\u2212\u0661", "5 mm",
    "true", "2026-05-14", "\u202e12", "a" * 5_000, "\x1b[2J", "\ufffd", "0", "-1",
    "999999999", "0.1", "1e-300",
]  # fmt: skip
CELLS = st.one_of(
    st.sampled_from(HOSTILE),
    st.floats().map(repr),
    st.integers().map(str),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=8),
)


def write(path, columns):
    """Write a csv, cells quoted."""
    rows = [list(columns), *zip(*columns.values(), strict=True)]
    quoted = [",".join('"' + str(cell).replace('"', '""') + '"' for cell in row) for row in rows]
    path.write_text("\n".join(quoted) + "\n", encoding="utf-8")
    return path


def ask(words):
    """Run a whole command: exit code and what it said; the promise of this module is kept here."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([*map(str, words), "--json"])
    said = err.getvalue()
    if code == 0:
        json.loads(out.getvalue(), parse_constant=lambda word: pytest.fail(f"{word} is not strict JSON"))
        assert said == ""
        return code, out.getvalue()
    assert code in (1, 2) and out.getvalue() == "" and "Traceback" not in said
    if not said.startswith("Usage: "):  # the command line's own words about an option take several lines
        assert said.startswith("qc: ") and said.count("\n") == 1, said
    said.encode()
    return code, said


def words_of(call, folder, columns):
    _, words, _ = CALLS[call]
    file, other = write(folder / "t.csv", columns), folder / "other.csv"
    if "OTHER" in words:
        write(other, OUTER)
    return [{"FILE": file, "OTHER": other}.get(word, word) for word in words]


@pytest.mark.parametrize("call", CALLS)
def test_the_good_table_is_answered(tmp_path, call):
    assert ask(words_of(call, tmp_path, CALLS[call][0]))[0] == 0


@pytest.mark.parametrize("call", CALLS)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_cells_give_an_answer_or_one_sentence(tmp_path, call, data):
    table, _, spoilt = CALLS[call]
    columns = {name: list(cells) for name, cells in table.items()}
    for _ in range(data.draw(st.integers(1, 3))):
        column = data.draw(st.sampled_from(spoilt))
        columns[column][data.draw(st.integers(0, len(columns[column]) - 1))] = data.draw(CELLS)
    ask(words_of(call, tmp_path, columns))


@pytest.mark.parametrize("call", CALLS)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whole_columns_of_odd_numbers_give_an_answer_or_one_sentence(tmp_path, call, data):
    table, _, spoilt = CALLS[call]
    column = data.draw(st.sampled_from(spoilt))
    odd = st.one_of(st.floats(allow_nan=False, allow_infinity=False).map(repr), st.sampled_from(HOSTILE))
    length = len(table[column])
    cells = data.draw(
        st.one_of(st.lists(odd, min_size=length, max_size=length), odd.map(lambda cell: [cell] * length))
    )
    ask(words_of(call, tmp_path, table | {column: cells}))


@pytest.mark.parametrize("call", CALLS)
def test_each_hostile_cell_alone(tmp_path, call):
    table, _, spoilt = CALLS[call]
    for column in spoilt:
        for cell in HOSTILE:
            ask(words_of(call, tmp_path, table | {column: [cell, *table[column][1:]]}))


OPTIONS = {
    "tune": ["--reading-sd", "--sitting-sd", "--reference-air-c", "--a4", "--length-mm"],
    "pair": ["--target-um", "--lower-um", "--upper-um"],
    "coat": ["--nominal", "--lower", "--upper", "--wall-mm", "--probe-mhz"],
    "wear": ["--lower", "--upper", "--per-week"],
    "study": [
        "--lower",
        "--upper",
        "--target",
        "--center",
        "--sigma",
        "--resolution",
        "--wanted",
        "--gauge-sd",
    ],
    "gauge": ["--lower", "--upper", "--resolution", "--confidence"],
}
FIGURES = ["nan", "inf", "-inf", "1e308", "-1e308", "1e-308", "1e-200", "0", "-1", "1e9", "1e60", "²", "١"]


@pytest.mark.parametrize(
    "call, option", [(call, option) for call, options in OPTIONS.items() for option in options]
)
def test_options_that_are_no_figure_of_a_bench(tmp_path, call, option):
    words = words_of(call, tmp_path, CALLS[call][0])
    kept = [w for at, w in enumerate(words) if option not in (w, words[at - 1])]
    for figure in FIGURES:
        ask([*kept, option, figure])
