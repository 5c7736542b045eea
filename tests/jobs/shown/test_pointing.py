"""A sheet that waits, pointed at: what is proposed, and that an answer is what a file of it would be."""

from datetime import date
from pathlib import Path

import pytest

from qc.jobs.board import read_shown
from qc.jobs.shown import ShownData
from qc.jobs.upload import upload
from qc.jobs.verify import verify_store
from qc.jobs.workshop import open_workshop

STRANGER = Path(__file__).parents[2] / "strangers" / "eighth"
BOWS, BUFFS = "03-bow-soll-column.csv", "09-buff-before-after-sum.csv"


@pytest.fixture
def shop(tmp_path):
    """A workshop with the stranger's plan and two sheets that wait."""
    (tmp_path / "plan.yaml").write_bytes((STRANGER / "plan.yaml").read_bytes())
    workshop = open_workshop(tmp_path, as_of=date(2026, 9, 18))
    upload(workshop, [(name, (STRANGER / "layouts" / name).read_bytes()) for name in (BOWS, BUFFS)], who="JP")
    yield workshop
    workshop.store.close()


def shown(shop, name):
    data = ShownData(lambda: shop)
    (sheet,) = [one.sheet for one in data.waiting() if one.file == name]
    return data, sheet


def test_what_the_cells_tell_is_proposed_and_read(shop):
    data, sheet = shown(shop, BOWS)
    seen = data.pointed(sheet, {})
    pointing = seen.pointing
    assert (pointing.card, pointing.are, pointing.first) == ("bow-card", "columns", 2)
    assert dict(pointing.said) == {"date": "B2", "person": "E2"}
    meant = {one.name: one.meaning for one in pointing.lines}
    assert meant["4"] == "serial" and meant["5"] == "model" and meant["8"] == "bow_wall|station=flanke"
    assert meant["9"] == "", "Spannweite is no word of the plan: that is for the bench to say"
    found = data.preview(sheet, {})
    assert found.faults == () and found.pieces[0][0] == "TW-610, 9 Sep 2026"
    assert "Bogenwand, innen: 0,57 mm" in found.pieces[0][1]
    assert found.rows == 12, "the mean is no piece, and the remark beside the serials is none"
    assert "C9" in found.left, "numbers that nobody pointed at are named"


def test_an_answer_is_read_and_remembered_as_the_file_of_a_layout_is(shop):
    data, sheet = shown(shop, BOWS)
    lines = data.pointed(sheet, {}).pointing.lines
    meant = [one.meaning or ("bow_span" if one.name == "9" else "") for one in lines]
    answer = {"at": [str(one.at) for one in lines], "meant": meant, "unit": ["" for _ in lines]}
    found = data.preview(sheet, {**answer, "name": ["Bow book"]})
    receipt = read_shown(shop, sheet, found.text, "JP")
    assert receipt["refused"] == [] and receipt["sheets"][0]["accepted"] + receipt["sheets"][0]["held"] == 15
    kept = (shop.folder / "mappings.yaml").read_text("utf-8")
    assert "Bow book" in kept and found.text.partition("\n")[2] in kept
    assert [one.file for one in data.waiting()] == [BUFFS]
    following = (STRANGER / "layouts" / BOWS).read_bytes().replace(b"TW-61", b"TW-91")
    assert upload(shop, [("next.csv", following)]).refused == ()
    assert verify_store(shop.store).to_dict()["whole"]


def test_another_card_has_its_own_figures_and_lacking_ones_are_asked_for(shop):
    data, sheet = shown(shop, BUFFS)
    assert "Say of one column at least which figure stands in it." in data.preview(sheet, {}).faults
    seen = data.pointed(sheet, {"card": ["buff-card"], "are": ["rows"], "first": ["3"]})
    named = {label: value for value, label in seen.choices.items()}
    before = named["Mass before buffing"]
    answer = {
        "card": ["buff-card"],
        "are": ["rows"],
        "first": ["3"],
        "at": ["3"],
        "meant": [before],
        "unit": ["g"],
    }
    found = data.preview(sheet, answer)
    assert found.faults == () and found.rows == 4, "the sum below is no piece"
    bare = data.preview(sheet, {**answer, "at": ["3", "1"], "meant": [before, ""], "unit": ["g", ""]})
    assert bare.faults == ("Say in which column the serial stands, or which cell says it for all pieces.",)
    wrong = data.preview(sheet, {**answer, "unit": ["bar"]})
    assert wrong.faults and wrong.pieces == ()


ODD_ANSWERS = (
    {"card": ["no-card"]},
    {"first": ["-1"]},
    {"first": ["99999"]},
    {"are": ["x"]},
    {"said-date": ["Z99"]},
    {"at": ["7"], "meant": ["nothing"]},
    {"at": ["0", "1"], "meant": ["serial"]},
)


def test_an_answer_that_fits_nothing_is_passed_over_or_a_sentence(shop):
    data, sheet = shown(shop, BOWS)
    for answer in ODD_ANSWERS:
        found = data.preview(sheet, answer)
        assert found.pieces or (found.faults and all(found.faults)), answer
    assert data.pointed("0" * 64, {}) is None and data.preview("0" * 64, {}) is None
