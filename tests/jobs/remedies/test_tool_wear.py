import pytest

LOG = "draws,od,die\n" + "".join(
    f"{x},{y},D1\n"
    for x, y in zip(
        (0, 50, 100, 150, 200, 250), (14.6020, 14.6031, 14.6038, 14.6052, 14.6060, 14.6069), strict=True
    )
)
ON = ("--value", "od", "--against", "draws")


def test_the_agreed_shape_and_the_worked_die(answer, write):
    """Trade checks T061 and T063."""
    result = answer("wear", write("w.csv", LOG), *ON, "--tool", "die", "--upper", 14.612)
    assert set(result) == {"tools"}
    (die,) = result["tools"]
    assert set(die) == {
        "tool", "n", "slope", "interval", "limit", "line_crossing", "change_by_count", "change_by_date",
        "warnings",
    }  # fmt: skip
    assert (die["tool"], die["n"], die["limit"]) == ("D1", 6, 14.612)
    assert 1000 * die["slope"] == pytest.approx(0.01977, abs=5e-5)
    assert die["line_crossing"][0] == pytest.approx(504.3, abs=0.5)
    assert die["change_by_count"] == 471 and die["change_by_date"] is None


def test_dates_come_from_the_pace(answer, write):
    words = ("wear", write("w.csv", LOG), *ON, "--upper", 14.612, "--per-week", 70, "--as-of", "2026-11-24")
    assert answer(*words)["tools"][0]["change_by_date"] == "2026-12-16", "221 draws at 10 a day are 22 days"


def test_without_tool_column_all_rows_are_one_tool(answer, write):
    assert answer("wear", write("w.csv", LOG), *ON, "--upper", 14.612)["tools"][0]["tool"] == ""


def test_a_young_tool_gets_no_line(answer, write):
    result = answer("wear", write("w.csv", LOG + "10,14.6,D2\n"), *ON, "--tool", "die", "--upper", 14.612)
    young = result["tools"][1]
    assert young["slope"] is None and young["change_by_count"] is None
    assert "no line yet" in young["warnings"][0]


def test_interleaved_tools(answer, write):
    rows = LOG.splitlines()[1:]
    mixed = "draws,od,die\n" + "\n".join(line for row in rows for line in (row, row.replace("D1", "D2")))
    one, two = answer("wear", write("w.csv", mixed), *ON, "--tool", "die", "--upper", 14.612)["tools"]
    assert one["slope"] == two["slope"]


def test_count_going_backwards_is_refused_with_its_line(fault, write):
    line = fault("wear", write("w.csv", LOG + "40,14.6000,D1\n"), *ON, "--tool", "die", "--upper", 14.612)
    assert "w.csv, line 8, column draws: the count falls from 250 to 40" in line
    assert "newly fitted" in line


@pytest.mark.parametrize(("rows", "words"), [
    ("draws,od\n0,x\n", "line 2, column od: 'x' is not a number"),
    ("draws,id\n0,1\n", "column od is missing"),
    ("draws,od\n-5,14.6\n5,14.6\n9,14.6\n", "count -5 is not a count"),
])  # fmt: skip
def test_bad_logs(fault, write, rows, words):
    assert words in fault("wear", write("w.csv", rows), *ON, "--upper", 14.612)


@pytest.mark.parametrize("words", [
    (*ON, "--upper", 14.0, "--lower", 15.0),
    (*ON, "--upper", 14.612, "--per-week", 0),
    (*ON, "--upper", "nan"),
    (*ON, "--upper", "inf"),
    (*ON, "--lower", "-inf", "--upper", 14.612),
    (*ON, "--upper", 1e308),
    ("--value", "od"),
])  # fmt: skip
def test_wrong_usage(fault, write, words):
    fault("wear", write("w.csv", LOG), *words, code=2)


def test_no_limit_gives_a_slope_and_says_so(answer, write):
    die = answer("wear", write("w.csv", LOG), *ON)["tools"][0]
    assert die["limit"] is None and die["slope"] > 0
    assert any("no limit was given" in warning for warning in die["warnings"])


def test_text_puts_the_first_change_first(run, write, tmp_path):
    late = LOG + "".join(f"{x},{14.600 + x * 1e-6:.6f},D2\n" for x in range(0, 300, 50))
    code, out, _ = run(
        "wear", write("w.csv", late), *ON, "--tool", "die", "--upper", 14.612, "--per-week", 70, "--as-of",
        "2026-11-24", "--plot", tmp_path / "w.svg",
    )  # fmt: skip
    assert code == 0
    assert out.startswith("D1: change by draw 471, about Wed 16 Dec 2026; 221 draws left, about 3 weeks")
    assert "Jam: lock out" in out
    assert (tmp_path / "w.svg").stat().st_size > 3000


LEVEL = "draws,od,die\n" + "".join(
    f"{x},{y},D2\n"
    for x, y in zip(
        (0, 50, 100, 150, 200, 250), (14.600, 14.602, 14.599, 14.603, 14.600, 14.601), strict=True
    )
)


def test_no_day_of_change_heads_the_answer_where_no_wear_is_proven(answer, run, write):
    both = write("w.csv", LEVEL + LOG.partition("\n")[2])
    words = (both, *ON, "--tool", "die", "--upper", 14.612, "--per-week", 70, "--as-of", "2026-11-24")
    level, worn = answer("wear", *words)["tools"]
    assert level["interval"][0] < 0 < level["interval"][1] and level["change_by_date"] is None
    assert worn["change_by_date"] is not None
    first, second, *_ = run("wear", *words)[1].splitlines()
    assert first.startswith("D1: change by draw"), "what wears comes first"
    assert second.startswith("D2: no wear is proven yet, no change to plan") and "20" + "26-" not in second
