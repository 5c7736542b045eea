"""The bench's plain pages over the sample workshop, and what they refuse."""

import pytest
from dash import html

from dashboard.app import build_app
from dashboard.bench.open_cards import OpenCards
from dashboard.bench.remedy import remedy_cards
from qc.jobs.board import StoreBoardData

HOME = {"base_url": "http://127.0.0.1:8050", "headers": {"Origin": "http://127.0.0.1:8050"}}
SENT = {
    "entry": "ab" * 16, "card": "lacquer-card", "left_out": [], "sure": [],
    "figures": {"0": "15.2", "1": "1.60"},
    "boxes": {"Serial": "QH-1218", "Model": "bass", "Date": "2026-11-24", "Person": "FN", "Gauge": "EC-1"},
}  # fmt: skip


@pytest.fixture(scope="module")
def over(demo_folder):
    return StoreBoardData(demo_folder)


@pytest.fixture
def bench(over, desk):
    return build_app(over, desk).server.test_client()


def test_what_is_typed_or_scanned_leads_to_the_card_or_the_piece(bench):
    page = bench.get("/bench", **HOME)
    assert page.status_code == 200 and "Slide card" in page.text and "/assets/bench.js" in page.text
    assert (
        bench.get("/bench?typed=slide-card&serial=QH-1213", **HOME).location
        == "/bench/slide-card?serial=QH-1213"
    )
    assert bench.get("/bench?typed=Slide+card", **HOME).location == "/bench/slide-card"
    piece = bench.get("/bench?typed=1213", **HOME).text
    assert "QH-1213: choose its card." in piece and "/bench/slide-card?serial=QH-1213" in piece
    assert "no card of the plan and no piece on record" in bench.get("/bench?typed=<b>x", **HOME).text
    assert "<b>x" not in bench.get("/bench?typed=<b>x", **HOME).text


def test_a_card_has_its_boxes_its_places_and_its_fields_as_data(bench):
    text = bench.get("/bench/slide-card?serial=QH-1213&gauge=x", **HOME).text
    assert 'name="Serial" data-kind="serial" required' in text and 'value="QH-1213"' in text
    assert 'data-at="leg=upper;station=mouth"' in text and 'data-at="surface=stocking"' in text
    assert text.count('"figure": "Outer bore"') == 12 and "<script src=" in text
    checks = bench.get("/bench/gauge-checks?gauge=BG-1", **HOME).text
    assert '<option value="BG-1" selected>' in checks
    assert bench.get("/bench/nowhere", **HOME).status_code == 404
    assert bench.get("/bench/valve-card/piece?serial=QH-1210", **HOME).json["usual"] == [0, 2]


def test_doubts_are_answered_while_typing_and_the_second_tablet_is_told(bench):
    first = bench.post("/bench/check", json=SENT, **HOME).json
    assert [d["change"] for d in first["doubts"] if d["change"]] == [{"value": "16"}] and first["other"] == ""
    other = bench.post("/bench/check", json={**SENT, "tablet": "the other"}, **HOME).json["other"]
    assert "begun on another tablet just now by FN" in other
    assert bench.post("/bench/check", json=SENT, **HOME).json["other"] == ""


def test_a_card_goes_to_the_worker_once_it_has_what_it_needs(bench, desk):
    assert bench.post("/bench/enter", json=SENT, **HOME).json == {"ticket": "s1"}
    assert desk.entered == [(SENT, "FN")]
    empty = bench.post("/bench/enter", json={**SENT, "boxes": {}}, **HOME)
    assert empty.status_code == 400 and "Serial is empty" in empty.json["problem"]
    assert bench.post("/bench/enter", data="x", **HOME).status_code == 400
    assert bench.get("/bench/done/" + "ab" * 16, **HOME).status_code == 404
    past = {**HOME, "headers": {**HOME["headers"], "Referer": "http://127.0.0.1:8050/?known=2026-01-01"}}
    assert bench.post("/bench/enter", json=SENT, **past).status_code == 409
    assert len(desk.entered) == 1


def test_a_card_is_forgotten_once_it_is_handed_in():
    cards = OpenCards()
    assert cards.note("slide", "QH-1", "a", "BK") is None
    assert cards.note("slide", "qh-1 ", "b", "FN") == ("BK", 0)
    cards.forget("slide", "QH-1", "a")
    assert cards.note("slide", "QH-1", "b", "FN") is None


def test_a_finished_card_says_what_to_cut_what_to_pair_and_where_it_is_thin(in_app, texts):
    steps = texts(html.Div(remedy_cards("TQ-0442", {"note", "wrap"})))
    assert steps.startswith("F wrap about") and "Tuning: what to cut, and where" in steps
    assert "too thin" not in steps, "the lacquer is not on this card"
    assert "least spot 9.0 µm, limit 10 µm" in texts(html.Div(remedy_cards("TQ-0442", {"thickness"})))
    tube = texts(html.Div(remedy_cards("OU-2", {"outer_bore"})))
    assert "Put IN-2 in OU-2: 155 µm of clearance, 155 to 155, inside the limits 100 to 200." in tube
    assert texts(html.Div(remedy_cards("IN-1", {"inner_od"}))).startswith("IN-1 is left: it wants a bore of")
    assert remedy_cards("TQ-0001", {"note", "thickness", "clearance"}) == [], "a tube of a slide is paired"
    assert remedy_cards("", {"note"}) == []
