"""The bench's plain pages over the sample workshop, and what they refuse."""

import pytest

from dashboard.app import build_app
from dashboard.bench.open_cards import OpenCards
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
