from dataclasses import replace
from datetime import date

import pytest

from dashboard.pages import signal_life, signals
from dashboard.parts import unbroken
from qc.jobs.board.views import SignalComment, TouchedView
from qc.sayings import What


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
    for way in ("Take in hand", "Keep the remark", "Close with this cause", "Close as false", "worn die"):
        assert way in said
    assert "Reopen" not in said
    assert "Take in hand" not in action(replace(signal, state="in-hand"))


@pytest.mark.parametrize("state", ["closed", "closed-false"])
def test_a_closed_signal_can_only_be_reopened_or_remarked_on(action, signal, state):
    said = action(replace(signal, state=state))
    assert "Reopen" in said and "Keep the remark" in said
    assert "Close with this cause" not in said and "Take in hand" not in said


def test_a_step_stays_ticked_until_the_signal_is_reopened(in_app, board, signal):
    step = "Check serial and unit on the card."
    ticked = SignalComment("2026-11-20 09:10", "RA", What.COMMENT, f"Ticked: {step}")
    again = SignalComment("2026-11-22 09:10", "KM", What.REOPENED, "")
    view = board.series(signal.verdict.key)
    once = boxes(signal_life.action_card(replace(signal, comments=(ticked,)), view))
    assert once[step] and sum(once.values()) == 1
    assert not any(boxes(signal_life.action_card(replace(signal, comments=(ticked, again)), view)).values())


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
