import pytest

from qc.ingest.cells.names import FACTORS, KNOWN_NAMES, UNITS, heading, plain, split_unit


@pytest.mark.parametrize(
    ("typed", "field", "unit", "basis"),
    [
        ("Serial", "serial", "", ""),
        ("  SERIAL No. ", "serial", "", ""),
        ("Room C", "air_c", "", ""),
        ("A4 Hz", "a4_hz", "", ""),
        ("Main slide out mm", "main_out_mm", "", ""),
        ("Thickness [um]", "thickness", "um", ""),
        ("Thickness [µm]", "thickness", "um", ""),
        ("Thickness [μm]", "thickness", "um", ""),
        ("Thickness (micron)", "thickness", "um", ""),
        ("Inner OD mm", "inner_od", "mm", ""),
        ("Outer bore in", "outer_bore", "in", ""),
        ("Clearance [um on diameter]", "clearance", "um", "diameter"),
        ("Clearance um per side", "clearance", "um", "side"),
        ("Clearance (diametral)", "clearance", "", "diameter"),
        ("Cents", "cents", "", ""),
        ("Die", "tool", "", ""),
        ("Tester", "person", "", ""),
    ],
)
def test_headings_are_taken_apart(typed, field, unit, basis):
    found = heading(typed)
    assert (found.field, found.unit, found.basis, found.stray_unit) == (field, unit, basis, "")


def test_names_of_a_plan_win_over_the_general_ones():
    assert heading("Verdict", {"verdict": "value:verdict"}).field == "value:verdict"
    assert heading("Wall thickness mm", {"wall thickness": "value:wall"}).unit == "mm"


def test_unknown_headings_and_units_are_kept_for_the_message():
    assert heading("Mood").field == ""
    assert heading("Mood").name == "mood"
    assert heading("Thickness [furlong]").stray_unit == "furlong"


def test_no_general_name_means_two_things():
    names = [name for names in KNOWN_NAMES.values() for name in names]
    assert len(names) == len(set(names))
    assert all(name == plain(name) for name in names)


def test_units_and_factors_are_consistent():
    for (written, wanted), factor in FACTORS.items():
        assert written in UNITS.values()
        assert wanted in UNITS.values()
        back = FACTORS.get((wanted, written))
        assert back is None or factor * back == pytest.approx(1.0, rel=1e-12)
    assert FACTORS["in", "mm"] == 25.4  # exact by definition of the inch
    assert FACTORS["in", "um"] == 25.4 * FACTORS["mm", "um"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("um per side", ("um", "side", "")),
        ("", ("", "", "")),
        ("mm, on diameter", ("mm", "diameter", "")),
        ("furlong", ("", "", "furlong")),
        ("kg", ("kg", "", "")),
    ],
)
def test_split_unit(text, expected):
    assert split_unit(text) == expected
