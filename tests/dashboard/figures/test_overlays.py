from dataclasses import replace

import plotly.graph_objects as go
import pytest

from dashboard.figures import draw_capability, draw_series
from dashboard.figures.overlays import frozen_text
from dashboard.theme import LIGHT
from qc.watch import apply_rules


@pytest.fixture
def decided(view, decide):
    return decide(view)


def shade(figure):
    return [s for s in figure["layout"]["shapes"] if s.get("fillcolor") == LIGHT["steady-soft"]]


def test_a_frozen_state_is_shaded_with_who_and_when(decided):
    figure = draw_series(decided)
    verdict = decided.verdict
    (band,) = shade(figure)
    assert (band["x0"], band["x1"]) == (verdict.baseline_first - 0.5, verdict.baseline_last + 0.5)
    assert any(
        note["text"] == "settled state, frozen by RA, 2 Nov" for note in figure["layout"]["annotations"]
    )
    assert go.Figure(figure)


def test_nothing_is_shaded_where_nothing_is_frozen_or_in_view(view, decided):
    assert shade(draw_series(view)) == []
    assert shade(draw_series(decided, last=8)) == []


def test_the_label_of_a_late_band_stays_on_the_chart(decided):
    verdict = decided.verdict
    late = replace(verdict, baseline_first=len(verdict.points) - 3, baseline_last=len(verdict.points))
    notes = draw_series(replace(decided, verdict=late))["layout"]["annotations"]
    assert next(n for n in notes if "frozen" in n["text"])["xanchor"] == "right"


def test_a_frozen_text_without_a_decision_still_says_what_it_is():
    assert frozen_text(None) == "settled state, frozen"


def test_pieces_left_out_are_hollow_and_grey_and_say_so(decided):
    trace = draw_series(decided)["data"][0]
    for number, point in enumerate(decided.verdict.points):
        hollow = trace["marker"]["symbol"][number].endswith("open")
        grey = trace["marker"]["color"][number] == LIGHT["soft"]
        assert grey == point.left_out and (hollow or not point.left_out)
        assert ("left out on purpose" in trace["text"][number]) == point.left_out


def test_pieces_left_out_are_not_in_the_panel(decided):
    verdict = decided.verdict
    first = verdict.points[-11].ordinal
    late = tuple(replace(p, left_out=p.ordinal == first) for p in verdict.points)
    present = tuple(n for n in verdict.present if n != first)
    shown = draw_capability(replace(decided, verdict=replace(verdict, points=late, present=present)))
    assert len(shown["data"][0]["x"]) == 10


def test_rules_mark_pieces_with_rings_and_put_their_limits_in_place_of_the_usual_ones(board):
    view = board.series(board.verdicts("valves")[0].key)
    rules = apply_rules(
        view.verdict, ["avoiding-center", "beyond-limit", "same-side", "zigzag"], "prediction"
    )
    tight = replace(rules, hits=rules.hits or (), lower=view.verdict.points[0].value - 1)
    figure = draw_series(view, None, rules=tight)
    texts = [note["text"] for note in figure["layout"]["annotations"]]
    assert any(text.startswith("prediction ") for text in texts)
    assert not any(text.startswith("usual ") for text in texts)
    assert any(text.startswith("usual ") for text in map(str, usual(view)))
    assert go.Figure(figure)


def usual(view):
    return [note["text"] for note in draw_series(view)["layout"]["annotations"]]


def test_only_offending_pieces_in_view_are_ringed(view):
    rules = apply_rules(view.verdict, ["beyond-limit"])
    assert rules.hits
    ring = draw_series(view, None, rules=rules)["data"][1]
    assert ring["name"] == "rules" and ring["x"] == [hit.point.ordinal for hit in rules.hits]
    assert all("beyond-limit" in text for text in ring["text"])
    few = draw_series(view, 3, rules=rules)["data"][1]
    assert few["name"] != "rules" or min(few["x"]) > len(view.verdict.points) - 3
    assert len(draw_series(view, None, rules=replace(rules, hits=()))["data"]) == 2
