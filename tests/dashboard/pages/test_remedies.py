"""The pages of the remedies: what they say, what is kept together, what they cannot answer."""

import json
from dataclasses import replace

import pytest
from dash import html

from dashboard.drawing import markup
from dashboard.pages.remedies import dies, lacquer, overview, rack, recording, tuning
from dashboard.pages.remedies.addresses import of_piece, of_series
from dashboard.pages.remedies.sketches import draw_notes, draw_spots, region_of
from dashboard.pages.remedies.words import sentence
from qc.jobs.board import TuneAsked


def test_the_overview_says_first_what_each_remedy_says(in_app, texts):
    said = texts(overview.layout())
    assert "2 of 2 pairs lie wholly within 100 to 200 µm." in said
    assert "D-1: change by draw" in said
    assert "TQ-0442" in said and "/remedies/tuning/TQ-0442" in json.dumps(
        overview.layout(), default=lambda part: part.to_plotly_json()
    )


def test_a_tuning_says_what_the_command_says_with_its_steps_numbered(in_app, board, texts):
    page = tuning.layout("TQ-0442")
    said = texts(page)
    steps = board.remedies().tuning("TQ-0442").result.remedy.order_of_work
    assert steps[0].startswith("F wrap about") and "mm off each leg" in steps[0]
    assert all(sentence(step) in said for step in steps)
    assert "Tenor: 48 notes in two sittings" in said
    assert "Cross: 4 May 2026." in said
    assert "2 May 2026" not in said and "D wrap not blown" not in said  # the tenor of the answer has no D
    assert "--" not in said, "options belong to the command"


def test_the_notes_stand_before_and_after(board):
    view = board.remedies().tuning("TQ-0442")
    flat = [one for one in view.result.places if one.valves]
    assert all(one.cents < -8 and abs(one.after_cents) < 2 for one in flat)
    drawn = markup(draw_notes(view.result.places, view.sittings[0]))
    assert drawn.count("<circle") == 12 + 6, "each note, and where each of the F side would be"
    assert "F down, cents" in drawn and "position 1" in drawn


def test_a_change_between_sittings_teaches_how_far_the_piece_answers(in_app, board, texts):
    asked = tuning.asked_of({"since": ["2026-06-01"], "part": ["F"], "mm": ["-16"], "reference": [""]})
    assert asked == TuneAsked("", "2026-06-01", "F", "-16")
    body = html.Div(tuning.body_of(board.remedies().tuning("TQ-0442", asked), asked))
    assert "Learned from the last change: valve:F answers" in texts(body)
    half = tuning.asked_of({"since": ["2026-06-01"], "part": ["F"], "mm": [""]})
    assert half == TuneAsked(), "a change counts once all of it is there"


def test_a_piece_without_notes_says_so(in_app, texts):
    said = texts(tuning.layout("TQ-0001"))
    assert "the store holds no readings" in said and "Before the work" not in said
    assert "the store holds no readings" in texts(lacquer.layout("TQ-0001"))


def test_the_rack_names_pairs_tight_ends_and_what_would_mend_a_leftover(in_app, texts):
    said = texts(rack.layout())
    assert "tight at upper leg, crook: 146 µm, 12 µm looser elsewhere" in said
    assert "even along its length" in said
    assert "is left: it wants a bore of" in said and "one more outer like it is needed" in said


def test_a_pair_that_is_kept_stays_and_the_rest_is_paired_around_it(in_app, board, texts):
    kept = rack.kept_pairs({"keep": ["IN-2 = OU-2"], "inner": [""], "outer": [""]})
    assert kept == [("IN-2", "OU-2")]
    (view,) = board.remedies().rack(kept)
    assert ("IN-2", "OU-2") in {(pair.inner, pair.outer) for pair in view.result.pairing.pairs}
    page = json.dumps(rack.body_of([view], kept), default=lambda part: part.to_plotly_json())
    assert page.count('"checked": true') == 1
    moved = rack.kept_pairs({"keep": ["IN-2 = OU-2"], "inner": ["IN-2"], "outer": ["OU-1"]})
    assert moved == [("IN-2", "OU-1")], "a tube put elsewhere by hand leaves its pair"
    assert rack.half_put({"inner": ["IN-2"], "outer": [""]})
    assert not rack.half_put({"inner": ["", "IN-2"], "outer": ["", "OU-1"]})


def test_what_cannot_be_kept_together_is_told(board):
    (view,) = board.remedies().rack([("IN-9", "OU-1")])
    assert view.result is None and "IN-9 is no inner tube of the rack" in view.problem


def test_a_die_has_one_sentence_with_draws_weeks_and_day(in_app, board, texts):
    page = texts(dies.layout())
    (_, _, found), *_ = board.remedies().dies().results
    first = found.urgent_first[0]
    left, day = first.line.change_by_count - first.line.last_count, first.change_by_date
    assert f"{left:.0f} draws left, about {round(left / 70)} weeks" in first.said
    assert f"{day:%a} {day.day} {day:%b %Y}" in first.said
    assert sentence(first.said) in page
    assert "D-2: no change to plan by count (only 2 pieces on this tool" in page
    assert "In 100 draws" in page and "Draw bench: broken tube" in page


def test_the_lacquer_names_its_spots_and_the_house_rule_its_figures(in_app, board, texts):
    said = texts(lacquer.layout("TQ-0442"))
    assert "Bell flare is too thin: least spot 9.0 µm, limit 10 µm" in said
    assert "Least spot 9.0 µm (bell flare, spot 2), 12 asked: not kept." in said
    assert "2 of 4 spots under 15 µm (50 %), fewer than 20 % asked: not kept." in said
    found = board.remedies().lacquer("TQ-0442").result
    drawn = markup(draw_spots([(s.area, s.spot, s.um, lacquer.state_of(s, found)) for s in found.spots]))
    assert all(name in drawn for name in ("bell flare", "outer slide", ">key<"))
    assert drawn.count("var(--drift)") == 3, "mark, rim and figure of the one thin spot"


@pytest.mark.parametrize(
    ("area", "region"), [("Stem", "stem"), ("tuning bow", "bow"), ("gooseneck", "neck"), ("case", "")]
)
def test_where_an_area_lies_is_told_by_its_name(area, region):
    assert region_of(area) == region


def test_two_areas_of_one_region_do_not_lie_on_each_other():
    spots = [("upper leg", "1", 15.0, ""), ("lower leg", "1", 15.0, "")]
    drawn = markup(draw_spots(spots))
    places = {piece.split('"')[0] for piece in drawn.split('cy="')[1:]}
    assert len(places) == 2


def test_a_piece_and_a_signal_lead_to_their_remedies(in_app, board, texts):
    said = texts(html.Div(of_piece("TQ-0442")))
    assert "Tuning: what to cut, and where" in said and "Lacquer: where it is thin" in said
    assert of_piece("TQ-0001") == []
    wrap = next(v for v in board.verdicts() if v.key.characteristic == "f-wrap")
    (link,) = of_series(wrap)
    assert link.href == f"/remedies/tuning/{wrap.points[-1].serial}"


def test_a_recording_says_in_which_order_the_notes_are_blown(in_app, board, texts):
    view = replace(
        board.remedies().tuning("TQ-0442"),
        order=("partial 2, position 1", "partial 3, position 1", "partial 2, position 1, F down"),
    )
    said = texts(html.Div(recording.recording_part(view)))
    assert "The order: three notes, as on its newest card" in said
    assert "Position 1: partials 2 3" in said and "Position 1, F down: partials 2" in said
    assert "nothing of it is stored" in said
    unknown = texts(html.Div(recording.recording_part(board.remedies().tuning("TQ-0001"))))
    assert "it only says what it heard" in unknown


def test_what_was_heard_is_told_with_what_to_do_or_why_not(in_app, desk, texts):
    heard = desk.progress("h1")
    said = texts(html.Div(recording.heard_cards(heard)))
    assert "pull the tuning slide out 4 mm, re-test; 5 mm in all." in said
    assert "+6.0" in said and "Too short: hold it." in said
    assert "--sitting-sd" not in said and "enter them on a tuning card" in said
    odd = {**heard, "receipt": {**heard["receipt"], "problem": "notes.wav: 2 held notes for 3 rows"}}
    refused = texts(html.Div(recording.heard_cards(odd)))
    assert "2 held notes for 3 rows" in refused and "pull the tuning slide" not in refused
    failed = {**heard, "state": "failed", "message": "notes.wav: this is no wav recording."}
    assert "this is no wav recording" in texts(html.Div(recording.heard_cards(failed)))
