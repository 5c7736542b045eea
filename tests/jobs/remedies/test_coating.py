import pytest

TEN = (16, 14, 13, 15, 17, 12, 18, 15, 16, 14)
ON = ("--nominal", 15, "--lower", 12)


def sheet(values, extra_head="", extra=lambda i: ""):
    rows = [f"{'bell' if i < 5 else 'bow'},{i},{um}{extra(i)}" for i, um in enumerate(values)]
    return f"area,spot,um{extra_head}\n" + "\n".join(rows) + "\n"


def test_the_agreed_shape_and_the_worked_ten(answer, write):
    """Trade checks T065, T066: mean 15.0, four below: the house rule fails on its 20 % clause alone."""
    result = answer("coat", write("c.csv", sheet(TEN)), *ON)
    assert set(result) == {"areas", "cpl", "interval", "base_drift_um", "cautions"}
    bell, bow = result["areas"]
    assert set(bell) == {"area", "n", "mean", "least", "below_nominal", "house_80_20"}
    assert (bell["n"], bell["mean"], bell["least"], bell["below_nominal"]) == (5, 15.0, 13.0, 2)
    assert bell["house_80_20"] is bow["house_80_20"] is False
    assert result["cpl"] == pytest.approx(3.0 / (3 * 1.8257), abs=1e-4)
    assert result["interval"][0] < result["cpl"] < result["interval"][1]
    assert result["base_drift_um"] is None
    assert any("house rule" in caution for caution in result["cautions"])


def test_rule_is_read_over_the_whole_instrument(answer, write):
    """One spot of five below nominal is 20 % of an area, but 10 % of the instrument: it passes."""
    values = [14.5, 15.5, 15.5, 15.5, 15.5, 16, 16, 16, 16, 16]
    assert all(area["house_80_20"] for area in answer("coat", write("c.csv", sheet(values)), *ON)["areas"])


def test_one_failing_instrument_does_not_drag_others_areas(answer, write):
    rows = "area,spot,um,serial\n" + "".join(
        f"{area},{i},{um},{serial}\n"
        for serial, area, um in (("A", "bell", 16), ("B", "bow", 11))
        for i in range(4)
    )
    bell, bow = answer("coat", write("c.csv", rows), *ON)["areas"]
    assert bell["house_80_20"] and not bow["house_80_20"]


def test_three_readings_make_one_spot(answer, write):
    rows = "area,spot,um\nbell,1,14.2\nbell,1,15.1\nbell,1,14.6\nbell,2,16\n"
    bell = answer("coat", write("c.csv", rows), *ON)["areas"][0]
    assert bell["n"] == 2
    assert bell["least"] == pytest.approx(14.633, abs=0.001)


def test_base_is_taken_off_and_its_drift_said(answer, write):
    drifting = sheet([um + 1 for um in TEN], ",base_um", lambda i: f",{0.2 + 0.2 * i:.1f}" if i else ",0.2")
    result = answer("coat", write("c.csv", drifting), *ON)
    assert result["base_drift_um"] == pytest.approx(1.8)
    assert result["areas"][0]["mean"] == pytest.approx(16.0 - 1.1)
    assert any("zero the gauge again" in caution for caution in result["cautions"])
    steady = sheet(TEN, ",base_um", lambda i: ",0.3")
    cautions = answer("coat", write("d.csv", steady), *ON)["cautions"]
    assert not any("zero the gauge again" in caution for caution in cautions)


def test_thin_thick_wet_and_probe_are_said(answer, write):
    result = answer(
        "coat", write("c.csv", sheet([11, 30, *TEN[2:]])), *ON, "--upper", 25, "--wet-um", 60, "--solids",
        "0.28",
        "--wall-mm", "0.2",
    )  # fmt: skip
    cautions = " ".join(result["cautions"])
    for words in (
        "bell is thin",
        "is thick: 30.0",
        "dries to 16.8 µm",
        "zero on the same bare part",
        "isocyanates",
    ):
        assert words in cautions


def test_no_spread_no_capability(answer, write):
    result = answer("coat", write("c.csv", sheet([15] * 4)), *ON)
    assert result["cpl"] is None and result["interval"] is None


@pytest.mark.parametrize(("rows", "words"), [
    ("area,spot,um\nbell,1,0.015\n", "0.015 mm is 15 µm"),
    ("area,spot,um\nbell,1,15\nbell,2,-4\n", "line 3, column um: -4 µm is no lacquer thickness"),
    ("area,spot,um\nbell,1,15\n,2,14\n", "line 3, column area: the cell is empty"),
    ("area,um\nbell,15\n", "column spot is missing"),
])  # fmt: skip
def test_bad_sheets(fault, write, rows, words):
    assert words in fault("coat", write("c.csv", rows), *ON)


@pytest.mark.parametrize("words", [
    ("--nominal", 12, "--lower", 15),
    ("--nominal", 15),
    (*ON, "--upper", 14),
    (*ON, "--wet-um", 60),
    (*ON, "--wet-um", 60, "--solids", 28),
    (*ON, "--wet-um", "nan", "--solids", 0.28),
    (*ON, "--wet-um", -60, "--solids", 0.28),
])  # fmt: skip
def test_wrong_usage(fault, write, words):
    fault("coat", write("c.csv", sheet(TEN)), *words, code=2)


def test_text_says_first_where_it_is_thin(run, write, tmp_path):
    code, out, _ = run("coat", write("c.csv", sheet([11, *TEN[1:]])), *ON, "--plot", tmp_path / "c.png")
    assert code == 0 and out.startswith("bell is too thin: least spot 11.0 µm")
    assert (tmp_path / "c.png").stat().st_size > 3000
    assert run("coat", write("d.csv", sheet(TEN)), *ON)[1].startswith("House rule failed")
    assert run("coat", write("e.csv", sheet([16] * 9 + [17])), *ON)[1].startswith("Thick enough everywhere")


@pytest.mark.parametrize(
    "options",
    [("--wall-mm", 0), ("--wall-mm", -0.3), ("--wall-mm", 0.3, "--probe-mhz", 0), ("--probe-mhz", "nan")],
)
def test_a_wall_or_probe_that_cannot_be_is_refused_as_wrong_usage(fault, write, options):
    spots = write("spots.csv", "area,spot,um\nbell,1,15\nbell,2,16\n")
    said = fault("coat", spots, "--nominal", 15, "--lower", 12, *options, code=2)
    assert said.startswith(f"qc: {options[-2]}")
