from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from dashboard.pages import signal_life, signals
from dashboard.parts import unbroken
from qc.jobs.board.views import SignalComment, TouchedView
from qc.jobs.signals import MadeUnder
from qc.sayings import Said, What


@pytest.fixture
def signal(board):
    return board.signal("s0")


@pytest.fixture
def action(in_app, board, texts):
    def said(view):
        return texts(signal_life.action_card(view, board.series(view.verdict.key)))

    return said


def boxes(part):
    """Every tick box of a tree with its value."""
    found = {}
    if getattr(part, "kind", "") == "checkbox":
        found[part.value] = part.checked
    children = getattr(part, "children", None)
    for child in children if isinstance(children, list) else [children]:
        if hasattr(child, "to_plotly_json"):
            found |= boxes(child)
    return found


def test_the_three_steps_that_are_always_the_same_come_first(in_app, board, signal):
    card = signal_life.action_card(signal, board.series(signal.verdict.key))
    steps = list(boxes(card))
    assert steps[0].startswith("Re-measure") and steps[1].startswith("Check the zero")
    assert steps[2] == "Check serial and unit on the card."
    assert "Compare M-7 with the master mandrel." in steps[3:]


def test_the_cautions_defer_to_local_rules(action, signal):
    said = action(signal)
    assert "Heat and acid" in said and "Local rules" in said and "competent person decide" in said


def test_an_open_signal_can_be_taken_in_hand_and_closed_either_way(action, signal):
    said = action(replace(signal, state="open"))
    for way in (
        "Take in hand",
        "Keep ticks and remark",
        "Close with this cause",
        "Close as false",
        "worn die",
    ):
        assert way in said
    assert "Reopen" not in said
    assert "Take in hand" not in action(replace(signal, state="in-hand"))


def test_closing_asks_what_became_of_the_cause(action, signal):
    said = action(replace(signal, state="open"))
    assert "What became of the cause" in said and "the new level stays" in said
    assert "First piece made after the mend" in said


def test_pieces_made_under_the_cause_are_listed_with_what_to_do_and_what_was_done(in_app, signal, texts):
    day = date(2026, 11, 20)
    when = datetime(2026, 11, 21, 9, tzinfo=UTC)
    done = Said(What.PIECE_DONE, "RA", "bent back", first="TQ-0431", id=1, about="s0", when=when)
    pieces = (
        MadeUnder("TQ-0431", day, "", None, "measure it again before it leaves.", done),
        MadeUnder("TQ-0432", day, "TQ-0500", day, "left on 20 Nov: tell the lead."),
    )
    card = signal_life.made_under_card(replace(signal, made_under=pieces))
    said = texts(card)
    assert "2 pieces made under it; 1 of them dealt with." in said
    assert "bent back" in said and " in TQ-0500" in said and "tell the lead" in said
    assert "Tick it off" in said
    finished = signal_life.made_under_card(replace(signal, made_under=pieces[:1]))
    assert "Tick it off" not in texts(finished), "nothing is left to tick off"


def test_a_closed_signal_keeps_its_sentence_and_what_is_found_anew_stands_beside_it(in_app, signal, texts):
    was = replace(signal.signal, sentence="It was long by 9 mm.", because="Then so.")
    view = replace(signal, state="closed", standing="closed, cause mended", closed_as=was, anew=signal.signal)
    said = texts(signals.signal_body(replace(view, mend="Mended; 2 pieces since, from TQ-0440 on.")))
    assert said.index("It was long by 9 mm.") < said.index(f"Worked out anew since: {signal.signal.sentence}")
    assert "closed, cause mended" in said and "Mended; 2 pieces since" in said


@pytest.mark.parametrize("state", ["closed", "closed-false"])
def test_a_closed_signal_can_only_be_reopened_or_remarked_on(action, signal, state):
    said = action(replace(signal, state=state))
    assert "Reopen" in said and "Keep ticks and remark" in said
    assert "Close with this cause" not in said and "Take in hand" not in said


def test_the_steps_that_are_done_stand_ticked_and_only_their_ticks_can_be_taken_back(
    in_app, board, signal, texts
):
    step = "Check serial and unit on the card."
    view = board.series(signal.verdict.key)
    done = signal_life.action_card(replace(signal, ticked=(step,)), view)
    assert boxes(done)[step] and sum(boxes(done).values()) == 1
    assert f"3. {step}" in texts(done) and "Take the tick back" in texts(done)
    none = signal_life.action_card(replace(signal, ticked=()), view)
    assert not any(boxes(none).values()) and "Take the tick back" not in texts(none)


def test_the_history_says_who_and_when_in_order(signal, texts):
    later = SignalComment("2026-11-21 08:00", "KM", What.CLOSED_FALSE, "Nothing found.")
    said = texts(signal_life.history_card(replace(signal, comments=(*signal.comments, later))))
    assert "2026-11-20 09:10, RA" in said and "taken in hand" in said
    assert said.index("RA") < said.index("KM") and "closed as false" in said and "Nothing found." in said
    assert "Kept as said" in said


def test_a_signal_nobody_spoke_of_says_so(signal, texts):
    assert "Nobody has said anything" in texts(signal_life.history_card(replace(signal, comments=())))


def test_what_else_was_touched_is_listed_shipped_or_not(in_app, board, texts):
    said = texts(signal_life.touched_card(board.touched("s0")))
    assert "Tool M-7 touched 20 pieces; 10 left the shop." in said
    assert said.index("TQ-0419") < said.index("TQ-0400") and "Show the other 5" in said
    assert "still here" in said and "left 3 Nov 2026" in said


def test_nothing_touched_is_one_sentence(texts):
    said = texts(signal_life.touched_card(TouchedView("gauge G-1 touched 0 pieces.", ())))
    assert said == "What else it touched Gauge G-1 touched 0 pieces."


def test_a_page_tells_what_else_was_touched_only_where_it_can_be_followed(in_app, board, texts):
    assert "What else it touched" in texts(signals.signal_body(board.signal("s0")))
    assert "What else it touched" not in texts(signals.signal_body(board.signal("s2")))


def test_serials_stay_whole_in_a_sentence(texts):
    parts = unbroken("Wraps run long since TQ-0418, on M-7; F-wrap apart.")
    assert [p.children for p in parts if hasattr(p, "className")] == ["TQ-0418", "M-7", "F-wrap"]
    assert texts(parts) == "Wraps run long since TQ-0418, on M-7; F-wrap apart."
    assert unbroken("Nothing to keep whole.") == ["Nothing to keep whole."]


def test_a_very_long_list_of_pieces_is_cut_and_says_where_the_rest_is(texts):
    many = tuple((f"TQ-{n:04d}", date(2026, 1, 1), "Slide", "still here") for n in range(400))
    said = texts(signal_life.touched_card(TouchedView("gauge G-1 touched 400 pieces.", many), "Touched"))
    assert said.startswith("Touched Gauge G-1 touched 400 pieces.") and "Show the other 385" in said
    assert "The newest 300 of them; qc also lists all." in said
    assert "TQ-0085" in said and "TQ-0084" not in said
