import pytest

from qc.ingest import SheetError


def test_a_row_unfolds_into_inner_and_outer(unfolded, slide_card):
    sheet = unfolded(slide_card())
    assert sheet.rows == 24
    first = sheet.readings.row(0, named=True)
    second = sheet.readings.row(1, named=True)
    assert (first["characteristic"], first["surface"], first["gauge"]) == ("inner_od", "stocking", "MIC-1")
    assert (second["characteristic"], second["surface"], second["gauge"]) == ("outer_bore", "", "BG-1")
    assert (first["leg"], first["station"], first["direction"]) == ("upper", "mouth", "0")
    assert first["unit"] == "mm"
    assert first["cell"] == "line 10, Inner OD [mm]"


def test_typed_text_is_kept_and_the_value_read(unfolded, slide_card):
    row = unfolded(slide_card(changes={(0, 4): "13.900"})).readings.row(0, named=True)
    assert (row["text"], row["value"]) == ("13.900", 13.9)


def test_a_body_row_without_an_outer_gives_one_reading(unfolded, slide_card):
    rows = [*slide_card(), ["upper", "middle", 0, "body", "13.800"]]
    sheet = unfolded(rows)
    assert sheet.rows == 25
    assert sheet.readings.row(24, named=True)["surface"] == "body"


def test_an_empty_row_of_figures_is_not_lost(unfolded, slide_card):
    sheet = unfolded(slide_card(changes={(0, 4): "", (0, 5): ""}))
    assert sheet.rows == 23
    assert sheet.readings.row(0, named=True)["value"] is None


def test_um_in_the_heading_is_turned_into_mm_and_noted(unfolded, slide_card):
    rows = slide_card(changes={(row, 4): "13900" for row in range(12)})
    rows[8][4] = "Inner OD [um]"
    first = unfolded(rows).readings.row(0, named=True)
    assert first["value"] == 13.9
    assert first["text"] == "13900"
    assert "typed in um, kept in mm" in first["note"]


def clearance_rows(heading, unit=None):
    head = [["Card", "Slide card"], ["Serial", "TH-1001"], ["Model", "tenor"], ["Date", "2026-05-12"]]
    head += [["Unit", unit]] if unit else []
    return [
        *head,
        [],
        ["Leg", "Station", "Direction", heading],
        ["upper", "mouth", 0, 152],
        ["lower", "mouth", 0, 148],
    ]


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Clearance [um on diameter]", None),
        ("Clearance [um]", "um on diameter"),
        ("Clearance um diametral", None),
    ],
)
def test_a_clearance_on_diameter_is_taken(judge, heading, unit):
    checked = judge(clearance_rows(heading, unit))
    assert checked.readings["value"].to_list() == [152.0, 148.0]
    assert checked.readings["characteristic"].unique().to_list() == ["clearance_read"]


@pytest.mark.parametrize(
    ("heading", "unit"), [("Clearance [um per side]", None), ("Clearance [um]", "um per side")]
)
def test_a_clearance_per_side_is_held_with_the_double_as_mend(judge, said, heading, unit):
    checked = judge(clearance_rows(heading, unit))
    assert checked.reasons() == {"per-side": 2}
    assert said(checked)[0]["proposal"] == {"value": 304.0, "hint": ""}


def test_a_clearance_that_says_neither_is_refused(unfolded):
    with pytest.raises(SheetError, match="on diameter or per side") as caught:
        unfolded(clearance_rows("Clearance [um]"))
    assert "Clearance [um on diameter]" in caught.value.hint


@pytest.mark.parametrize(
    ("drop", "words"),
    [
        ("Station", "misses the heading Station"),
        ("Leg", "does not say Leg"),
        ("Serial", "does not say Serial"),
    ],
)
def test_what_is_missing_is_named(unfolded, slide_card, drop, words):
    rows = [["x" if cell == drop and row[0] != "Leg" else cell for cell in row] for row in slide_card()]
    if drop != "Serial":
        rows[8] = ["Note" if cell == drop else cell for cell in rows[8]]
    with pytest.raises(SheetError, match=words):
        unfolded(rows)


def test_a_unit_that_cannot_be_a_diameter_is_refused(unfolded, slide_card):
    rows = slide_card()
    rows[8][4] = "Inner OD [g]"
    with pytest.raises(SheetError, match=r"is in g, but Inner OD is kept in mm"):
        unfolded(rows)
