"""A piece as it was known on a day: what was handed in later changes nothing of it."""

import json

import pytest

JOINTS = "Card,Joints card\n\nDate,Serial,Model,Leak\n"
SHIPPING = "Card,Shipping list\n\nShipped,Serial,Person\n"


@pytest.fixture
def ask(bare, tmp_path, command):
    """Hand in three cards on three days, the last one after the piece left, and run commands on them."""

    def run(*words):
        done = command(*words, "--workshop", bare, "--json")
        return done.exit_code, json.loads(done.stdout) if done.stdout else done.stderr

    cards = {
        "2026-11-10": JOINTS + "2026-11-09,QH-1301,tenor,1.5\n2026-11-09,QH-1303,tenor,1.6\n",
        "2026-11-12": SHIPPING + "2026-11-12,QH-1301,IS\n",
        "2026-11-20": JOINTS + "2026-11-11,QH-1301,tenor,6.0\n2026-11-11,QH-1302,tenor,1.4\n",
        "2026-11-21": SHIPPING + "2026-11-13,QH-1303,IS\n",
    }
    for day, text in cards.items():
        path = tmp_path / f"{day}.csv"
        path.write_text(text, "utf-8")
        assert run("upload", path, "--as-of", day)[0] == 0
    return run


def leak(found):
    return next(one for one in found["figures"] if one["characteristic"] == "leak")


def test_late_cards_never_change_what_was_known_when_it_left(ask):
    _, then = ask("piece", "QH-1301", "--known", "shipped")
    assert (then["known"], then["shipped"]) == ("2026-11-12", "2026-11-12")
    assert (leak(then)["value"], leak(then)["inside"]) == (1.5, True)
    _, now = ask("piece", "QH-1301")
    assert (now["known"], leak(now)["value"], leak(now)["inside"]) == (None, 6.0, False)


def test_before_it_left_it_was_in_the_house(ask):
    _, then = ask("piece", "QH-1301", "--known", "2026-11-11")
    assert (then["shipped"], then["where"]) == (None, "Joints, 9 Nov 2026")


def test_what_was_brought_in_later_is_never_made_up(ask):
    code, said = ask("piece", "QH-1302", "--known", "2026-11-12")
    assert code == 1
    assert "Nothing was known of QH-1302 here on 12 Nov 2026. It was handed in on 20 Nov 2026." in said


def test_what_has_not_left_has_no_such_day(ask):
    code, said = ask("piece", "QH-1302", "--known", "shipped")
    assert code == 1 and "has not left" in said


def test_what_came_late_is_told_of_the_piece_alone_with_what_of_it_is_outside(ask):
    _, then = ask("piece", "QH-1301", "--known", "shipped")
    assert then["notes"][-1] == (
        "1 reading of QH-1301, measured by 12 Nov 2026, was handed in on 20 Nov 2026: Joints: Joint leak, "
        "6.0 cm³/min, over 4 cm³/min. Not known here on 12 Nov 2026."
    )
    assert not [note for note in then["notes"] if note.startswith("2 readings")]


def test_what_came_late_is_told_also_where_a_later_day_is_asked_of(ask):
    """It was said that all had been handed in by the later day, of what came after it had left."""
    _, then = ask("piece", "QH-1301", "--known", "shipped", "--as-of", "2026-11-25")
    assert any("was handed in on 20 Nov 2026: Joints: Joint leak" in note for note in then["notes"])
    assert not any("had been handed in by then" in note for note in then["notes"])


def test_the_answer_of_today_says_what_came_late_as_that_of_then_does(ask):
    _, then = ask("piece", "QH-1301", "--known", "shipped")
    _, now = ask("piece", "QH-1301")
    assert then["notes"][-1] in now["notes"]


def test_a_gauge_found_off_after_it_left_is_told_now_and_of_then(ask, tmp_path):
    checks = "Card,Morning gauge checks\n\nDate,Gauge,Deviation,Person\n2026-11-{0},LR-1,{1},BK\n"
    cards = {
        "2026-11-21": "Card,Joints card\nGauge,LR-1\n\nDate,Serial,Model,Leak\n"
        "2026-11-19,QH-1320,tenor,1.5\n",
        "2026-11-22": SHIPPING + "2026-11-22,QH-1320,IS\n",
        "2026-11-23": checks.format("18", "0.0") + "2026-11-23,LR-1,0.9,BK\n",
    }
    for day, text in cards.items():
        path = tmp_path / f"{day}-gauge.csv"
        path.write_text(text, "utf-8")
        assert ask("upload", path, "--as-of", day)[0] == 0
    for words in ((), ("--known", "shipped")):
        _, found = ask("piece", "QH-1320", *words)
        (note,) = [one for one in found["notes"] if "LR-1" in one]
        assert "0.9 cm³/min off on 23 Nov 2026" in note
        assert note.endswith(
            "what it read of QH-1320 (Joints: Joint leak) is in doubt. Not known here on 22 Nov 2026."
        )


def test_a_piece_that_left_is_not_foretold_to_leave(ask):
    _, then = ask("piece", "QH-1303", "--known", "shipped")
    assert (then["shipped"], then["leaving"]) == (None, None)
    assert "It left on 13 Nov 2026, as was handed in on 21 Nov 2026" in then["notes"][-1]
    assert "had been handed in by then" in then["notes"][-2]


def test_a_card_that_came_late_and_waits_is_told_with_the_card_it_left_without(ask, tmp_path):
    joints = "2026-11-09,QH-{0},tenor,1.5\n"
    cards = {
        "2026-11-22": JOINTS + "".join(joints.format(number) for number in range(1310, 1314)),
        "2026-11-23": SHIPPING + "".join(f"2026-11-23,QH-{number},IS\n" for number in range(1310, 1315)),
        "2026-11-24": "Card,Polish card\n\nDate,Serial,Model,Mass loss\n2026-11-20,QH-1314,tenor,30.5\n",
        "2026-11-26": JOINTS + "2026-11-12,QH-1314,tenor,150\n",
    }
    for day, text in cards.items():
        path = tmp_path / f"{day}.csv"
        path.write_text(text, "utf-8")
        ask("upload", path, "--as-of", day)
    _, then = ask("piece", "QH-1314", "--known", "2026-11-24")
    assert then["judgement"][-1].startswith("It left without a card of Joints, which the plan asks for: ")
    told = "Its Joints card of 12 Nov 2026 came on 26 Nov 2026 and waits as held row 1, on which nobody has"
    assert told in then["notes"][-1]
    _, now = ask("piece", "QH-1314")
    assert not [said for said in now["judgement"] if "left without" in said]  # the row that waits is told
    assert "held row 1" in now["judgement"][0]
    _, other = ask("piece", "QH-1310", "--known", "shipped")
    assert not [said for said in other["judgement"] if "left without" in said]


def test_what_it_left_without_is_no_judgement_of_a_day_that_did_not_know_it_had_left(ask, tmp_path):
    joints = "".join(f"2026-11-09,QH-{number},tenor,1.5\n" for number in range(1310, 1314))
    polish = "Card,Polishing card\n\nDate,Serial,Model,Mass loss\n2026-11-20,QH-1314,tenor,30.5\n"
    cards = {
        "2026-11-22": (JOINTS + joints, polish),
        "2026-11-23": (SHIPPING + "".join(f"2026-11-23,QH-{number},IS\n" for number in range(1310, 1314)),),
        "2026-11-25": (SHIPPING + "2026-11-23,QH-1314,IS\n",),
    }
    for day, texts in cards.items():
        for number, text in enumerate(texts):
            path = tmp_path / f"{day}-{number}.csv"
            path.write_text(text, "utf-8")
            assert ask("upload", path, "--as-of", day)[0] == 0
    without = "It left without a card of Joints, which the plan asks for: "
    _, then = ask("piece", "QH-1314", "--known", "shipped")
    assert not [said for said in then["judgement"] if "left" in said]
    assert then["notes"][-1].startswith("It left on 23 Nov 2026, as was handed in on 25 Nov 2026; ")
    assert without in then["notes"][-1]
    # of a day that knew it, it is a judgement
    _, later = ask("piece", "QH-1314", "--known", "2026-11-25")
    assert [said for said in later["judgement"] if said.startswith(without)]


@pytest.fixture
def answered(ask, tmp_path):
    """A row that waits over the day its piece left, one that does under another serial, one come later."""
    joints = "".join(f"2026-11-22,QH-{number},tenor,1.5\n" for number in range(1330, 1339))
    cards = {
        "2026-11-22": JOINTS + joints + "2026-11-22,QH-1340,tenor,150\n2026-11-22,QH-9341,tenor,1.6\n",
        "2026-11-24": SHIPPING + "".join(f"2026-11-24,QH-{number},IS\n" for number in (1340, 1341, 1342)),
        "2026-11-26": JOINTS + "2026-11-22,QH-1342,tenor,160\n",
    }
    for day, text in cards.items():
        path = tmp_path / f"{day}-answered.csv"
        path.write_text(text, "utf-8")
        ask("upload", path, "--as-of", day)
    mends = {"1": "value=1.5", "2": "serial=QH-1341", "3": "value=1.6"}
    for number, mend in mends.items():
        code, said = ask("held", "mend", number, "--set", mend, "--who", "IS", "--as-of", "2026-11-28")
        assert code == 0, said
    return ask


@pytest.mark.parametrize(
    ("serial", "came", "then"),
    [
        ("QH-1340", 22, "On 24 Nov 2026 it lay here unanswered."),
        ("QH-1341", 22, "On 24 Nov 2026 it lay here unanswered, typed as QH-9341."),
        ("QH-1342", 26, "Not known here on 24 Nov 2026."),
    ],
)
def test_a_row_that_waited_was_handed_in_on_the_day_of_its_sheet(answered, serial, came, then):
    """Nobody may be told that nobody could have known what lay in the list of held rows."""
    told = (
        f"1 reading of {serial}, measured by 24 Nov 2026, was handed in on {came} Nov 2026 as a row that "
        f"waited for an answer (answered on 28 Nov 2026): Joints: Joint leak. {then}"
    )
    for words in ((), ("--known", "shipped")):
        _, found = answered("piece", serial, *words)
        assert [note for note in found["notes"] if "handed in" in note or "Not known" in note] == [told]


def test_the_status_of_a_day_tells_what_waited_on_it_apart_from_what_came_later(answered, bare, command):
    said = command("status", "--known", "2026-11-24", "--workshop", bare).stdout
    assert (
        "2 readings measured by 24 Nov 2026 were handed in on 22 Nov 2026 as rows that waited for an answer "
        "(answered on 28 Nov 2026); on 24 Nov 2026 they lay here unanswered." in said
    )
    assert (
        "1 reading measured by 24 Nov 2026 was handed in on 26 Nov 2026 as a row that waited for an answer "
        "(answered on 28 Nov 2026); not known here on 24 Nov 2026." in said
    )


def test_what_only_waited_is_not_told_as_come_on_the_day_of_the_answer(answered):
    code, said = answered("piece", "QH-1341", "--known", "2026-11-23")
    assert code == 1
    assert (
        "Nothing was known of QH-1341 here on 23 Nov 2026. It was handed in on 22 Nov 2026 as a row that "
        "waited for an answer (answered on 28 Nov 2026)." in said
    )


def test_what_was_put_right_is_not_told_as_handed_in(ask):
    code, said = ask(
        *("correct", "1", "--set", "value=3.5", "--why", "misread"),
        *("--who", "IS", "--as-of", "2026-11-22"),
    )
    assert code == 0, said
    _, then = ask("piece", "QH-1301", "--known", "shipped")
    assert any("was put right on 22 Nov 2026: Joints: Joint leak" in note for note in then["notes"])
