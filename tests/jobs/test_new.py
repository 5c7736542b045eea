from datetime import date

import pytest

from qc.ingest import Known, check, read_sheet, unfold
from qc.jobs.errors import JobError
from qc.jobs.new import new_workshop, sheets_in
from qc.jobs.workshop import open_workshop
from qc.plan import check_plan, load_plan, template_text


@pytest.mark.file
def test_a_new_workshop_is_ready_to_edit_and_to_open(tmp_path):
    made = new_workshop(tmp_path / "shop")
    assert made.plan_file == tmp_path / "shop" / "plan.yaml"
    assert check_plan(made.plan_file) == []
    assert {p.name for p in made.folder.iterdir()} == {"plan.yaml", "qc.db", "sheets", "reports"}
    workshop = open_workshop(made.folder)
    assert workshop.store.readings().is_empty()
    assert workshop.store.verify() == []
    workshop.store.close()


def test_what_it_says(tmp_path):
    made = new_workshop(tmp_path / "shop")
    assert made.to_dict() == {"folder": str(tmp_path / "shop"), "plan": str(tmp_path / "shop" / "plan.yaml")}
    text = made.to_text()
    assert text.splitlines()[0] == f"Made the workshop {tmp_path / 'shop'}."
    assert "qc plan check" in text and "qc upload" in text


LOG = b"Day;Piece;Model;O.D.;Mic\n2026-11-02;BW-31;Tenor;14,601;M-2\n2026-11-03;BW-32;Tenor;14,598;M-2\n"


def test_a_plan_is_proposed_from_sheets_and_tried_on_them(tmp_path):
    odd = b"Date;Serial;Model;Wall [mm]\n2026-11-02;BW-31;Tenor;ca. 0.45\n2026-11-03;BW-32;Tenor;0.44\n"
    files = [("draw book.csv", LOG), ("rim.csv", odd), ("words.csv", b"Remark\nwarm\n"), ("no.csv", b"\0")]
    made = new_workshop(tmp_path / "my-shop", sheets=files, as_of=date(2026, 11, 20))
    assert check_plan(made.plan_file) == []
    told = made.to_dict()
    assert told["stages"] == ["draw book: O.D. [mm]", "rim: Wall [mm]"]
    assert told["guessed_units"] == ["O.D. in mm"]
    assert (told["rows"], told["accepted"]) == (4, 3)
    left = " ".join(told["left"])
    assert "about how much" in left and "no.csv" in left and "words.csv" in left
    text = made.to_text()
    assert "3 of 4 readings on the sheets can go in; none is yet." in text
    assert f"qc upload --workshop {made.folder}" in text
    workshop = open_workshop(made.folder)
    assert workshop.store.readings().is_empty() and workshop.plan.workshop.name == "My Shop"
    workshop.store.close()


def test_without_a_figure_nothing_is_made(tmp_path):
    with pytest.raises(JobError, match="Nothing was made. Leave out --from"):
        new_workshop(tmp_path / "shop", sheets=[("words.csv", b"Date;Remark\n2026-11-02;warm\n")])
    assert not (tmp_path / "shop").exists()


def test_a_folder_stands_for_the_sheets_in_it(tmp_path):
    (tmp_path / "draw.csv").write_bytes(LOG)
    (tmp_path / "letter.txt").write_text("x")
    assert [name for name, _ in sheets_in([tmp_path, tmp_path / "draw.csv"])] == ["draw.csv", "draw.csv"]


def test_an_empty_folder_will_do(tmp_path):
    assert new_workshop(tmp_path).folder == tmp_path


def test_a_workshop_is_never_written_over(tmp_path):
    made = new_workshop(tmp_path / "shop")
    made.plan_file.write_text("mine", "utf-8")
    with pytest.raises(JobError, match="already; nothing was changed"):
        new_workshop(tmp_path / "shop")
    assert made.plan_file.read_text("utf-8") == "mine"


@pytest.mark.parametrize("kind", ["folder", "file"])
def test_what_is_there_is_left_alone(tmp_path, kind):
    place = tmp_path / "place"
    if kind == "folder":
        place.mkdir()
        (place / "letter.txt").write_text("x")
    else:
        place.write_text("x")
    with pytest.raises(JobError, match="is not empty"):
        new_workshop(place)
    assert not (tmp_path / "place" / "plan.yaml").exists()


CARDS = {
    "Drawing log": "Person;B1\n\nDate;Serial;Model;Die;Draws;OD\n2026-03-03;TB-101;tenor;D-14A;10;14,601\n",
    "Slide card": (
        "Serial;TB-101\nModel;tenor\nDate;2026-03-03\n\nLeg;Station;Direction;Surface;Inner OD;Outer bore\n"
        "upper;mouth;0;stocking;13,9;14,05\n"
    ),
    "Tuning card": (
        "Serial;TB-101\nModel;tenor\nDate;2026-03-03\n\nPartial;Position;Valve;Cents\n2;1;;3\n4;1;;-2\n"
    ),
    "Lacquer card": "Serial;TB-101\nModel;tenor\nDate;2026-03-03\n\nArea;Spot;R1;R2;R3\nflare;1;15;16;14\n",
    "Inspection card": "\nDate;Serial;Model;Area;Visible faults\n2026-03-03;TB-101;tenor;flare;0\n",
    "Gauge check": "Person;QL\n\nDate;Gauge;Deviation;Zeroed\n2026-03-03;MIC-1;0,000;yes\n",
}


@pytest.mark.parametrize("listed", [True, False], ids=["as written", "readers' cards without a list"])
@pytest.mark.parametrize("title", CARDS)
def test_the_first_plan_takes_its_own_cards(title, listed):
    text = template_text()
    if not listed:
        text = text.replace(", characteristics: [note]", "").replace(", characteristics: [thickness]", "")
    plan = load_plan(text)
    card = f"Card;{title}\n{CARDS[title]}".encode()
    checked = check([unfold(read_sheet(card, "a.csv")[0], plan)], plan, Known(today=date(2026, 3, 4)))[0]
    assert (checked.held.height, checked.rows > 0) == (0, True)
