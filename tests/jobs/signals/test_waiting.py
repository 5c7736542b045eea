"""Status says which signals wait for an answer, also where no series drifts by them any more."""


def test_status_names_what_waits_with_its_number_its_owner_and_its_age(bows):
    (told,) = bows.ask("status")["signals_waiting"]
    assert (told["number"], told["owner"], told["overdue"], told["over"]) == (1, None, False, False)
    text = bows.say("status")
    assert "1 signal waits for an answer: qc signals" in text and "nobody has it in hand" in text
    bows.ask("signals", "take", "1", "--who", "FT")
    bows.later(9)
    (told,) = bows.ask("status")["signals_waiting"]
    assert (told["owner"], told["age_days"], told["overdue"]) == ("FT", 9, True)
    assert "  1  Bow: Rise, shift  FT has it in hand  9 days, overdue" in bows.say("status")


def test_whoever_had_a_signal_before_it_opened_anew_is_named_until_somebody_takes_it(bows):
    """It was said that nobody had taken it in hand, above the lines that told who had."""
    bows.ask("signals", "take", "1", "--who", "FT")
    bows.close()
    for _ in range(2):
        bows.bend(56.0, 2)
    found = bows.signal()
    assert (found["state"], found["owner"], found["had_before"]) == ("open", None, "FT")
    anew = "Nobody has taken it in hand since it was opened anew, FT before; known for "
    assert anew in bows.say("signals", "show", "1")
    assert "opened anew, FT had it" in bows.say("status")
    bows.ask("signals", "take", "1", "--who", "FT")
    found, said = bows.signal(), bows.say("signals", "show", "1")
    assert "had_before" not in found and "In the hands of FT;" in said
    bows.close()
    assert "had_before" not in bows.ask("signals", "show", "1"), "a closed one asks nobody"


def test_status_does_not_say_that_all_is_as_it_was_while_a_signal_waits_that_is_over_by_itself(bows):
    for _ in range(3):
        bows.bend(50.0, 5)
    told = bows.ask("status")
    assert [row["behaviour"] for row in told["series"]] == ["steady"]
    assert [(one["number"], one["over"]) for one in told["signals_waiting"]] == [(1, True)]
    head, _, *rest = bows.say("status").splitlines()
    assert "no series drifts; 1 signal waits for an answer." in head
    assert "  1  is over by itself and not answered: what it holds stays held" in rest

    bows.ask("signals", "close", "1", "--false", "--who", "ML")
    assert bows.ask("status")["signals_waiting"] == []
    assert bows.say("status").splitlines()[0].count("all 1 series are as they were.") == 1


def test_a_number_that_does_not_exist_is_named_with_those_that_do(bows):
    said = bows.command("signals", "close", "8", "--false", "--who", "ML", "--workshop", bows.folder)
    assert said.exit_code == 1
    assert "There is no signal '8'. See the list: qc signals --all" in said.stderr
    assert bows.signal()["state"] == "open"


def test_after_a_mend_that_did_not_hold_the_days_to_answer_begin_anew(bows):
    bows.later(6).close()
    for _ in range(2):
        bows.bend(56.0, 2)  # the same signal opens anew
    found = bows.later().signal()
    assert (found["state"], found["age_days"]) == ("open", 9)
    assert (found["overdue"], found["due"]) == (False, "2026-03-25")
    assert bows.later(7).signal()["overdue"]


def test_a_step_that_is_ticked_goes_on_saying_what_was_done(bows):
    bows.ask("signals", "tick", "1", "--step", "1", "--who", "FT", "--text", "twice")
    bows.bend(56.0, 2)
    text = bows.say("signals", "show", "1")
    assert "1. Re-measure A-036.  (done: FT" in text and "Re-measure A-038" not in text
    (tick,) = bows.signal()["ticked"]
    assert (tick["step"], tick["who"]) == ("Re-measure A-036.", "FT")
    bows.ask("signals", "untick", "1", "--step", "1", "--who", "FT")
    assert "1. Re-measure A-038." in bows.say("signals", "show", "1")
