from dataclasses import replace

from dashboard.pages import stage
from dashboard.pages.series_decisions import decisions_card


def fields(part):
    return {f.name: f.value for f in part._traverse() if getattr(f, "kind", "") == "hidden"}


def test_what_stands_is_said_with_who_when_and_why_and_can_be_undone(in_app, view, decide, texts):
    card = decisions_card(decide(view))
    said = texts(card)
    assert "Settled state frozen:  TQ-0400  to  TQ-0420  by RA on 2 Nov 2026." in said
    assert "Why: after the new mandrel." in said and "Left out of judging:" in said
    forms = [part for part in card._traverse() if getattr(part, "data-desk", "") == "/series/decide"]
    assert [fields(form).get("what") for form in forms] == ["undo-freeze", "undo-leave-out", None]
    assert fields(forms[1])["first"] == "TQ-0425" and fields(forms[1])["last"] == "TQ-0426"


def test_one_piece_left_out_is_named_once(in_app, view, decide, texts):
    found = decide(view)
    single = replace(found.decisions[1], last="TQ-0425")
    assert texts(decisions_card(replace(found, decisions=(single,)))).count("TQ-0425") == 1


def test_nothing_is_decided_at_first_and_the_form_is_folded(in_app, view, texts):
    said = texts(decisions_card(view))
    assert "Freeze a settled state, or leave pieces out" in said and "Undo" not in said


def test_what_is_frozen_of_a_figure_that_wears_is_a_line(in_app, view, texts):
    said = texts(decisions_card(replace(view, wears_with="die")))
    assert "line through its pieces" in said and "Freeze as the settled state" in said


def test_the_page_glosses_hollow_pieces_and_tells_all_its_notes(
    in_app, view, decide, board, monkeypatch, texts
):
    found = replace(decide(view), notes=("Two models share it.", "Neighbours are alike."))
    monkeypatch.setattr(board, "series", lambda key: found)
    said = texts(stage.series_layout("tuning", "f-wrap", "tenor-bass"))
    assert "left out on purpose, in no figure (2)" in said
    assert "Two models share it." in said and "Neighbours are alike." in said
