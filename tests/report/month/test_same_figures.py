"""The month's report says the same on paper, on the page and in the workbook, and the same bytes twice."""

import html
import io
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import openpyxl
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.report.month import (
    Change,
    DieLine,
    Gap,
    GaugeLine,
    MonthContent,
    Reaction,
    Rework,
    Yield,
    draw_all,
    evidence_words,
    month_html,
    month_pdf,
    month_workbook,
    rolled_yield,
)
from qc.report.month.panel import NEWEST, draw_panel, draw_spark
from qc.report.month.template_data import (
    BEHAVIOUR_MARK,
    SHOWN_REACTIONS,
    capability_line,
    capability_sentence,
    methods,
    panel_lines,
    plain_content,
    share_words,
)
from qc.watch import FactorLevels, Points, Question, SeriesVerdict, judge

HOSTILE = [
    "=1+1",
    "+cmd|' /C x'!A0",
    "<script>alert(1)</script>",
    "#set page(margin: 0pt)",
    "*bold* _slant_ $x^2$ @label `raw` \\",
    "{{ 7 * 7 }} {% raw %}",
    "]] & &amp; \"quoted\" 'so'",
    "Grünspan № 5 – 12 µm",
]


@pytest.fixture(scope="module")
def verdicts(small_plan, points):
    """Four kinds of series: moved, with two limits, without any, and one that is still learning."""
    tuning, slide = small_plan.stage("tuning"), small_plan.stage("slide")
    moved = 2 * np.random.default_rng(1).standard_normal(46)
    moved[35:] += 22
    asked = [
        (tuning, tuning.characteristics[0], "tenor", moved),
        (slide, slide.characteristics[0], "all", 150 + 9 * np.random.default_rng(2).standard_normal(70)),
        (slide, slide.characteristics[1], "tenor", 5 + np.random.default_rng(3).standard_normal(30)),
        (slide, slide.characteristics[1], "alto", np.array([5.0])),
    ]
    day = date(2026, 9, 1)
    return tuple(
        judge(
            Question(small_plan, stage, what, family, 0.004, day),
            Points(points(v), centered=False),
            FactorLevels(),
        )
        for stage, what, family, v in asked
    )


@pytest.fixture(scope="module")
def content(verdicts):
    moved = verdicts[0]
    yields = (Yield("Draw", 19, 20), Yield("Bell", 8, 8), Yield("Slide", 0, 0), Yield("Tuning", 5, 7))
    return MonthContent(
        workshop="Sedge Mill Slideworks",
        month="2026-08",
        first=date(2026, 8, 1),
        last=date(2026, 8, 31),
        as_of=date(2026, 8, 30),
        plan_version=3,
        shipped=(("Tenor", 5), ("Alto", 2)),
        returned=("S-001 came back on 3 August: dent.",),
        yields=yields,
        rolled=rolled_yield(yields),
        changes=(
            Change(
                str(moved.key),
                moved.current.sentence,
                moved.current.because,
                "check it.",
                evidence_words(moved),
            ),
        ),
        reactions=tuple(
            Reaction(f"Series {n}", date(2026, 8, 29) - timedelta(days=n), n + 1, "open", 10 + n)
            for n in range(12, 0, -1)
        ),
        rework=(Rework("wrap-length", 6.25, 3), Rework("dent", 1.0, 1)),
        gauges=(GaugeLine("G-1", "bore gauge", "calibration ran out on 2026-08-02"),),
        dies=(
            DieLine(
                "D-2", "Draw: OD", 392, 580, date(2026, 9, 20), "Draw: OD is at draw 392, change by 580."
            ),
        ),
        decisions=("Decide about the wrap.", "Order a die."),
        gaps=(Gap("rows still held", 4, "4 decimal-slip"), Gap("readings accepted", 1312, "on 41 sheets")),
        verdicts=verdicts,
        budget="One false signal in 30 days.",
    )


def plain(text):
    return re.sub(r"\s+", " ", text).strip()


def tokens(text):
    """The words of a text without the signs that a sentence puts behind them."""
    return {word.rstrip(".,:;") for word in text.split()}


def paper(content):
    """All text of the pdf."""
    pages = pypdfium2.PdfDocument(month_pdf(content))
    return plain(" ".join(page.get_textpage().get_text_range() for page in pages))


def page(content):
    """All text of the page, drawings left out."""
    bare = re.sub(r"(?s)<svg.*?</svg>|<style.*?</style>", " ", month_html(content))
    return plain(html.unescape(re.sub(r"<[^>]+>", " ", bare)))


def book(content):
    """Every sheet of the workbook as rows of cells."""
    loaded = openpyxl.load_workbook(io.BytesIO(month_workbook(content)))
    return {
        name: [[cell.value for cell in row] for row in loaded[name].iter_rows()] for name in loaded.sheetnames
    }


@pytest.fixture(scope="module")
def said(content):
    return paper(content), page(content), book(content)


def leaves(value, name=""):
    """Every text and number of the report's words, with the name it goes by."""
    if isinstance(value, dict):
        for key, below in value.items():
            yield from leaves(below, key)
    elif isinstance(value, list):
        for below in value:
            yield from leaves(below, name)
    else:
        yield name, str(value)


def test_every_word_of_the_report_is_on_paper_and_on_the_page(content, said):
    """Whatever the blocks say stands in both; cells of a table wrap on paper, so word by word there."""
    on_paper, on_page, _ = said
    words = tokens(on_paper)
    for name, text in leaves(plain_content(content)):
        if name in {"key", "width", "reactions_more"}:
            continue
        assert plain(text) in on_page, (name, text)
        assert tokens(text) <= words, (name, text)


def test_every_panel_is_on_paper_and_on_the_page(content, said):
    on_paper, on_page, _ = said
    for verdict in content.verdicts:
        for name in ("title", "finding", "capability"):
            text = plain(panel_lines(verdict)[name])
            assert text in on_paper and text in on_page, text


def test_figures_of_the_workbook_are_those_of_the_words(content, said):
    """The workbook holds numbers; written as the words write them they are the same."""
    _, on_page, sheets = said
    told = plain_content(content)
    assert sheets["First pass"][1:] == [[y.stage, y.passed, y.through, y.share] for y in content.yields]
    for row, words in zip(sheets["First pass"][1:], told["yields"], strict=True):
        assert (f"{row[1]} of {row[2]}", share_words(row[3])) == (words["of"], words["share"])
    for row, words in zip(sheets["Rework"][1:], told["rework"], strict=True):
        assert f"{row[1]:.1f} h" == words["hours"] and f"{row[2]} piece" in words["pieces"]
    assert f"{sum(row[1] for row in sheets['Rework'][1:]):.1f} h" == told["rework_total"]
    for row, words in zip(sheets["Capability"][1:], told["capability"], strict=True):
        cells = dict(zip(sheets["Capability"][0], row, strict=True))
        assert cells["series"] == words["series"] and str(cells["pieces"]) == words["pieces"]
        if cells["Ppk"] is None:
            assert words["ppk"] == "—" and cells["reason"] == words["interval"]
        else:
            assert f"{cells['Ppk']:.2f}" == words["ppk"]
            assert f"{cells['from']:.2f} to {cells['to']:.2f}" == words["interval"]
            assert f"Ppk {cells['Ppk']:.2f} ({cells['from']:.2f} to {cells['to']:.2f}, 95 %)" in on_page
    month = {row[0]: row[1] for row in sheets["Month"][1:]}
    assert month["in one sentence"] == told["headline"]
    assert share_words(month["first pass, all stages in a row"]) == told["rolled"]
    assert sum(v for k, v in month.items() if k.startswith("shipped, ")) == told["shipped_total"]
    assert [month[f"decision {n}"] for n in (1, 2)] == told["decisions"]
    assert [row[1] for row in sheets["Gaps"][1:]] == [gap.number for gap in content.gaps]


def test_the_workbook_holds_every_point_and_days_as_days(content, said):
    _, _, sheets = said
    points = sheets["Points"]
    assert len(points) - 1 == sum(len(v.points) for v in content.verdicts)
    by_series = {}
    for row in points[1:]:
        by_series.setdefault(row[0], []).append(row[5])
    for verdict in content.verdicts:
        assert by_series[str(verdict.key)] == pytest.approx([p.value for p in verdict.points])
    assert all(row[3].date() == p.day for row, p in zip(points[1:], content.verdicts[0].points, strict=False))
    assert [row[1].date() for row in sheets["Open"][1:]] == [r.opened for r in content.reactions]
    assert sheets["Tools and gauges"][1][-3:-1] == [392, 580]


def test_the_oldest_reactions_are_shown_and_the_rest_is_counted(content, said):
    on_paper, on_page, sheets = said
    more = len(content.reactions) - SHOWN_REACTIONS
    for text in (on_paper, on_page):
        assert f"And {more} more, in the workbook." in text
        assert "Series 12 " in text and "Series 3 " not in text
    assert len(sheets["Open"]) - 1 == len(content.reactions)


def test_the_same_report_is_the_same_bytes_and_drawings_may_be_handed_in(content):
    again = replace(
        content, verdicts=tuple(SeriesVerdict.from_dict(v.to_dict()) for v in content.verdicts)
    )  # a copy that shares no object with it
    drawn = draw_all(content)
    assert month_html(content) == month_html(again) == month_html(content, drawn)
    assert month_pdf(content) == month_pdf(again, drawn)
    assert month_workbook(content) == month_workbook(again)


CHANGES = [
    pytest.param({"rework": (Rework("dent", 9.5, 2),)}, "9.5 h", id="rework"),
    pytest.param(
        {"shipped": (("Tenor", 6), ("Alto", 2)), "month": "2026-02"},
        "February 2026 8 instruments",
        id="shipped",
    ),
]


@pytest.mark.parametrize(("change", "words"), CHANGES)
def test_a_changed_figure_changes_every_document(content, said, change, words):
    other = replace(content, **change)
    on_paper, on_page, sheets = said
    assert words in paper(other) and words not in on_paper
    assert words in page(other) and words not in on_page
    assert book(other) != sheets


def test_texts_of_a_card_act_nowhere(content):
    """What would be a formula, markup, a script or a template elsewhere is text here, to the letter."""
    nasty = replace(
        content,
        decisions=tuple(HOSTILE),
        rework=tuple(Rework(text, 1.0, 1) for text in HOSTILE),
        gaps=tuple(Gap(text, 1, text) for text in HOSTILE),
    )
    on_paper, on_page, sheets = paper(nasty), page(nasty), book(nasty)
    cells = {cell for rows in sheets.values() for row in rows for cell in row}
    for text in HOSTILE:
        assert text in cells and plain(text) in on_page
        assert tokens(text) <= tokens(on_paper), text
    assert "<script" not in month_html(nasty) and "49" not in {c for c in cells if isinstance(c, str)}


def test_an_empty_month_is_a_whole_report_in_every_form(content):
    empty = replace(
        content, changes=(), reactions=(), rework=(), gauges=(), dies=(), decisions=(), gaps=(), shipped=(),
        returned=(), yields=(), rolled=None, verdicts=(),
    )  # fmt: skip
    assert empty.headline == "0 instruments shipped; all 0 series that are watched are as they were."
    for text in (paper(empty), page(empty)):
        for words in (
            "Nothing has moved",
            "Nothing left the shop",
            "No rework was recorded",
            "No signal is open",
        ):
            assert words in text
    assert [len(rows) for name, rows in book(empty).items() if name != "Month"] == [1] * 9, "heads alone"


def svg_text(svg):
    """The words of a drawing; it has to be sound XML."""
    root = ElementTree.fromstring(svg.decode("utf-8"))
    assert root.tag.endswith("svg")
    return plain(" ".join(text for text in root.itertext()))


def test_drawings_carry_their_figures_and_load_nothing(verdicts):
    for verdict in verdicts:
        svg = draw_panel(verdict)
        text = svg_text(svg)
        shown = verdict.points[-NEWEST:]
        assert f"{shown[0].serial} to {shown[-1].serial}" in text
        for value in (verdict.lower, verdict.upper):
            assert value is None or f"limit {value:g}" in text
        for stretch in verdict.stretches[-2:]:
            assert f"({stretch.n})" in text
        assert not re.search(rb'href="(?!#)', svg) and b"<script" not in svg
        assert draw_spark(verdict) == draw_spark(verdict) and svg_text(draw_spark(verdict)) is not None


def test_a_long_series_shows_its_newest_pieces_only(verdicts):
    long = verdicts[1]
    assert len(long.points) > NEWEST
    text = svg_text(draw_panel(long))
    assert f"{long.points[-NEWEST].serial} to" in text and long.points[0].serial not in text


def test_a_series_is_marked_by_what_it_does(verdicts):
    marks = [(v.behaviour, panel_lines(v)["mark"]) for v in verdicts]
    assert marks == [("drifting", "▲"), ("steady", "○"), ("steady", "○"), ("learning", "◌")]
    assert set(BEHAVIOUR_MARK) == {"drifting", "steady", "learning"}
    assert panel_lines(verdicts[3])["finding"] == "Learning: 1 of 4 pieces."


@pytest.mark.parametrize(("lower", "upper", "words"), [
    (None, None, "none"),
    (100.0, None, "from 100 µm"),
    (None, 200.5, "to 200.5 µm"),
    (100.0, 200.0, "from 100 to 200 µm"),
])  # fmt: skip
def test_limits_of_one_side_or_none_are_written_so(verdicts, lower, upper, words):
    assert capability_line(replace(verdicts[1], lower=lower, upper=upper))["limits"] == words


def test_a_capability_is_given_with_interval_and_pieces_or_with_a_reason(verdicts):
    given_, bare = verdicts[1], verdicts[2]
    sentence = capability_sentence(given_)
    assert f"Ppk {given_.ppk:.2f} ({given_.ppk_low:.2f} to {given_.ppk_high:.2f}, 95 %)" in sentence
    assert sentence.endswith(f"from {given_.rests_on} pieces.")
    assert bare.ppk is None and "Ppk 0" not in capability_sentence(bare)
    why = replace(given_, ppk=None, ppk_reason="only 12 pieces: 20 are needed.")
    assert capability_sentence(why).endswith("Ppk is not given: only 12 pieces: 20 are needed.")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 50), st.integers(0, 50)), max_size=8), st.randoms(use_true_random=False)
)
def test_rolled_yield_is_a_product_that_no_order_changes(pairs, order):
    """Below every single share, 0 where one stage passes nothing, None where nothing went through."""
    yields = [Yield("s", min(pair), max(pair)) for pair in pairs]
    rolled = rolled_yield(tuple(yields))
    shares = [y.share for y in yields if y.through]
    if not shares:
        assert rolled is None
        return
    assert rolled == pytest.approx(np.prod(shares))
    assert rolled <= min(shares) + 1e-12
    order.shuffle(yields)
    assert rolled_yield(tuple(yields)) == pytest.approx(rolled)


def test_shares_in_words():
    assert [share_words(s) for s in (0.0, 0.005, 0.994, 0.996, 1.0, None)] == [
        "0 %", "0 %", "99 %", "100 %", "100 %", "none made",
    ]  # fmt: skip


def test_the_methods_name_their_sources_and_the_plan(content):
    text = " ".join(methods(content))
    for source in ("Hawkins, Qiu and Kang", "Bissell", "noncentral t", "version 3 of the measuring plan"):
        assert source in text
    assert text.endswith(content.budget)
