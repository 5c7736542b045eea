"""The report's blocks from invented figures: words, drawings and documents, without a store."""

import io
import re
from dataclasses import replace
from datetime import date

import numpy as np
import polars as pl
import pypdfium2
import pytest

from qc.report.month import (
    Change,
    DieLine,
    Gap,
    GaugeLine,
    MonthContent,
    PieceToHold,
    Reaction,
    Rework,
    Rolled,
    Yield,
    evidence_words,
    month_answer,
    month_html,
    month_pdf,
    month_workbook,
)
from qc.report.month.canvas import DRIFT
from qc.report.month.panel import draw_all, draw_panel
from qc.report.month.panel_words import capability_sentence, panel_lines
from qc.report.month.template_data import hold_lines, plain_content
from qc.watch import FactorLevels, Points, Question, judge


@pytest.fixture(scope="module")
def verdicts(small_plan, points):
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, date(2026, 6, 1))
    moved = 2 * np.random.default_rng(5).standard_normal(46)  # a draw without a wild piece
    moved[35:] += 22
    quiet = 2 * np.random.default_rng(2).standard_normal(40)
    both = [judge(question, Points(points(v), centered=False), FactorLevels()) for v in (moved, quiet)]
    learning = judge(question, Points(points([1.0]), centered=False), FactorLevels())
    names = ("wrap", "main", "new")
    return tuple(
        replace(v, key=replace(v.key, characteristic=n), name=n.title())
        for v, n in zip([*both, learning], names, strict=True)
    )


@pytest.fixture(scope="module")
def content(verdicts):
    moved = verdicts[0]
    change = Change(
        str(moved.key), moved.current.sentence, moved.current.because, "check it.", evidence_words(moved)
    )
    yields = (Yield("Draw", 19, 20), Yield("Bell", 8, 8))
    return MonthContent(
        workshop="Sedge Mill <Slideworks>",
        month="2026-05",
        first=date(2026, 5, 1),
        last=date(2026, 5, 31),
        as_of=date(2026, 5, 31),
        plan_version=2,
        shipped=(("Tenor", 5), ("Alto", 1)),
        returned=("S-001 came back on 3 May: dent.",),
        yields=yields,
        rolled=Rolled(0.95, 0.75, 0.99),
        changes=(change,),
        reactions=(Reaction("Tuning: wrap", date(2026, 5, 9), 22, "open", 11),),
        rework=(Rework("wrap-length", 6.5, 3), Rework("dent", 1.0, 1)),
        gauges=(GaugeLine("G-1", "bore gauge", "calibration ran out on 2026-05-02"),),
        dies=(DieLine("D-2", "Draw: OD", 392, 580, date(2026, 6, 20), "od at draw 392."),),
        decisions=("Decide about the wrap.",),
        gaps=(Gap("rows still held", 4, "4 decimal-slip"),),
        verdicts=verdicts,
        budget="One false signal in 30 days.",
    )


def test_headline_names_what_moved(content):
    at_the_bench = "First pass lowest: draw, 19 of 20. Rework: 7.50 h."
    assert content.headline == f"6 instruments shipped; 1 of 3 series has moved, in tuning. {at_the_bench}"
    calm = replace(content, verdicts=content.verdicts[1:], shipped=(("Tenor", 1),))
    assert calm.headline == (
        f"1 instrument shipped; all 2 series that are watched are as they were. {at_the_bench}"
    )


def test_evidence_has_size_interval_and_chance(verdicts):
    said = evidence_words(verdicts[0])
    assert re.match(
        r"2\d\.\d mm \(2\d\.\d to 2\d\.\d, 95 %\); chance of a false signal 0\.4 % a piece\.", said
    )
    assert evidence_words(verdicts[1]) == ""


def test_capability_is_never_a_bare_number(verdicts):
    assert re.search(
        r"Ppk \d\.\d\d \(\d\.\d\d to \d\.\d\d, 95 %\) from 40 pieces", capability_sentence(verdicts[1])
    )
    assert re.search(
        r"Limits not kept: Ppk −\d\.\d\d \(−\d\.\d\d to −\d\.\d\d, 95 %\) from 11 pieces",
        capability_sentence(verdicts[0]),
    )
    few = replace(verdicts[1], capable="unproven", ppk=None, ppk_reason="12 pieces are too few")
    assert capability_sentence(few) == "Limits unproven. Ppk is not given: 12 pieces are too few."


def test_panel_lines(verdicts):
    assert panel_lines(verdicts[0])["finding"].startswith("F wraps (tenor family) have come out 2")
    assert panel_lines(verdicts[1])["finding"] == "As it was: 40 pieces without a lasting change."
    assert panel_lines(verdicts[2])["finding"] == "Learning: 1 of 4 pieces."


def test_a_panel_says_limits_and_means_with_their_numbers(verdicts):
    svg = draw_panel(verdicts[0]).decode()
    for text in ("limit 12 mm", "limit −12 mm", "(35)", "(11)", "S-001 to S-046"):
        assert text in svg
    assert svg == draw_panel(verdicts[0]).decode(), "the same bytes for the same verdict"


def test_models_differ_by_symbol(small_plan, points):
    stage = small_plan.stage("slide")
    question = Question(small_plan, stage, stage.characteristics[1], "tenor", 0.004, date(2026, 6, 1))
    series = points(np.random.default_rng(3).standard_normal(12) + 5, model=["tenor", "alto"] * 6)
    svg = draw_panel(judge(question, Points(series, centered=False), FactorLevels())).decode()
    assert "● tenor" in svg and "□ alto" in svg


def test_an_empty_series_says_so(small_plan):
    stage = small_plan.stage("slide")
    question = Question(small_plan, stage, stage.characteristics[1], "tenor", 0.004, date(2026, 6, 1))
    assert b"nothing measured yet" in draw_panel(judge(question, Points((), centered=False), FactorLevels()))


def test_what_settled_unanswered_is_not_among_what_is_as_it_was(content):
    quiet = replace(content, changes=())
    assert [v.name for v in quiet.near] == ["Main"]
    (main,) = quiet.near
    waits = replace(main, settled_since=date(2026, 5, 9))
    assert replace(quiet, verdicts=(waits,)).near == ()


def test_hours_add_up_as_they_were_written(content):
    """A third and a half of an hour came to 0.8300000000000001, and their cost to 51.87500000000001."""
    own = (Rework("dent", 0.33, 1), Rework("wrap", 0.5, 1))
    answer = month_answer(replace(content, rework=own, hour=(62.5, "EUR")))
    assert (answer["rework_hours"], answer["rework_cost"]) == (0.83, 51.875)


def test_reasons_that_are_sentences_are_joined_without_their_full_stops(content):
    held = PieceToHold("S-1", "Tuning: wrap", "", "left", date(2026, 5, 9), "", "signal", standing="left")
    both = tuple(replace(held, because=because) for because in ("F wraps came out long.", "batch B-2"))
    (line,) = hold_lines(replace(content, hold=both))
    assert line["what"] == "Tuning: wrap: F wraps came out long; Tuning: wrap: batch B-2"


def test_every_series_is_drawn_once(content):
    drawn = draw_all(content)
    assert set(drawn.panels) == {str(v.key) for v in content.verdicts}
    shown = {content.changes[0].key, *(str(v.key) for v in content.near)}
    assert set(drawn.pictures) == shown and len(shown) == 2, "the third series is still learning"


def test_the_picture_beside_a_change_shows_that_change_alone(content):
    settled, last = content.verdicts[0].stretches
    early = replace(last, first=settled.first, last=settled.first + 14)
    stretches = (early, replace(settled, first=early.last + 1), last)
    twice = replace(content.verdicts[0], stretches=stretches)
    drawn = draw_all(replace(content, verdicts=(twice, *content.verdicts[1:])))
    key, once = str(twice.key), draw_all(content)
    warm = [svg.count(DRIFT.encode()) for svg in (once.pictures[key], drawn.pictures[key], drawn.panels[key])]
    assert warm[0] == warm[1] < warm[2], "the panel of the series shows both"


def test_pdf_is_tagged_embeds_its_fonts_and_repeats(content):
    pdf = month_pdf(content)
    assert pdf.startswith(b"%PDF") and pdf == month_pdf(content)
    assert b"/StructTreeRoot" in pdf and b"/FontFile" in pdf
    pages = [p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(pdf)]
    assert "Sedge Mill <Slideworks>: May 2026" in pages[0]
    assert "Decide about the wrap." in " ".join(pages[:2])


def test_a_quiet_month_is_a_quiet_report(content):
    calm = replace(
        content,
        changes=(),
        reactions=(),
        rework=(),
        gauges=(),
        dies=(),
        decisions=(),
        gaps=(),
        shipped=(),
        returned=(),
        yields=(),
        rolled=None,
        verdicts=content.verdicts[1:],
    )
    text = " ".join(p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(month_pdf(calm)))
    for words in ("Nothing has moved", "Nothing left the shop", "No rework", "No signal is open"):
        assert words in text
    assert "Nothing has moved" in month_html(calm)


def test_page_escapes_and_loads_nothing(content):
    page = month_html(content)
    assert "Sedge Mill &lt;Slideworks&gt;" in page and "<Slideworks>" not in page
    assert page.count("<svg") == len(content.verdicts) + 2
    assert not re.search(r'(src|href)="https?:', page) and "<script" not in page


def test_on_a_phone_no_column_of_yields_and_limits_is_cut(content):
    """At 390 pixels last month, a year ago and the intervals of capability lay beyond the edge."""
    page = month_html(content)
    for table in ("First pass by stage", "Capability of each series"):
        own = page.partition(f'aria-label="{table}"')
        assert own[0].endswith('<div class="scroll stack" tabindex="0" role="region" ')
        row = own[2].partition("</table>")[0]
        named = ("April", "May 2025") if table.startswith("First") else ("limits", "pieces", "Ppk", "95 %")
        assert all(f'data-of="{name}"' in row for name in named)
    assert "::before{content:attr(data-of)" in page


def test_workbook_holds_numbers_dates_and_no_formulas(content):
    nasty = replace(content, decisions=("=1+1",))
    book = month_workbook(nasty)
    sheets = pl.read_excel(io.BytesIO(book), sheet_id=0, engine="calamine")
    assert sheets["First pass"]["passed"].to_list() == [19, 8]
    assert sheets["Open"]["since"].dtype == pl.Date
    assert sheets["Points"].height == sum(v.pieces for v in content.verdicts)
    assert "=1+1" in sheets["Month"]["value"].to_list()


def test_everything_said_is_plain_values(content):
    import json

    json.dumps(content.to_dict(), default=str)
    said = plain_content(content)
    assert said["rework"][0]["width"] == 1.0 and said["rework_total"] == "7.50 h"
