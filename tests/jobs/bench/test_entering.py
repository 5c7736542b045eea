"""What is typed at the bench comes in by the one way sheets come in, and once however often it is sent."""

import pytest

from qc.jobs.bench import BenchData, enter_card, read_typed
from qc.jobs.bench.entering import outcome_of
from qc.jobs.errors import JobError

BOXES = {"Serial": "QH-1218", "Model": "bass", "Date": "2026-11-24", "Person": "FN", "Gauge": "EC-1"}


def lacquer(entry, figures, sure=(), **boxes):
    own = {**BOXES, **boxes}
    return {
        "entry": entry * 32, "card": "lacquer-card", "boxes": own, "left_out": [14],
        "figures": {str(n): text for n, text in enumerate(figures)}, "sure": [list(one) for one in sure],
    }  # fmt: skip


def test_a_slip_is_asked_about_while_typing_and_mended_before_anything_is_stored(shop):
    bench, before = BenchData(lambda: shop), shop.store.pulse()
    (doubt,) = [d for d in bench.doubts(read_typed(lacquer("a", ["15,2", "14.8", "1.60"]))) if d.change]
    assert (doubt.field, doubt.reason, doubt.change, doubt.sure) == (2, "decimal-slip", {"value": "16"}, True)
    assert doubt.sentence == "1.60 µm is a tenth of the usual 15 µm."
    assert bench.doubts(read_typed(lacquer("a", ["15,2", "14.8", "16"]))) == ()
    assert bench.doubts(read_typed(lacquer("a", []))) == ()
    (stray,) = bench.doubts(read_typed(lacquer("a", ["15.2", "15.1"], Serial="QH-7777", Model="")))
    assert stray.field == -1 and "QH-7777" in stray.sentence
    assert shop.store.pulse() == before


def test_a_card_is_kept_as_typed_and_a_second_time_changes_nothing(shop):
    sent = lacquer("b", ["15,2", "14.80", "16"])
    told = enter_card(shop, sent, who="FN")
    assert told == {"entry": "b" * 32, "sentence": "Lacquer card of QH-1218: 3 entries kept."}
    kept = shop.store.readings(serials=["QH-1218"], stage="lacquer")
    assert kept["text"].to_list() == ["15,2", "14.80", "16"] and set(kept["person"]) == {"FN"}
    assert "Left out by choice: Lacquer thickness (slide, spot 5)" in kept["note"][0]
    entries = len(shop.store.entries())
    assert enter_card(shop, sent, who="FN") == told
    # on the tablet a figure was changed after the board had taken the card: what is on record stays
    assert enter_card(shop, lacquer("b", ["15,2", "14.80", "17"]), who="FN") == told
    assert len(shop.store.entries()) == entries
    again = enter_card(shop, lacquer("c", ["15,2", "14.80", "16"]), who="FN")
    assert again["sentence"].endswith("all of this was on record already; nothing was stored twice.")
    assert shop.store.readings(serials=["QH-1218"], stage="lacquer").height == 3
    assert shop.store.verify() == []


def test_a_serial_in_small_letters_is_the_piece_on_record(shop):
    told = enter_card(shop, lacquer("e", ["15,2", "14.80"], Serial="qh1218"), who="FN")
    assert told["sentence"] == "Lacquer card of qh1218: 2 entries kept."
    assert shop.store.readings(serials=["QH-1218"], stage="lacquer").height == 2
    bench = BenchData(lambda: shop)
    assert [bench.serial(typed) for typed in ("qh1218", " QH_1218", "1218", "qh9", "")] == ["QH-1218"] * 3 + [
        ""
    ] * 2


def test_what_is_really_so_comes_in_and_what_was_not_answered_waits(shop):
    sure = enter_card(shop, lacquer("d", ["15.2", "15.1", "45"], sure=[(2, "far-from-usual")]), who="FN")
    assert sure["sentence"] == "Lacquer card of QH-1218: 3 entries kept."
    enter_card(shop, lacquer("e", ["15.2", "15.1", "45"], Serial="QH-1217", Model="tenor-bass"), who="FN")
    nobody = enter_card(
        shop, lacquer("1", ["15.3", "15.1", "46"], [(2, "far-from-usual")], Serial="QH-1216", Model="alto")
    )
    assert nobody["sentence"] == "Lacquer card of QH-1216: 2 entries kept; 1 row waits for an answer."
    found = outcome_of(shop, "e" * 32)
    assert (found.accepted, [row.what for row in found.waiting]) == (
        2,
        ["QH-1217, Lacquer thickness, flare, spot 3"],
    )
    assert "1 row waits for an answer" in found.sentence
    assert outcome_of(shop, "f" * 32) is None


def test_an_event_is_entered_by_its_boxes_and_a_strange_card_is_refused(shop):
    boxes = {
        "Serial": "QH-1213",
        "Date": "2026-11-24",
        "Stage": "Slide",
        "Hours": "1,5",
        "Cause": "tight-slide",
    }
    sent = {
        "entry": "9" * 32,
        "card": "rework",
        "boxes": {**boxes, "Person": "BK"},
        "figures": {},
        "left_out": [],
    }
    sent["sure"] = []
    assert enter_card(shop, sent)["sentence"] == "Rework list of QH-1213: 1 entry kept."
    (row,) = shop.store.events("rework", serials=["QH-1213"]).tail(1).to_dicts()
    assert (row["value"], row["code"], row["stage"], row["person"]) == (1.5, "tight-slide", "slide", "BK")
    with pytest.raises(JobError, match="The plan has no card nowhere"):
        enter_card(shop, {**sent, "card": "nowhere"})
    assert BenchData(lambda: shop).faults(read_typed({**sent, "boxes": {"Serial": "QH-1213"}})) == (
        "Hours is empty. Type it above, then hand the card in.",
    )


def test_that_no_card_is_to_be_expected_can_be_said_without_a_card_for_it_in_the_plan(shop):
    boxes = {"Date": "2026-11-24", "Stage": "Polish", "Person": "BK", "Note": "wheel away for repair"}
    sent = {"entry": "7" * 32, "card": "no-card", "boxes": boxes, "figures": {}, "left_out": [], "sure": []}
    assert enter_card(shop, sent)["sentence"] == "No card today: 1 entry kept."
    (row,) = shop.store.events("no-card").to_dicts()
    assert (row["stage"], str(row["day"]), row["note"]) == ("polish", "2026-11-24", "wheel away for repair")


def test_a_batch_is_opened_at_the_bench(shop):
    boxes = {"Date": "2026-11-24", "Batch": "LP-13", "Person": "BK", "Note": "leadpipes, first box"}
    sent = {
        "entry": "6" * 32,
        "card": "batch-opened",
        "boxes": boxes,
        "figures": {},
        "left_out": [],
        "sure": [],
    }
    assert enter_card(shop, sent)["sentence"] == "Batch opened: 1 entry kept."
    (row,) = shop.store.events("batch-opened").to_dicts()
    assert (row["subject"], row["batch"], row["note"]) == ("LP-13", "LP-13", "leadpipes, first box")
