"""The month's report says the same on paper, on the page and in the workbook, and the same bytes twice."""

import html
import io
import json
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import openpyxl
import pypdfium2
import pytest
from scipy.stats import binomtest

from qc.intervals import interval_words
from qc.plan import Gauge
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
    draw_all,
    evidence_words,
    gauge_courses_of_month,
    month_answer,
    month_html,
    month_pdf,
    month_workbook,
)
from qc.report.month.gauge_checks import gauge_line
from qc.report.month.methods import methods
from qc.report.month.panel import NEWEST, PICTURE_IN, draw_panel
from qc.report.month.panel_words import (
    BEHAVIOUR_MARK,
    capability_line,
    capability_sentence,
    panel_lines,
)
from qc.report.month.template_data import hold_lines, plain_content, yield_words
from qc.watch import FactorLevels, MasterCheck, Points, Question, SeriesVerdict, gauge_changes, judge

UNSAID = {"key", "month", "width", "steps", "caution", "name", "title", "workshop"}
"""What the templates go by, or say within other words."""

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


MONTH = (date(2026, 8, 1), date(2026, 8, 30))
BORE = Gauge(
    id="BG-7", name="Bore gauge", gauge_class="bore", resolution=0.001, unit="mm", check_tolerance=0.004
)
CHECKED = [
    MasterCheck(date(2026, 6, 1) + timedelta(days=n), 0.001 * (n % 3 - 1) + up, on)
    for n in range(90)
    for on, up in (("zero", 0.0), ("Ring 14.05", 0.003 if n >= 70 else 0.0))
]
"""A bore gauge that is right at zero and reads 3 µm high on its ring since 10 August."""


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
    yields = (
        Yield("Draw", 19, 20, 0.751, 0.999, (7, 9), (10, 10)),
        Yield("Bell", 8, 8, 0.631, 1.0),
        Yield("Slide", 0, 0),
        Yield("Tuning", 5, 7, 0.29, 0.963, (4, 4)),
    )
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
        rolled=Rolled(19 / 28, 0.27, 0.95, (0.78, 0.4, 0.97), None),
        changes=(
            Change(
                str(moved.key),
                moved.current.sentence,
                moved.current.because,
                "check it.",
                evidence_words(moved),
                moved.title,
                steps=("Re-measure S-046.", "Look at the mandrel."),
            ),
        ),
        reactions=tuple(
            Reaction(
                f"Series {n}",
                date(2026, 8, 29) - timedelta(days=n),
                n + 1,
                "in hand",
                10 + n,
                called=f"{n + 1}",
                finding=f"Finding {n} has come out long.",
                owner="QL",
                due=date(2026, 8, 28) + timedelta(days=n),
                steps=(f"Step {n} of it.", "Look at the die."),
                caution="Usual cautions: hands off. Local rules decide.",
            )
            for n in range(3, 0, -1)
        ),
        rework=(Rework("wrap-length", 6.25, 3), Rework("dent", 1.0, 1)),
        gauges=(GaugeLine("G-1", "bore gauge", "calibration ran out on 2 Aug 2026", "Have it calibrated."),),
        dies=(
            DieLine(
                *("D-2", "Draw: OD", 392, 580, date(2026, 9, 20), "Draw: OD is at draw 392, change by 580."),
                *(188, 2.9),
            ),
        ),
        decisions=("Decide about the wrap.", "Order a die."),
        gaps=(
            Gap("rows held, decimal slip", 4, "4 set aside"),
            Gap("readings accepted", 1312, "on 41 sheets"),
        ),
        verdicts=verdicts,
        budget="One false signal in 30 days.",
        hold=(
            piece("S-041", "Slide: Clearance", "210 um at mouth, over 200 um"),
            piece("S-042", "Slide: Clearance", "205 um at mouth, over 200 um", standing="left, not released"),
            *(
                piece(f"S-05{n}", "Tuning: F wrap", "signal 00ab: F wraps moved.", why="signal")
                for n in range(5)
            ),
        ),
        signals_told="2 signals raised in the month; by chance alone about 1.1 would be expected.",
        plan_changes=("3 Aug 2026, version 3: Slide: Clearance: from 100 to 200 um, now from 90 to 200 um.",),
        since_closed=(Gap("late.csv, handed in 2 Aug 2026 by AB", 7, "7 readings, of 30 Jul 2026"),),
        closed="Closed by QL on 2 Sep 2026.",
        shipped_before=6,
        shipped_year_ago=9,
        upstream=(
            ("Tuning: Note scatter", "Nothing clearer than chance among 9 earlier figures of 192 pieces."),
        ),
        people=(("Lacquer: Thickness", "pieces with AB on the card come out 2.3 µm lower"),),
        not_passed=(("Draw", "S-007", date(2026, 8, 4), "reworked: dent"),),
        gauge_checks=gauge_courses_of_month(
            [BORE], {"BG-7": CHECKED}, gauge_changes([BORE], {"BG-7": CHECKED}, CHECKED[-1].day), *MONTH
        ),
    )


def piece(serial, name, because, why="limit", standing="to hold"):
    left = date(2026, 8, 29) if standing.startswith("left") else None
    day = date(2026, 8, 28) if why == "limit" else None
    return PieceToHold(serial, name, because, "Polish", left, "Measure it again.", why, day, standing)


def plain(text):
    return re.sub(r"\s+", " ", text).strip()


def tokens(text):
    """The words of a text without the signs that a sentence puts behind them."""
    return {word.rstrip(".,:;") for word in text.split()}


def paper(content):
    """All text of the pdf."""
    pages = pypdfium2.PdfDocument(month_pdf(content))
    text = " ".join(page.get_textpage().get_text_range() for page in pages)
    return plain(re.sub("[-\ufffe](?:\r\n)?", "-", text))  # a word with a hyphen may go over two lines


def page(content):
    """All text of the page, drawings left out."""
    bare = re.sub(r"(?s)<svg.*?</svg>|<style.*?</style>", " ", month_html(content))
    return re.sub(r" ([.,])", r"\1", plain(html.unescape(re.sub(r"<[^>]+>", " ", bare))))


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
    assert "S-007" in on_page, "on paper only where a page has room for those that did not pass"
    for name, text in leaves(plain_content(replace(content, not_passed=()))):
        if name in {"key", "month", "width", "steps", "caution", "name", "title", "workshop"} or text in {
            "lasts",
            "",
        }:
            continue
        assert plain(text) in on_page, (name, text)
        assert tokens(text) <= words, (name, text)


def test_every_panel_is_on_paper_and_on_the_page(content, said):
    on_paper, on_page, _ = said
    for verdict in content.verdicts:
        for name in ("title", "finding", "capability"):
            text = plain(panel_lines(verdict)[name])
            assert text in on_paper and text in on_page, text


def test_figures_of_the_workbook_are_those_of_the_words_and_of_the_command(content, said):
    """The workbook holds numbers; written as the words write them they are the same."""
    _, on_page, sheets = said
    told, answer = plain_content(content), month_answer(content)
    rows = sheets["First pass"][1:]
    assert [row[:4] for row in rows] == [[y.stage, y.passed, y.through, y.share] for y in content.yields]
    for row, words, own in zip(rows, told["yields"], answer["first_pass"], strict=True):
        assert (f"{row[1]} of {row[2]}", yield_words(*row[3:6])) == (words["of"], words["share"])
        assert row[:4] == [own["stage"], own["passed"], own["of"], own["share"]]
        for (passed, through), name in zip((row[6:8], row[8:10]), ("before", "year_ago"), strict=True):
            # the interval beside it is the exact one of scipy
            exact = through and binomtest(int(passed), int(through)).proportion_ci(method="exact")
            other = f"{yield_words(passed / through, *exact)} of {through}" if through else "—"
            assert words[name] == other
    for row, words in zip(sheets["Rework"][1:], told["rework"], strict=True):
        assert f"{row[1]:.2f} h" == words["hours"] and f"{row[2]} piece" in words["pieces"]
    assert f"{sum(row[1] for row in sheets['Rework'][1:]):.2f} h" == told["rework_total"]
    for row, words in zip(sheets["Capability"][1:], told["capability"], strict=True):
        cells = dict(zip(sheets["Capability"][0], row, strict=True))
        assert cells["series"] == words["series"] and str(cells["pieces"]) == words["pieces"]
        if cells["Ppk"] is None:
            assert words["ppk"] == "—" and cells["reason"] == words["interval"]
        else:
            assert f"{cells['Ppk']:.2f}".replace("-", "−") == words["ppk"]
            interval = f"{cells['from']:.2f} to {cells['to']:.2f}"
            assert interval.replace("-", "−") == words["interval"]
            whole = f"Ppk {cells['Ppk']:.2f} ({cells['from']:.2f} to {cells['to']:.2f}, 95 %)"
            assert whole.replace("-", "−") in on_page
    month = {row[0]: row[1] for row in sheets["Month"][1:]}
    assert month["in one sentence"] == told["headline"] == answer["headline"]
    rolled = [month[f"first pass, all stages in a row{end}"] for end in ("", ", from", ", to")]
    assert yield_words(*rolled) == told["rolled"] and rolled[0] == answer["rolled"]["share"]
    assert month["shipped"] == told["shipped_total"] == answer["shipped"] == 7
    assert month["pieces to hold in the house"] == told["hold_total"] == answer["to_hold"] == 6
    assert month["reactions open"] == len(told["reactions"]) == answer["open_reactions"]
    assert month["pieces that left without a release"] == told["left_total"] == answer["left_unreleased"]
    assert month["rework [h]"] == answer["rework_hours"] == 7.25
    assert [month[f"decision {n}"] for n in (1, 2)] == told["decisions"] == answer["decisions"]
    assert [row[1] for row in sheets["Data"][1:]] == [gap.number for gap in content.gaps]
    assert [row[0] for row in sheets["Since closed"][1:]] == [gap["what"] for gap in told["since_closed"]]


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
    assert [row[3].date() for row in sheets["Open"][1:]] == [r.opened for r in content.reactions]
    assert sheets["Tools"][1][3:5] == [392, 580] and sheets["Tools"][1][6:] == [188, 2.9]


def test_gauges_on_their_masters_stand_alike_on_paper_page_and_in_the_workbook(content, said):
    """The ring has moved and the zero has not: the same mean, interval, sentence and advice everywhere."""
    on_paper, on_page, sheets = said
    ring, zero = content.gauge_checks
    assert (ring.moved, ring.on, zero.moved, zero.on) == (True, "ring 14.05", False, "zero")
    assert ring.mean == pytest.approx(np.mean([c.value for c in CHECKED if c.master != "zero"][61:]))
    lines = plain_content(content)["gauge_checks"]
    for line, row in zip(lines, sheets["Gauge checks"][1:], strict=True):
        cells = dict(zip(sheets["Gauge checks"][0], row, strict=True))
        mean, low, high = cells["mean off its master"], cells["from"], cells["to"]
        assert interval_words(mean, low, high, cells["unit"], sure="", signed=True) == line["mean"]
        assert f"{cells['checks']} checks" == line["checks"]
        for text in (on_paper, on_page):
            assert line["mean"] in text and line["told"] in text and line["outside"] in text
    assert "since 10 Aug" in ring.told and ring.told.endswith("Its zero did not move.")
    assert ring.next_step.startswith("Zeroing does not mend it") and ring.next_step in on_paper
    assert (ring.outside, zero.outside) == (0, 0)
    assert len(sheets["Checks"]) - 1 == len(CHECKED)
    assert sheets["Checks"][1][2].date() == CHECKED[0].day


def test_a_reaction_stands_with_finding_owner_age_due_steps_and_cautions(content, said):
    on_paper, on_page, sheets = said
    for text in (on_paper, on_page):
        assert "Finding 3 has come out long. Series 3, signal 4: in hand for 4 days" in text
        assert "Owner: QL. Due: 29 Aug, overdue." in text and "Due: 31 Aug." in text
        assert "Step 2 of it." in text and "Usual cautions: hands off. Local rules decide." in text
    assert len(sheets["Open"]) - 1 == len(content.reactions)


def test_a_long_month_leaves_the_two_pages_two_and_says_what_is_left_out(content):
    many = tuple(replace(r, finding=f"{r.finding} {n}") for n in range(14) for r in content.reactions[:1])
    long = replace(
        content,
        reactions=many,
        hold=tuple(piece(f"S-{n:03}", "Slide: Clearance", "210 um at mouth, over 200 um") for n in range(90)),
        decisions=tuple(f"Decide about number {n}." for n in range(40)),
        gaps=tuple(Gap(f"rows held, kind {n}", n, "all set aside") for n in range(40)),
    )
    pages = [one.get_textpage().get_text_range() for one in pypdfium2.PdfDocument(month_pdf(long))]
    assert "What to decide" in pages[1] and "Does each process keep its limits?" in pages[2]
    assert re.search(r"And \d+ more lines, on page \d+\.", plain(pages[0]))
    for whole in (" ".join(map(plain, pages)), plain(page(long))):
        assert all(f"S-{n:03}" in whole and f"rows held, kind {n % 40} " in whole for n in range(90))
        assert all(f"Finding 3 has come out long. {n}" in whole for n in range(14)), "on paper too"
        assert all(f"Decide about number {n}." in whole for n in range(40))
    assert plain(page(long)).count("Decide about number") == 40


def test_what_is_in_doubt_for_one_reason_is_one_line_and_what_is_outside_stands_first(content):
    first, second, shared = hold_lines(content)
    assert (first["who"], first["day"], second["where"]) == ("S-041", "28 Aug", "left, not released")
    assert shared["who"] == "S-050, S-051, S-052 and 2 more" and shared["where"] == "5 pieces in the house"
    assert shared["what"] == "Tuning: F wraps moved." and shared["all"] == "S-050, S-051, S-052, S-053, S-054"
    assert shared["all"] in paper(content)


def test_what_left_in_doubt_says_why_and_all_of_one_reason_are_named_together(content):
    left = [
        piece(f"S-{n:03}", "Bow: Ovality", "made under signal 1", why="mend", standing=standing)
        for n, standing in (
            (61, "left while to be held on 20 Aug"),
            (62, "left while to be held on 21 Aug"),
            (63, "left"),
        )
    ]
    both = piece("S-062", "Bow: Wall", "made under signal 2", why="mend", standing="left")
    lines = [
        (one["who"], one["what"], one["where"]) for one in hold_lines(replace(content, hold=(*left, both)))
    ]
    assert lines == [
        ("S-061", "Bow: Ovality: made under signal 1", "left while to be held"),
        (
            "S-062",
            "Bow: Ovality: made under signal 1; Bow: Wall: made under signal 2",
            "left while to be held",
        ),
        ("S-063", "Bow: Ovality: made under signal 1", "left, not released"),
    ]
    many = [piece(f"S-{n}", "Bow: Ovality", "made under signal 1", why="mend") for n in range(100, 105)]
    gone = [
        replace(one, serial=f"T-{one.serial}", shipped=date(2026, 8, 20), standing="left") for one in many
    ]
    (named,) = plain_content(replace(content, hold=(*many, *gone)))["named"]
    assert named["all"] == ", ".join(one.serial for one in (*many, *gone))


def test_a_reaction_that_was_answered_after_the_month_says_so(content):
    one = replace(content.reactions[0], answered="Answered since, on 4 September 2026: cause mended.")
    told = replace(content, reactions=(one,))
    for text in (paper(told), page(told)):
        assert "Answered since, on 4 September 2026: cause mended." in text
    state = dict(zip(*book(told)["Open"], strict=True))["state"]
    assert state == "in hand. Answered since, on 4 September 2026: cause mended."


def test_a_gauge_whose_checks_differ_by_the_last_bit_only_has_a_plain_mean(content):
    """It was printed as +0.10000000000000002 µm (+0.09999999999999998 to +0.10000000000000006)."""
    course = replace(
        content.gauge_checks[0], mean=0.1, low=0.09999999999999998, high=0.10000000000000006, unit="um"
    )
    assert gauge_line(course)["mean"] == "+0.1 µm"


def test_pass_or_fail_is_drawn_as_a_running_rate_with_its_faults(verdicts):
    failed = {7, 23}
    points = tuple(replace(p, value=float(p.ordinal in failed)) for p in verdicts[2].points)
    stretch = replace(verdicts[2].stretches[-1], mean=2 / 30, first=1, last=30)
    verdict = replace(
        verdicts[2], kind="pass-fail", points=points, stretches=(stretch,), lower=None, upper=None
    )
    svg = draw_panel(verdict)
    text = svg_text(svg)
    assert "of the newest 30 pieces [in 100]" in text and "with a fault" in text and "mean 6.7 (30)" in text
    assert len(re.findall(rb"<circle[^>]*fill=.none", svg)) == 28 and svg.count(b"<polygon") == 2


def test_the_headline_says_what_was_lost_and_what_left_and_money_only_where_the_plan_has_a_rate(content):
    assert content.headline.endswith(
        "6 pieces to hold, 1 left without a release. First pass lowest: draw, 19 of 20. Rework: 7.25 h."
    )
    rated = replace(content, hour=(60.0, "EUR"))
    assert rated.headline.endswith("Rework: 7.25 h, 435 EUR.")
    for text in (paper(rated), page(rated)):
        assert "Rework: 7.25 h, 435 EUR" in text and "375" in text and "60" in text
    assert dict(book(rated)["Month"])["rework [EUR]"] == month_answer(rated)["rework_cost"] == 435
    assert month_answer(content)["rework_cost"] is None and "EUR" not in paper(content) + page(content)
    nobody = tuple(one for one in content.hold if one.standing == "to hold")
    assert replace(content, hold=nobody).left_unreleased == 0


def test_the_same_report_is_the_same_bytes_and_drawings_may_be_handed_in(content):
    again = replace(
        content, verdicts=tuple(SeriesVerdict.from_dict(v.to_dict()) for v in content.verdicts)
    )  # a copy that shares no object with it
    drawn = draw_all(content)
    assert month_html(content) == month_html(again) == month_html(content, drawn)
    assert month_pdf(content) == month_pdf(again, drawn)
    assert month_workbook(content) == month_workbook(again)


CHANGES = [
    pytest.param({"rework": (Rework("dent", 9.5, 2),)}, "9.50 h", id="rework"),
    pytest.param(
        {"people": (("Draw: Wall", "pieces with ZW differ"),)}, "pieces with ZW differ", id="people"
    ),
    pytest.param(
        {"shipped": (("Tenor", 6), ("Alto", 2)), "month": "2026-02"},
        "February 2026 8 instruments",
        id="shipped",
    ),
    pytest.param({"closed": ""}, "Not closed: cards that come in late", id="closed"),
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
        reactions=(),
        since_closed=(),
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
        returned=(), yields=(), rolled=None, verdicts=(), hold=(), plan_changes=(), since_closed=(),
        not_passed=(), upstream=(), people=(), gauge_checks=(),
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
    assert [len(rows) for name, rows in book(empty).items() if name not in ("Month", "Methods")] == [
        1
    ] * 17, "heads alone"


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
            assert value is None or f"limit {value:g}".replace("-", "−") in text
        for stretch in verdict.stretches[-2:]:
            assert f"({stretch.n})" in text
        assert not re.search(rb'href="(?!#)', svg) and b"<script" not in svg
        assert draw_panel(verdict) == svg and not re.search(r"(?<![\w-])-\d", text), "one sign for minus"
        small = svg_text(draw_panel(verdict, width=PICTURE_IN[0], height=PICTURE_IN[1], newest=20))
        assert f"{verdict.points[-20:][0].serial} to {verdict.points[-1].serial}" in small


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


def test_yields_in_words():
    assert [yield_words(*y) for y in ((0.93, 0.68, 0.998), (1.0, 0.63, 1.0), (None, None, None))] == [
        "93 % (68 to 99.8 %)", "100 % (63 to 100 %)", "none made",
    ]  # fmt: skip


def test_the_methods_name_their_sources_and_the_plan(content):
    text = " ".join(methods(content))
    for source in (
        *("Hawkins, Qiu and Kang", "Bissell", "noncentral t", "version 3 of the measuring plan"),
        *("Nelson, Journal of Quality Technology 16, 1984", "Clopper and Pearson", "Lindstrom and Madden"),
    ):
        assert source in text
    assert text.endswith(content.budget)


HYPHEN_MINUS = re.compile(r"(?<![\w.,'|/-])-\d[\d.]*")
"""A hyphen before a figure that is no part of a day, a serial or a code."""


def test_no_figure_has_a_hyphen_for_a_minus_and_nought_has_no_sign(content, said):
    """Of a series below nought too, on paper, on the page, in the workbook's texts and on the terminal."""
    on_paper, on_page, sheets = said
    below = [verdict for verdict in content.verdicts if (verdict.ppk or 0) < 0 or (verdict.lower or 0) < 0]
    assert below, "nothing below nought would show nothing"
    cells = [str(cell) for rows in sheets.values() for row in rows for cell in row if isinstance(cell, str)]
    for text in (on_paper, on_page, *cells, json.dumps(month_answer(content), ensure_ascii=False)):
        words = re.sub(r'"[\w_]+": -\d[\d.e-]*', "", text)  # numbers of the answer for programs
        assert not HYPHEN_MINUS.findall(words)
        assert not re.search(r"[−-]0(\.0+)?(?![\d.])", words)
    assert re.search(r"−\d", on_paper) and re.search(r"−\d", on_page)
