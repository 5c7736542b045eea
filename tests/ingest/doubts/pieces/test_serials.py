from datetime import date

import pytest

from qc.ingest import Known, check
from qc.ingest.doubts.pieces.doubled_serial import is_slip

TODAY = date(2026, 5, 20)


def polish(*serials, day="2026-05-12", model="tenor"):
    head = [["Card", "Polishing card"], [], ["Date", "Serial", "Model", "Mass loss"]]
    return head + [[day, serial, model, f"{17 + n % 5 / 3:.1f}"] for n, serial in enumerate(serials)]


def joints(*serials, day="2026-05-04"):
    head = [["Card", "Joints card"], [], ["Date", "Serial", "Model", "Leak"]]
    return head + [[day, serial, "tenor", f"{1 + n % 5 / 3:.1f}"] for n, serial in enumerate(serials)]


RUN = [f"TH-{n}" for n in range(1001, 1031)]


def test_the_shops_serials_are_no_doubt(judge):
    assert judge(polish(*RUN), other=[joints(*RUN)]).held.height == 0


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        pytest.param("TH-1O15", "TH-1015", id="letter O"),
        pytest.param("TH-l015", "TH-1015", id="letter l"),
        pytest.param("TH-10115", "TH-1015", id="a digit too many"),
        pytest.param("TH-0115", "TH-1015", id="far outside the run"),
        pytest.param("TH-7015", "TH-1015", id="a wrong first digit"),
        pytest.param("1015", "TH-1015", id="no prefix"),
    ],
)
def test_a_serial_that_cannot_be_is_held_with_the_one_that_is_missing(judge, said, typed, meant):
    serials = [typed if serial == meant else serial for serial in RUN]
    found = said(judge(polish(*serials), other=[joints(*RUN)]))
    assert [(r["id"], r["proposal"]) for r in found] == [("unknown-serial", {"serial": meant})]
    assert typed in found[0]["sentence"]


@pytest.mark.parametrize("typed", ["th 1015", "TH1015", "TH_1015"])
def test_another_sign_before_the_number_is_no_other_piece(judge, typed):
    serials = [typed if serial == "TH-1015" else serial for serial in RUN]
    checked = judge(polish(*serials), other=[joints(*RUN)])
    assert checked.held.height == 0
    noted = checked.readings.filter(checked.readings["serial"] == "TH-1015")["note"].to_list()
    assert noted == [f"serial typed {typed}"]


def test_a_number_without_its_prefix_is_doubted_beside_four_pieces(plan, unfolded, said):
    """The plan says TH, the serials TH-205: the dash is learned; three of four are enough to tell."""
    bare = plan.model_copy(update={"workshop": plan.workshop.model_copy(update={"serial_prefix": "TH"})})
    sheet = unfolded(polish("TH-205", "206", "TH-207", "TH-208"), ",", "card.csv")
    known = Known(today=TODAY, serials={f"TH-{n}": "tenor" for n in range(201, 205)})
    found = said(check([sheet], bare, known)[0])
    assert [(r["id"], r["proposal"]) for r in found] == [("unknown-serial", {"serial": "TH-206"})]


def test_nothing_is_offered_that_stands_on_the_card_already(judge, said):
    serials = ["TH-1O05", *RUN]
    assert said(judge(polish(*serials), other=[joints(*RUN)]))[0]["proposal"] == {}


def test_new_pieces_ahead_of_the_run_are_welcome(judge):
    new = [f"TH-{n}" for n in range(1031, 1050)]
    assert judge(joints(*RUN, *new), other=[polish(*RUN)]).held.height == 0


def test_a_serial_on_record_is_never_strange(judge):
    known = Known(today=TODAY, serials={"SPECIAL-1": "tenor", **dict.fromkeys(RUN, "tenor")})
    assert judge(polish("SPECIAL-1", "TH-1003"), past=known).held.height == 0
    assert judge(polish("TH-9003", "TH-1003"), past=known).reasons() == {"unknown-serial": 1}


def test_tubes_have_their_own_way_of_writing(judge):
    rows = [["Card", "Drawing log"], [], ["Date", "Tube", "Model", "OD", "Bore"]]
    rows += [["2026-05-12", f"T-{n:04d}", "tenor", 14.9, 14.05] for n in range(1, 20)]
    assert judge(rows, other=[joints(*RUN), polish(*RUN)]).held.height == 0


def slides(*serials, inner="13.902", outer="14.051"):
    head = [["Card", "Slide card"], ["Model", "tenor"], ["Date", "2026-05-12"], []]
    names = ["Serial", "Leg", "Station", "Direction", "Surface", "Inner OD [mm]", "Outer bore [mm]"]
    return [*head, names, *([s, "upper", "mouth", "0", "stocking", inner, outer] for s in serials)]


@pytest.mark.parametrize(
    ("tubes", "asked"),
    [
        (tuple(f"RI-{n}" for n in range(41, 47)), 0),
        (("RI-41",), 1),
        (("TH-1O31", "TH-1O32"), 2),
        (("HT-41", "RI-7"), 2),
    ],
)
def test_loose_tubes_that_come_with_whole_slides_are_no_slips(judge, tubes, asked):
    """Several of one side, begun alike and unlike the shop's serials; one alone may be a slip."""
    drawn = [["Card", "Drawing log"], [], ["Date", "Tube", "Model", "OD", "Bore"]]
    drawn += [["2026-05-12", f"T-{n:04d}", "tenor", 14.9, 14.05] for n in range(1, 20)]
    checked = judge(slides(*tubes, outer=""), other=[joints(*RUN), slides(*RUN), drawn])
    assert checked.reasons().get("unknown-serial", 0) == asked


def test_events_of_strange_pieces(judge, said):
    rows = [
        ["Card", "Shipping list"],
        [],
        ["Serial", "Model", "Shipped"],
        *[[s, "tenor", "2026-05-14"] for s in ["TH-1O01", *RUN[1:9]]],
    ]
    found = said(judge(rows, other=[joints(*RUN), polish(*RUN)]))
    assert [(r["id"], r["proposal"]) for r in found] == [("unknown-serial", {"serial": "TH-1001"})]


def test_without_a_prefix_the_way_of_writing_is_learned(plan, as_csv):
    from qc.ingest import check, read_sheet, unfold

    bare = plan.model_copy(update={"workshop": plan.workshop.model_copy(update={"serial_prefix": ""})})
    sheet = unfold(read_sheet(as_csv(polish("odd one", *RUN)), "a.csv")[0], bare)
    assert check([sheet], bare, Known(today=TODAY))[0].reasons() == {"unknown-serial": 1}


def test_the_model_of_the_other_cards(judge, said, slide_card):
    others = [
        joints("TH-1001"),
        slide_card("TH-1001"),
        [
            ["Card", "Lacquer defects card"],
            [],
            ["Date", "Serial", "Model", "Lacquer defects"],
            ["2026-05-15", "TH-1001", "tenor", 1],
        ],
    ]
    found = said(judge(polish("TH-1001", model="tenor-f"), other=others))
    assert [(r["id"], r["proposal"]) for r in found] == [("model-differs", {"model": "tenor"})]


def test_the_model_on_record(judge, said):
    known = Known(today=TODAY, serials={"TH-1001": "tenor-f"})
    found = said(judge(polish("TH-1001"), past=known))
    assert [(r["id"], r["proposal"]) for r in found] == [("model-differs", {"model": "tenor-f"})]
    assert "tenor-f on its other cards, but tenor here" in found[0]["sentence"]


@pytest.mark.parametrize(
    ("one", "other", "slip"),
    [
        ("TH-1021", "TH-1012", True),
        ("TH-1021", "TH-1024", True),
        ("TH-1021", "TH-1032", False),
        ("TH-1021", "T-1021", False),
        ("TH-1201", "TH-1012", False),
        ("x", "TH-1", False),
    ],
)
def test_serials_that_can_be_mixed_up(one, other, slip):
    assert is_slip(one, other) is slip


def single(serial, day):
    return [
        ["Card", "Slide card"],
        ["Serial", serial],
        ["Model", "tenor"],
        ["Date", day],
        [],
        ["Leg", "Station", "Direction", "Surface", "Inner OD", "Outer bore"],
        ["upper", "mouth", 0, "stocking", "13.900", "14.050"],
    ]


def test_changed_digits_give_one_piece_two_cards_and_another_none(judge, said):
    # TH-1021 was measured in February; in May the card of TH-1012 was headed TH-1021
    other = [
        single("TH-1021", "2026-02-10"),
        joints("TH-1021", day="2026-02-06"),
        polish("TH-1021", day="2026-02-14"),
        joints("TH-1012", day="2026-05-04"),
        polish("TH-1012", day="2026-05-14"),
    ]
    found = said(judge(single("TH-1021", "2026-05-09"), other=other))
    assert {(r["id"], r["proposal"].get("serial")) for r in found} == {("doubled-serial", "TH-1012")}


def test_a_piece_measured_again_is_no_doubt(judge, said):
    other = [
        single("TH-1021", "2026-05-02"),
        joints("TH-1021", day="2026-05-01"),
        joints("TH-1012", day="2026-05-04"),
        polish("TH-1012", day="2026-05-14"),
    ]
    assert said(judge(single("TH-1021", "2026-05-09"), other=other)) == []


def shipping(*rows, title="Shipping list", column="Shipped"):
    return [
        ["Card", title],
        [],
        ["Serial", column, "Person", *(["Cause"] if column == "Returned" else [])],
        *[[s, d, "AB", *(["transport"] if column == "Returned" else [])] for s, d in rows],
    ]


def test_a_piece_is_shipped_once_unless_it_came_back(judge, said):
    twice = shipping(("TH-1001", "2026-05-02"), ("TH-1001", "2026-05-14"))
    assert [r["id"] for r in said(judge(twice))] == ["doubled-serial"]
    back = shipping(("TH-1001", "2026-05-08"), title="Returns list", column="Returned")
    assert said(judge(twice, other=[back])) == []


def test_a_shipping_list_sent_again_is_no_doubt(judge, said):
    known = Known(today=TODAY, shipped=frozenset({"TH-1001"}))
    assert said(judge(shipping(("TH-1001", "2026-05-02")), past=known)) == []


@pytest.mark.parametrize("kind", ["tuning", "slide", "shipping"])
def test_one_strange_serial_alone_on_a_card_of_instruments_is_held(judge, kind, slide_card):
    cards = {
        "tuning": [
            ["Card", "Tuning card"],
            ["Serial", "XX-77"],
            ["Model", "tenor"],
            ["Date", "2026-05-12"],
            [],
        ]
        + [["Partial", "Position", "Valve", "Cents"], [2, 1, "", 3], [4, 1, "", -2]],
        "slide": slide_card("XX-77"),
        "shipping": [
            ["Card", "Shipping list"],
            [],
            ["Serial", "Model", "Shipped"],
            ["XX-77", "tenor", "2026-05-14"],
        ],
    }
    past = Known(today=TODAY, serials=dict.fromkeys(RUN, "tenor"))
    assert set(judge(cards[kind], past=past).reasons()) == {"unknown-serial"}


@pytest.mark.parametrize(
    "typed",
    ["TH-1001-TH-1003", "TH-1001 + TH-1002", "TH-1040-1043", "R1001-R1003", "2026-05-12", "12.5.2026"],
)
def test_a_row_of_several_pieces_or_of_a_day_is_asked_about_on_an_empty_record(judge, said, typed):
    (found,) = said(judge(polish(typed)))
    assert (found["id"], found["proposal"]) == ("unknown-serial", {})
    assert "names several pieces" in found["sentence"] or "is a day, and stands where" in found["sentence"]


@pytest.mark.parametrize("serial", ["TH-1001", "KT26-29", "TH-1001-2", "R1001-3", "26-0310", "A-2026"])
def test_serials_with_dashes_and_years_are_neither(judge, said, serial):
    assert not any("pieces" in f["sentence"] or "a day" in f["sentence"] for f in said(judge(polish(serial))))


def test_what_looks_like_several_pieces_and_is_on_record_goes_in(judge):
    known = Known(today=TODAY, serials={"TH-1040-1043": "tenor", **dict.fromkeys(RUN, "tenor")})
    assert judge(polish("TH-1040-1043"), past=known).held.height == 0


@pytest.mark.parametrize(
    ("typed", "others", "meant"),
    [
        pytest.param("B 11O", ("B 108", "B 109", "B 111"), "B 110", id="letter O in a young shop"),
        pytest.param("B l12", ("B 108", "B 109", "B 111"), "B 112", id="letter l for the first digit"),
        pytest.param("B 11O", ("B 108", "B 109"), None, id="two others say too little"),
        pytest.param("B 11O", ("B 108", "B 109", "B 111", "B 10O"), None, id="others are written so too"),
        pytest.param("B 11S", ("B 108", "B 109", "B 111"), None, id="a letter that may tell something"),
        pytest.param("SOLO-12", ("SOLO-11", "SOLO-13", "SOLO-14"), None, id="letters in the head"),
    ],
)
def test_a_letter_among_the_digits_is_asked_about_beside_a_few_pieces(
    plan, unfolded, said, typed, others, meant
):
    bare = plan.model_copy(update={"workshop": plan.workshop.model_copy(update={"serial_prefix": ""})})
    sheet = unfolded(polish(*others, typed), ",", "card.csv")
    found = said(check([sheet], bare, Known(today=TODAY))[0])
    assert [r["proposal"] for r in found] == ([{"serial": meant}] if meant else [])
