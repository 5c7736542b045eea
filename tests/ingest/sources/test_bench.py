import pytest

from qc.ingest import SheetError


def test_a_row_unfolds_into_a_reading_for_each_figure(unfolded):
    rows = [
        ["Card", "Drawing log"],
        ["Date", "12.05.2026"],
        ["Micrometer", "MIC-1"],
        ["Bore gauge", "BG-1"],
        ["Rule", "RU-1"],
        [],
        ["Tube", "Model", "Die", "Draws", "OD [mm]", "Bore [mm]", "Length [mm]"],
        ["T-0001", "tenor", "d-1", 140, 14.9, 14.05, 692],
    ]
    frame = unfolded(rows).readings
    assert frame["characteristic"].to_list() == ["tube_od", "tube_bore", "tube_length"]
    assert frame["value"].to_list() == [14.9, 14.05, 692.0]
    assert frame["gauge"].to_list() == ["MIC-1", "BG-1", "RU-1"]
    assert frame["tool"].unique().to_list() == ["D-1"]
    assert frame["tool_count"].unique().to_list() == [140]
    assert frame["serial"].unique().to_list() == ["T-0001"]


def test_one_gauge_named_for_the_card_goes_to_the_figures_of_its_class(unfolded):
    rows = [["Card", "Drawing log"], ["Gauge", "MIC-1"], [], ["Tube", "OD", "Bore"], ["T-1", 14.9, 14.05]]
    assert unfolded(rows).readings["gauge"].to_list() == ["MIC-1", ""]


def test_an_unknown_gauge_stays_as_typed(unfolded):
    rows = [
        ["Card", "Bell wall map"],
        ["Gauge", "bm-7"],
        [],
        ["Serial", "Station", "Direction", "Wall"],
        ["TH-1", 1, 0, 0.5],
    ]
    assert unfolded(rows).readings["gauge"].to_list() == ["bm-7"]


def test_a_cell_of_the_table_wins_over_the_head_and_an_empty_one_does_not(unfolded):
    rows = [
        ["Card", "Polishing card"],
        ["Person", "AB"],
        [],
        ["Date", "Serial", "Person", "Mass loss"],
        ["2026-05-12", "TH-1", "CD", 18],
        ["2026-05-12", "TH-2", "", 18],
    ]
    assert unfolded(rows).readings["person"].to_list() == ["CD", "AB"]


def test_codes_and_names_are_brought_to_one_way_of_writing(unfolded):
    rows = [
        ["Card", "Polishing card"],
        [],
        ["Date", "Serial", "Model", "Person", "Mass loss"],
        ["2026-05-12", "TH-1", "Tenor with F valve", "ab", 18],
    ]
    row = unfolded(rows).readings.row(0, named=True)
    assert (row["model"], row["person"]) == ("tenor-f", "AB")


@pytest.mark.parametrize(
    ("typed", "value", "note"), [("ok", 0.0, ""), ("1", 1.0, ""), ("Gap", 1.0, "gap"), ("x", 1.0, "")]
)
def test_good_and_fault(unfolded, typed, value, note):
    rows = [["Card", "Joints card"], [], ["Date", "Serial", "Joint faults"], ["2026-05-12", "TH-1", typed]]
    row = unfolded(rows).readings.row(0, named=True)
    assert (row["value"], row["note"], row["text"]) == (value, note, typed)


def test_the_kind_of_fault_goes_into_the_note(unfolded):
    rows = [
        ["Card", "Joints card"],
        [],
        ["Date", "Serial", "Joint faults", "Fault type"],
        ["2026-05-12", "TH-1", 1, "starved"],
    ]
    assert "starved" in unfolded(rows).readings["note"][0]


def test_an_empty_figure_of_several_was_not_measured(unfolded):
    rows = [
        ["Card", "Joints card"],
        [],
        ["Date", "Serial", "Leak", "Joint faults"],
        ["2026-05-12", "TH-1", "", "ok"],
        ["2026-05-12", "TH-2", "", ""],
    ]
    frame = unfolded(rows).readings
    assert list(zip(frame["serial"], frame["characteristic"], strict=True)) == [
        ("TH-1", "joint_faults"),
        ("TH-2", "leak"),
    ]


def test_places_of_other_figures_stay_empty(unfolded):
    rows = [
        ["Card", "Polishing card"],
        [],
        ["Date", "Serial", "Station", "Mass loss"],
        ["2026-05-12", "TH-1", "3", 18],
    ]
    assert unfolded(rows).readings["station"].to_list() == [""]


def test_rows_of_a_card_without_a_column_of_places_are_held_and_not_the_sheet(judge, said):
    rows = [
        ["Card", "Bell wall map"],
        ["Model", "tenor"],
        [],
        ["Date", "Serial", "Station", "Wall"],
        ["2026-05-12", "TH-1", "1", "0.51"],
    ]
    checked = judge(rows)
    assert checked.readings.height == 0
    assert "does not say which direction" in said(checked)[0]["sentence"]


@pytest.mark.parametrize(
    ("headings", "words"),
    [
        (["Serial", "Station", "Direction"], "misses the heading Bell wall"),
        (["Station", "Direction", "Wall"], "does not say Serial"),
        (["Serial", "Station", "Direction", "Wall [um per side]", "Wall [g]"], "mean the same"),
        (["Serial", "Station", "Direction", "Wall [h]"], "is in h, but Bell wall is kept in mm"),
    ],
)
def test_refused_cards(unfolded, headings, words):
    with pytest.raises(SheetError, match=words):
        unfolded([["Card", "Bell wall map"], [], headings, ["1"] * len(headings)])


def test_a_decimal_comma_that_split_a_line_is_joined_and_asked(judge, said):
    rows = [
        ["Card", "Polishing card"],
        ["Model", "tenor"],
        [],
        ["Date", "Serial", "Mass loss", "Person"],
        ["2026-05-12", "TH-1", "18", "2", "AB"],
    ]
    checked = judge(
        rows,
        other=[
            [
                ["Card", "Polishing card"],
                ["Model", "tenor"],
                [],
                ["Date", "Serial", "Mass loss", "Person"],
                ["2026-05-12", "TH-2", "18.1", "AB"],
            ]
        ],
    )
    (reason,) = said(checked)
    assert reason["id"] == "comma-decimal"
    assert reason["proposal"] == {"value": 18.2, "hint": ""}
    assert reason["text"] == "18,2"


def test_cells_that_cannot_be_joined_are_held_with_the_line(judge, said):
    rows = [
        ["Card", "Polishing card"],
        [],
        ["Date", "Serial", "Mass loss", "Person"],
        ["2026-05-12", "TH-1", "18", "AB", "x", "y"],
    ]
    assert "extra-cells" in [reason["id"] for reason in said(judge(rows))]
    assert "2026-05-12,TH-1,18,AB,x,y" in said(judge(rows))[0]["sentence"]
