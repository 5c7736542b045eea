import pytest

from qc.ingest import SheetError

HEAD = [
    ["Card", "Lacquer card"],
    ["Serial", "TH-1001"],
    ["Model", "tenor"],
    ["Date", "2026-05-12"],
    ["Person", "AB"],
    ["Gauge", "EC-1"],
    ["Booth", "BN-1"],
    ["Batch", "LK-2605"],
    [],
]


def card(headings, *rows):
    return [*HEAD, list(headings), *rows]


def test_a_spot_a_row(unfolded):
    row = unfolded(card(["Area", "Spot", "Thickness [um]"], ["Flare", 2, 15.2])).readings.row(0, named=True)
    assert (row["area"], row["spot"], row["value"], row["unit"]) == ("flare", 2, 15.2, "um")
    assert (row["tool"], row["batch"], row["gauge"], row["person"]) == ("BN-1", "LK-2605", "EC-1", "AB")


def test_three_readings_make_a_spot(unfolded):
    headings = ["Area", "Spot", "R1", "R2", "R3"]
    row = unfolded(card(headings, ["stem", 1, 15, 16, 17.5])).readings.row(0, named=True)
    assert row["value"] == pytest.approx((15 + 16 + 17.5) / 3, abs=1e-4)
    assert row["text"] == "15 | 16 | 17.5"
    assert "mean of 3 readings" in row["note"]


def test_two_of_three_readings_still_make_a_spot_and_a_bad_one_holds_it(unfolded, judge):
    headings = ["Area", "Spot", "R1", "R2", "R3"]
    assert unfolded(card(headings, ["stem", 1, 15, 16, ""])).readings["value"][0] == 15.5
    assert judge(card(headings, ["stem", 1, 15, "x", 16])).reasons() == {"not-a-number": 1}


def test_a_mean_beside_its_readings_wins_and_they_are_noted(unfolded):
    headings = ["Area", "Spot", "Thickness [um]", "R1", "R2", "R3"]
    row = unfolded(card(headings, ["stem", 1, 16.1, 15, 16, 17])).readings.row(0, named=True)
    assert row["value"] == 16.1
    assert "readings 15, 16, 17" in row["note"]


def test_bare_metal_is_taken_off_and_both_are_kept(unfolded):
    row = unfolded(
        card(["Area", "Spot", "Thickness [um]", "Base [um]"], ["stem", 1, 16.1, 0.9])
    ).readings.row(0, named=True)
    assert row["value"] == pytest.approx(15.2)
    assert row["text"] == "16.1"
    assert "read 16.1, bare metal 0.9 um taken off" in row["note"]


def test_a_bare_metal_reading_that_cannot_be_read_holds_the_row(judge, said):
    checked = judge(card(["Area", "Spot", "Thickness [um]", "Base [um]"], ["stem", 1, 16.1, "?"]))
    assert [(r["id"], "base '?'" in r["sentence"]) for r in said(checked)] == [("not-a-number", True)]


def test_an_empty_spot_is_held_not_lost(judge):
    checked = judge(card(["Area", "Spot", "Thickness [um]"], ["stem", 1, ""], ["stem", 2, 15]))
    assert checked.rows == 2
    assert checked.reasons() == {"missing-value": 1}


@pytest.mark.parametrize(
    ("headings", "words"),
    [
        (["Area", "Spot", "Base"], "misses the heading Thickness"),
        (["Spot", "Thickness"], "misses the heading Area"),
        (["Area", "Spot", "Thickness [g]"], "is in g"),
    ],
)
def test_refused_cards(unfolded, headings, words):
    with pytest.raises(SheetError, match=words):
        unfolded(card(headings, [1] * len(headings)))
