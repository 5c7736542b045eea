"""What the bench asks for a card, and the sheet that is made of the answers."""

import pytest

from qc.ingest import read_sheet
from qc.jobs.bench import BenchData, TypedCard, read_typed
from qc.jobs.bench.asked import asked_of, note_of
from qc.jobs.bench.typed import card_bytes, card_grid, card_rows, file_name, left_out_words, read_back
from qc.jobs.errors import JobError
from qc.jobs.workshop import open_workshop
from qc.plan import load_plan
from sample_measurements import folder as sample_folder

ENTRY = "0123456789abcdef" * 2


@pytest.fixture(scope="module")
def plan():
    return load_plan((sample_folder() / "plan.yaml").read_text("utf-8"))


@pytest.fixture
def card(plan):
    return lambda name: asked_of(next(one for one in plan.cards if one.id == name), plan)


def typed(card, figures, **boxes):
    own = {"Serial": "QH-1213", "Date": "2026-11-24", **{k.replace("_", " "): v for k, v in boxes.items()}}
    return TypedCard(ENTRY, card, own, figures)


def test_all_places_of_one_figure_come_before_the_next_so_that_no_gauge_is_changed(card):
    fields = card("slide-card").fields
    assert [f.figure for f in fields] == ["Inner OD"] * 24 + ["Outer bore"] * 12
    assert [f.place for f in fields[:3]] == [
        "upper leg, mouth, 0°, stocking",
        "upper leg, mouth, 0°, body",
        "upper leg, mouth, 90°, stocking",
    ]
    assert [f.number for f in fields] == list(range(36))
    play = card("valve-card").fields
    assert [(f.figure, f.at["valve"], f.models) for f in play[:2]] == [
        ("Valve play", "F", ("tenor-bass", "bass")),
        ("Valve play", "D", ("bass",)),
    ]


def test_a_list_is_asked_one_piece_at_a_time_and_an_event_by_its_boxes_alone(card):
    log = card("drawing-log")
    assert [(f.figure, f.kind) for f in log.fields] == [
        ("Tube OD", "measured"),
        ("Tube bore", "measured"),
        ("Tube length", "measured"),
    ]
    assert {"Serial", "Date", "Micrometer", "Bore gauge", "Draws", "Tool"} <= {b.label for b in log.boxes}
    rework = card("rework")
    needed = {box.label for box in rework.boxes if box.needed}
    assert (rework.fields, rework.event, needed) == ((), "rework", {"Serial", "Hours"})
    assert [b.kind for b in rework.boxes if b.label in {"Stage", "Cause"}] == ["choice", "choice"]


def test_every_card_of_the_sample_plan_is_read_as_the_reader_of_sheets_reads_it(plan):
    """The grid that doubts are asked of is the one that the same bytes give when they are handed in."""
    for one in plan.cards:
        asked = asked_of(one, plan)
        own = {box.label: '14,5; "quoted" =1+1' if box.label == "Note" else "x" for box in asked.boxes}
        answers = TypedCard(ENTRY, one.id, own, {f.number: "14,05" for f in asked.fields[::2]}, (1,))
        rows = card_rows(asked, answers)
        name = file_name(asked, answers)
        (read,) = read_sheet(card_bytes(rows), name)
        assert card_grid(rows, name) == read, one.id
        assert read_back(card_bytes(rows))["Typed at the bench"] == ENTRY


@pytest.mark.parametrize(
    "valve, position, partial, note",
    [
        # the positions of the tenor trombone as every tutor for it prints them; F3 in first position
        ("open", 1, 3, "F3"), ("open", 1, 4, "B-flat3"), ("open", 7, 2, "E2"), ("open", 4, 4, "G3"),
        ("F", 1, 2, "F2"), ("F", 1, 4, "F3"), ("F+D", 1, 4, "D3"),
    ],
)  # fmt: skip
def test_a_note_is_named_by_valve_position_and_partial(plan, valve, position, partial, note):
    at = {"valve": valve, "position": str(position), "partial": str(partial)}
    assert note_of(plan.model("bass"), at) == note
    assert note_of(plan.model("bass"), {"leg": "upper"}) == ""


def test_what_was_left_out_by_choice_stands_on_the_sheet(card):
    slide = card("slide-card")
    assert (
        left_out_words(slide, (1, 3)) == "Inner OD (upper leg, mouth, 0°, body / upper leg, mouth, 90°, body)"
    )
    assert left_out_words(slide, range(1, 24, 2)) == "Inner OD at 12 places"
    answers = TypedCard(ENTRY, "slide-card", {}, {0: "14.2"}, (25,))
    head = dict(row for row in card_rows(slide, answers) if len(row) == 2)
    assert head["Left out by choice"] == "Outer bore (upper leg, mouth, 90°)"


def test_a_page_that_sends_something_else_is_told_so():
    good = {"entry": ENTRY, "card": "c", "boxes": {}, "figures": {"0": "1"}, "left_out": [], "sure": []}
    assert read_typed(good).figures == {0: "1"}
    for wrong in (None, [], {**good, "entry": "x"}, {**good, "figures": {"a": "1"}}, {**good, "sure": [1]}):
        with pytest.raises(JobError, match="Load it again; what was typed is kept on this tablet"):
            read_typed(wrong)


def test_a_piece_is_found_by_its_number_and_asked_for_what_its_like_were(demo_folder):
    workshop = open_workshop(demo_folder)
    bench = BenchData(lambda: workshop)
    piece = bench.piece("slide-card", "1213")
    assert (piece.serial, piece.model, len(piece.usual)) == ("QH-1213", "bass", 24)
    places = [one.place for one in bench.card("slide-card").fields if one.number in piece.usual]
    assert not any("body" in place for place in places)
    fresh = bench.piece("valve-card", "QH-9999", "tenor-bass")
    assert (fresh.serial, fresh.model, fresh.usual) == ("QH-9999", "tenor-bass", (0, 2))
    assert bench.piece("valve-card", "QH-9999").model == ""
    workshop.store.close()
