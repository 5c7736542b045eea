"""A layout handed in settles what waited of its sheet, is remembered, and refuses a changed sheet."""

from datetime import date
from pathlib import Path

import pytest

from qc.ingest import MappingError, read_layout_texts
from qc.jobs.headings import read_mapping_file
from qc.jobs.upload import upload
from qc.jobs.verify import verify_store
from qc.jobs.workshop import open_workshop

STRANGER = Path(__file__).parents[2] / "strangers" / "eighth"
LAYOUTS = Path(__file__).parents[2] / "ingest" / "layouts" / "eighth.yaml"
SMALL = "15-bow-small-tables.csv"
CARD = (STRANGER / "layouts" / SMALL).read_bytes()


@pytest.fixture
def shop(tmp_path):
    """An empty workshop with the stranger's plan."""
    (tmp_path / "plan.yaml").write_bytes((STRANGER / "plan.yaml").read_bytes())
    workshop = open_workshop(tmp_path, as_of=date(2026, 9, 18))
    yield workshop
    workshop.store.close()


def test_rows_that_waited_are_settled_and_no_figure_is_in_twice(shop):
    first = upload(shop, [(SMALL, CARD)]).sheets[0].count
    assert first.accepted == 0 and first.held > 0
    _, layouts = read_mapping_file(LAYOUTS, shop)
    again = upload(shop, [(SMALL, CARD)], layouts=layouts).sheets[0]
    assert (again.count.accepted, again.count.held) == (15, 0)
    assert "Read through the layout" in " ".join(again.to_dict()["marks"])
    assert len(shop.store.held()) == 0 and shop.store.readings().height == 15
    # the same layout once more, and then none: nothing is new
    for given in (layouts, ()):
        count = upload(shop, [(SMALL, CARD)], layouts=given).sheets[0].count
        assert (count.accepted, count.held, count.already_known) == (0, 0, 15)
    assert verify_store(shop.store).to_dict()["whole"]


def test_the_next_card_of_the_form_goes_in_unasked_and_a_changed_one_does_not(shop):
    _, layouts = read_mapping_file(LAYOUTS, shop)
    upload(shop, [(SMALL, CARD)], layouts=layouts)
    assert SMALL in (shop.folder / "mappings.yaml").read_text("utf-8")
    following = CARD.replace(b"TW-66", b"TW-69")
    assert upload(shop, [("next.csv", following)]).sheets[0].count.accepted == 15
    changed = following.replace(b"Bow card", b"Bow form").replace(b"TW-69", b"TW-68")
    refused = upload(shop, [("changed.csv", changed)], layouts=layouts)
    assert refused.sheets == () and shop.store.readings().height == 30
    assert "A1" in refused.refused[0] and "Bow form" in refused.refused[0]


@pytest.mark.parametrize(
    ("typed", "wrong", "said"),
    [
        ("C6, is: Bogenwand", "66, is: Bogenwand", "says 66"),
        ("is: Bow span", "is: Bow spam", "Bow card has no figure Bow spam"),
        ("station: flanke", "station: rand", "says rand"),
        ("C8, is: Bogenwand, station: flanke", "C8, is: Bogenwand", "is measured at more than one station"),
        ("unit: mm", "unit: HV", "is kept in mm"),
        ("first: C", "first: 3", "does not say where the first piece stands"),
        ("at: C9", "at: F9", "lies outside the first piece"),
        ("card: bow-card", "card: bow", "which is no card"),
        ("serial: cell C4", "serial: row 4", "says row 4"),
        ("leave out", "left out", "is no field of a table"),
        ("dates: day-first", "dates: first", "says first"),
        ("A1: Bogenkarte", "1A: Bogenkarte", "is no cell"),
    ],
)
def test_each_fault_of_a_layout_is_one_sentence_with_its_line(shop, typed, wrong, said):
    whole = LAYOUTS.read_text("utf-8")
    one = whole[: whole.index("  - layout: 07-")]
    assert len(read_layout_texts(one, "a.yaml", shop.plan)) == 1 and typed in one
    with pytest.raises(MappingError) as refused:
        read_layout_texts(one.replace(typed, wrong, 1), "a.yaml", shop.plan)
    (fault,) = refused.value.faults
    assert said in str(fault) and fault.line > 1
