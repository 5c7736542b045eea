"""What a receipt says beside its counts: what is new, what a card still lacks, what waits for a model."""

from __future__ import annotations

from datetime import date

import pytest

from qc.ingest import Known, read_sheet, unfold
from qc.jobs.receipts import Accepted, accepted_readings, still_missing
from qc.jobs.status import status
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.plan import template_text

SLIDE = "Card;Slide card\nSerial;TB1001\nModel;tenor\nDate;2026-03-10\nPerson;B1\n\n"
COLUMNS = "Leg;Station;Direction;Surface;Inner OD;Outer bore\n"
PLACES = [
    (leg, at, turn) for leg in ("upper", "lower") for at in ("mouth", "middle", "crook") for turn in (0, 90)
]
NOTES = "Card;Tuning card\nSerial;{serial}\nDate;2026-03-12\nTuner;TUNER-1\n\nPosition;Partial;Cents\n"


def slide(places=PLACES, head=SLIDE):
    rows = [
        f"{leg};{at};{turn};stocking;14.6{n:02d};14.7{n + 50}" for n, (leg, at, turn) in enumerate(places)
    ]
    return head + COLUMNS + "\n".join(rows) + "\n"


def notes(serial, partials=(2, 3, 4, 5, 6, 8)):
    return NOTES.format(serial=serial) + "".join(f"1;{p};{-p - n}\n" for n, p in enumerate(partials))


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "plan.yaml").write_text(template_text(), "utf-8")
    workshop = open_workshop(tmp_path, as_of=date(2026, 3, 20))
    yield workshop
    workshop.store.close()


def hand_in(shop, *texts):
    return upload(shop, [(f"{n}.csv", text.encode()) for n, text in enumerate(texts, 1)], who="B1")


def test_a_whole_card_lacks_nothing(shop):
    receipt = hand_in(shop, slide(), notes("TB1001"))
    assert [sheet.count.held for sheet in receipt.sheets] == [0, 0]
    assert [sheet.missing for sheet in receipt.sheets] == [(), ()]
    assert "missing" not in receipt.to_text() and "new" not in receipt.to_text()


def test_places_and_figures_that_a_card_lacks_are_named_with_their_piece(shop):
    (sheet,) = hand_in(shop, slide(PLACES[:-2])).sheets
    assert sheet.missing == (
        "Still missing of Slide card: TB1001: Stocking diameter at 2 places (first: leg lower, station "
        "crook, direction 0, surface stocking) and Outer bore at 2 places (first: leg lower, station crook, "
        "direction 0).",
    )
    (sheet,) = hand_in(shop, slide(PLACES[-1:])).sheets
    # what came before counts: of two places one is left
    assert "Outer bore at leg lower, station crook, direction 0" in sheet.missing[0]


def test_what_comes_on_another_sheet_of_the_same_upload_is_not_missing(shop):
    first, second = slide(PLACES[:2]), slide(PLACES[2:])
    assert [sheet.missing for sheet in hand_in(shop, first, second).sheets] == [(), ()]


def rack(inners, outers):
    rows = [f"{s};{leg};{at};{turn};stocking;14.61;" for s in inners for leg, at, turn in PLACES]
    rows += [f"{s};{leg};{at};{turn};;;14.75" for s in outers for leg, at, turn in PLACES]
    return SLIDE.replace("Serial;TB1001\n", "") + "Serial;" + COLUMNS + "\n".join(rows) + "\n"


def test_a_loose_tube_lacks_no_other_side_once_whole_slides_are_known(shop):
    hand_in(shop, slide())
    (sheet,) = hand_in(shop, rack(["IN7", "IN8"], ["OU1"])).sheets
    assert sheet.count.accepted == 3 * len(PLACES)
    assert sheet.missing == ()


def test_a_slide_of_which_a_side_was_forgotten_is_told(shop):
    hand_in(shop, slide())
    (sheet,) = hand_in(shop, rack(["IN7", "TB1002"], ["OU1"])).sheets
    assert sheet.missing == ("Still missing of Slide card: TB1002: Outer bore.",)


def test_before_a_whole_slide_is_known_the_other_side_is_asked_for(shop):
    (sheet,) = hand_in(shop, rack(["IN7"], ["OU1"])).sheets
    assert "IN7: Outer bore" in sheet.missing[0] and "OU1: Stocking diameter" in sheet.missing[0]


def test_a_figure_read_at_no_place_lacks_none(shop):
    stage, figure = next(
        (stage, figure)
        for stage in shop.plan.stages
        for figure in stage.characteristics
        if not figure.places and figure.derive is None and figure.kind == "measured"
        and any(c.source == "bench" and c.stage == stage.id for c in shop.plan.cards)
    )  # fmt: skip
    card = next(c for c in shop.plan.cards if c.source == "bench" and c.stage == stage.id)
    limits = shop.plan.limits(figure, "tenor", date(2026, 3, 10))
    value = limits.target or (limits.upper or limits.lower)
    rows = "".join(f"TB100{n};tenor;{value}\n" for n in range(1, 6))
    sheet = f"Card;{card.title}\nDate;2026-03-10\nPerson;B1\n\nSerial;Model;{figure.name}\n{rows}"
    (receipt,) = upload(shop, [("card.csv", sheet.encode())]).sheets
    assert receipt.count.accepted == 5
    assert not any(figure.name in said for said in receipt.missing)


def test_notes_that_a_tuning_card_lacks_are_those_of_the_model_on_record(shop):
    hand_in(shop, slide())
    (sheet,) = hand_in(shop, notes("TB1001", (2, 3, 4, 5, 6))).sheets
    assert sheet.missing == (
        "Still missing of Tuning card: TB1001: Deviation of a note at valve open, position 1, partial 8.",
    )


def test_only_the_partials_that_the_plan_asks_for_are_missed(shop):
    """The plan says at which partials a figure is read; the model's other ones are not asked for."""
    stages = [
        stage.model_copy(
            update={
                "characteristics": tuple(
                    one.model_copy(update={"places": {**one.places, "partial": ("3", "4", "6")}})
                    if one.id == "note"
                    else one
                    for one in stage.characteristics
                )
            }
        )
        for stage in shop.plan.stages
    ]
    plan = shop.plan.model_copy(update={"stages": tuple(stages)})
    asked = []
    for partials in ((3, 4, 6), (3, 6)):
        card = notes("TB1001", partials).replace("Serial;", "Model;tenor\nSerial;")
        parts = [unfold(grid, plan) for grid in read_sheet(card.encode(), "notes.csv")]
        asked.append(still_missing(parts, plan, Known(today=shop.today)))
    assert asked[0] == ()
    assert asked[1][0].endswith("TB1001: Deviation of a note at valve open, position 1, partial 4.")


def test_notes_further_out_are_missed_only_where_most_pieces_have_them(shop):
    def blown(serial, *also):
        named = notes(serial).replace("Serial;", "Model;tenor\nSerial;")
        return named + "".join(f"4;{partial};-3\n" for partial in also)

    first, *_ = hand_in(shop, *(blown(f"TB100{n}", 3, 4) for n in range(1, 4))).sheets
    assert first.missing == ()
    (less,) = hand_in(shop, blown("TB1004", 3)).sheets
    assert "at valve open, position 4, partial 4." in less.missing[0]


def test_what_a_shop_never_measures_is_not_asked_for(shop):
    cards = [slide(PLACES[::2], SLIDE.replace("TB1001", f"TB100{n}")) for n in range(1, 5)]
    assert hand_in(shop, *cards[:3]).sheets[0].missing != ()
    assert hand_in(shop, cards[3]).sheets[0].missing == ()


def test_a_card_sent_again_with_more_on_it_says_how_much_is_new(shop):
    hand_in(shop, slide(PLACES[:10]))
    receipt = hand_in(shop, slide())
    assert receipt.to_dict()["sheets"][0]["learned"] == "4 of 24 readings of this card are new."
    assert "4 of 24 readings of this card are new." in receipt.to_text()


def test_rows_held_for_their_model_go_in_once_another_card_has_said_it(shop):
    first = hand_in(shop, notes("TB1001"))
    assert first.sheets[0].count.reasons == {"missing-model": 6}
    assert "sent again" in shop.store.held()[0].reasons[0].mend
    assert hand_in(shop, notes("TB1001")).sheets[0].count.held_again == 6
    hand_in(shop, slide())
    again = hand_in(shop, notes("TB1001")).sheets[0].count
    assert (again.accepted, again.held) == (6, 0)
    assert shop.store.held() == []


@pytest.mark.parametrize("turned", [False, True], ids=["model first", "model last"])
def test_in_one_upload_the_order_of_the_cards_does_not_matter(shop, turned):
    cards = [slide(), notes("TB1001")]
    receipt = hand_in(shop, *(reversed(cards) if turned else cards))
    assert sum(sheet.count.held for sheet in receipt.sheets) == 0
    assert set(shop.store.readings()["model"]) == {"tenor"}


def test_status_and_receipts_count_alike(shop):
    told = [hand_in(shop, slide(), notes("TB1001")).accepted, hand_in(shop, notes("TB1002")).accepted]
    assert told == [Accepted(in_series=30), Accepted()]
    counted = accepted_readings(shop)
    assert counted == Accepted(in_series=30)
    assert counted.sentence() == "30 readings accepted: 30 stand in a series."
    assert status(shop).to_dict()["readings"] == {
        "accepted": 30,
        "in_series": 30,
        "recorded": 0,
        "nowhere": 0,
    }


def test_readings_on_no_chart_are_counted_apart():
    said = Accepted(in_series=5, recorded=2, nowhere=3).sentence()
    assert said.startswith(
        "10 readings accepted: 5 stand in a series and 2 only recorded; 3 on no chart, for want"
    )
    assert Accepted(5, 0, 0).apart() == "" and Accepted(5, 1, 0).apart() != ""
    assert Accepted().sentence() == ""
