from dataclasses import replace

from dashboard import shown
from dashboard.pages import stage


def test_the_first_three_steps_never_change(view):
    first = stage.steps(view)[:3]
    assert first == [
        "Re-measure TQ-0442.",
        "Check the zero of G-03 on its master.",
        "Check serial and unit on the card.",
    ]


def test_then_comes_the_finding_then_the_plan(view):
    rest = stage.steps(view)[3:]
    assert rest == [view.verdict.current.next_step, *view.reaction]


def test_a_step_is_said_once(view):
    doubled = replace(view, reaction=(view.verdict.current.next_step, *view.reaction))
    assert stage.steps(doubled) == stage.steps(view)


def test_without_a_signal_the_plans_own_step_comes_first(board):
    quiet = board.series(board.verdicts("valves")[0].key)
    assert stage.steps(replace(quiet, next_step="Turn the rotor."))[3] == "Turn the rotor."


def test_cautions_defer_to_local_rules_and_never_say_safe(in_app, view, texts):
    said = texts(stage._action_card(view))
    assert "Heat and acid" in said and "Local rules" in said and "competent person decide" in said
    assert " safe" not in said


def test_a_steady_series_asks_for_nothing(in_app, board, texts):
    said = texts(stage._action_card(board.series(board.verdicts("valves")[0].key)))
    assert said.startswith("What to do Nothing now.")


def test_a_page_opens_with_the_sentence(in_app, view, texts):
    said = texts(stage.series_layout("tuning", "f-wrap", "tenor-bass"))
    assert said.index(view.verdict.current.sentence) < said.index("Download the data")
    assert "Does it keep its limits?" in said and "What to do" in said
    assert "Main length" in said  # the other series of the stage are one click away


def test_a_stage_opens_its_worst_series(in_app, texts):
    assert "Tuning — F wrap length, tenor-bass" in texts(stage.stage_layout("tuning"))


def test_wear_is_forecast_where_there_is_a_tool(in_app, wearing, texts):
    said = texts(stage.series_layout("draw", "outer-bore", "all"))
    assert wearing.verdict.forecast.sentence in said


def test_spreads_have_two_owners(in_app, texts):
    said = texts(stage.series_layout("slide", "clear-upper", "all"))
    assert "Piece to piece the spread is 5.0 µm, within a piece 2.5 µm" in said
    assert "The gauge reads in steps of 1 µm" in said


def test_a_series_without_pieces_is_shown_without_a_chart(in_app, view, board, monkeypatch, texts):
    empty = replace(
        view.verdict, points=(), stretches=(), signals=(), pieces=0, behaviour="learning", capable=""
    )
    monkeypatch.setattr(board, "series", lambda key: replace(view, verdict=empty))
    said = texts(stage.series_layout("tuning", "f-wrap", "tenor-bass"))
    assert "Still learning: 0 pieces so far" in said and "Download" not in said


def test_the_window_reaches_back_before_the_change(view):
    assert shown.window(view.verdict) == shown.WINDOW
    early = replace(
        view.verdict, points=tuple(replace(p, ordinal=p.ordinal + 100) for p in view.verdict.points)
    )
    assert shown.window(early) == 146 - view.verdict.current.start_low + 1 + shown.BEFORE
    assert shown.window(replace(early, behaviour="steady")) == shown.WINDOW


def test_the_table_holds_what_the_chart_shows_and_no_empty_column(in_app, view, texts):
    few, all_of_them = (shown.pieces_table(view, last) for last in (5, None))
    said = texts(few)
    assert "The newest 5 of 46 pieces" in said and "All 46 pieces" in texts(all_of_them)
    assert said.index(view.verdict.points[-1].serial) < said.index(view.verdict.points[-5].serial)
    assert view.verdict.points[-6].serial not in said
    assert "Gauge" in said and "Note" not in said  # nobody wrote a note


def test_what_passes_or_fails_says_so(in_app, view, texts):
    faults = tuple(replace(p, value=float(p.ordinal == 46)) for p in view.verdict.points)
    verdict = replace(view.verdict, kind="pass-fail", unit="fault", centered=False, points=faults)
    said = texts(shown.pieces_table(replace(view, verdict=verdict), 2))
    newest, before = said.split("TQ-0441")
    assert "tenor-bassfail" in newest and "tenor-basspass" in before


def test_several_gauges_have_their_masters(view):
    assert (
        stage.steps(replace(view, gauges=("TU-1", "TU-2")))[1]
        == "Check the zero of TU-1 and TU-2 on their masters."
    )
