"""Steps and cautions: the same for command and board."""

import pytest

from qc.watch.reaction import caution_words, first_steps, reaction_steps


@pytest.mark.parametrize("named", [(), ("A-0418",), ("", ["G-1"]), ("A-0418", ["G-1", "G-2"])])
def test_the_first_three_steps_are_always_the_same(named):
    assert [step.split()[0] for step in first_steps(*named)] == ["Re-measure", "Check", "Check"]


def test_pieces_and_gauges_are_named_where_they_are_known():
    assert first_steps("A-0418", ["G-1", "G-2"])[:2] == (
        "Re-measure A-0418.",
        "Check the zero of G-1 and G-2 on their masters.",
    )
    assert first_steps("")[:2] == (
        "Re-measure the newest piece.",
        "Check the zero of the gauge on its master.",
    )


def test_the_findings_own_step_comes_before_the_plans_and_each_is_said_once():
    first = first_steps()
    assert reaction_steps(("Hold three.", "Look."), "Look.") == (*first, "Look.", "Hold three.")
    assert reaction_steps(("Hold three.",)) == (*first, "Hold three.")
    assert reaction_steps(()) == first


def test_cautions_name_the_local_rules_once():
    assert caution_words(()) == ""
    assert caution_words(("Lead dust.",)).count("Local rules") == 1
    own = caution_words(("Lead dust.", "Local rules decide."))
    assert own.lower().count("local rules") == 1 and own.endswith("a competent person decide too.")
