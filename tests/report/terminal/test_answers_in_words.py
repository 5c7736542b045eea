"""Answers for a terminal: the finding first, tables that align, and figures that are those of the answer."""

import json
import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.report.drawings.study import plot_study
from qc.report.terminal import (
    HandFigures,
    agreement_text,
    check_standard_text,
    estimated_text,
    gauge_text,
    linearity_text,
    over_days_text,
    run_lengths_text,
    study_text,
    table,
)
from qc.report.terminal.study import BARS, MOST_SIGNALS, WIDEST
from qc.stats import (
    Setting,
    StatisticsUsageError,
    StudyQuestion,
    average_range,
    check_standard,
    cusum_run_length,
    estimated_limits,
    ewma_run_length,
    fleiss_kappa,
    gauge_study,
    guard_band,
    linearity,
    misses_and_false_rejects,
    nested_levels,
    repeat_sets,
    shewhart_run_length,
    study_frame,
)

PUBLISHED = Path(__file__).parents[2] / "published"
E2 = json.loads((PUBLISHED / "gauge_studies.json").read_text("utf-8"))["E2"]
cells = st.text(st.characters(whitelist_categories=["L", "N"]), min_size=1, max_size=9)
few = settings(max_examples=40, deadline=None)


def tidy(text):
    """What every answer keeps: no ragged ends, no figure that is none, no code of the program."""
    assert text == text.strip("\n") and not any(line != line.rstrip() for line in text.split("\n"))
    assert not re.search(r"\bnan\b|\binf\b|\bNone\b|<|Traceback", text)
    assert "\n\n\n" not in text
    return text


def rows_of(text, head):
    """Cells of the table whose first line begins so, row by row; columns stand two blanks apart."""
    lines = text.split("\n")
    first = next(i for i, line in enumerate(lines) if line.split()[: len(head)] == head)
    rows = []
    for line in lines[first:]:
        if not line.strip():
            break
        rows.append(re.split(r" {2,}", line.strip()))
    return rows


@few
@given(st.integers(2, 6).flatmap(lambda n: st.lists(st.tuples(*[cells] * n), min_size=1, max_size=8)))
def test_tables_align_and_can_be_read_back(rows):
    """Words to the left, numbers to the right: each column has its edge."""
    lines = table(rows, "<>")
    assert [tuple(re.split(r" {2,}", line.strip())) for line in lines] == rows
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    assert {len(line) for line in lines} == {2 + sum(widths) + 2 * (len(widths) - 1)}
    for line, row in zip(lines, rows, strict=True):
        assert line.startswith("  " + row[0])
        end = 2 + widths[0]
        for width, cell in zip(widths[1:], row[1:], strict=True):
            end += 2 + width
            assert line[:end].endswith(cell)
    assert table([("a", "1"), ("bb",)], "<>") == ["  a   1", "  bb"], "a row may stop short"


@pytest.fixture(scope="module")
def thermal():
    """Thermal impedance, 10 parts, 3 persons, 3 readings: a published gauge study."""
    values, parts, persons = [], [], []
    for (part, person, _), reading in np.ndenumerate(np.array(E2["data"]["rows"])):
        values.append(float(reading))
        parts.append(part)
        persons.append(person)
    return gauge_study(values, parts, persons, lower=20, upper=60)


def test_a_gauge_study_prints_its_spreads_with_their_intervals(thermal):
    study = thermal
    hand = average_range(np.array(E2["data"]["rows"]))
    text = tidy(
        gauge_text(
            study, guard_band(lower=20, upper=60, gauge_sd=study.sd["gauge"]), HandFigures(hand), "z", "t.csv"
        )
    )
    assert text.split("\n")[0] == study.verdict
    assert f"z in t.csv: {study.design} study, 10 parts x 3 persons x 3 readings" in text
    for name in ("repeatability", "person", "gauge", "part", "total"):
        assert f"{study.sd[name]:.4g}" in text
    for name, (low, high) in study.intervals.items():
        if name in study.sd:
            assert f"{low**0.5:.4g}  " in text and f"{high**0.5:.4g}  " in text
    assert f"gauge, of the tolerance: {100 * study.share_of_tolerance:.1f} %" in text
    assert f"groups of parts told apart: {study.categories} " in text
    printed = rows_of(text, ["source", "df"])
    named = {
        "part": "between parts",
        "person": "between persons",
        "person_part": "person and part together",
        "repeatability": "same person, same part",
        "total": "all readings",
    }
    assert [row[0] for row in printed[1:]] == [named[row.source] for row in study.anova]
    assert [int(row[1]) for row in printed[1:]] == [row.df for row in study.anova]
    assert [float(row[2]) for row in printed[1:]] == pytest.approx([row.ss for row in study.anova], rel=1e-5)


def test_bars_of_a_gauge_study_are_as_long_as_their_share(thermal):
    study = thermal
    lines = gauge_text(study, None, HandFigures(), "z", "t.csv").split("\n")
    bars = {
        line.strip().split("  ")[0]: line.count("▇")
        for line in lines
        if " % " in line and line.startswith("  ")
    }
    assert bars["all readings"] == 20
    assert bars["between parts"] == round(20 * study.sd["part"] / study.sd["total"])
    assert "guard band:" not in "\n".join(lines) and "checking by hand" not in "\n".join(lines)


@pytest.mark.parametrize(("limits", "words"), [
    ({"lower": 0.0, "upper": 10.0}, "from 2 up to 8"),
    ({"lower": 0.0}, "proves a piece good from 2 "),
    ({"upper": 10.0}, "proves a piece good up to 8 "),
    ({"lower": 0.0, "upper": 3.0}, "no reading of this gauge can prove a piece good"),
])  # fmt: skip
def test_the_guard_band_in_words(thermal, limits, words):
    text = gauge_text(thermal, guard_band(gauge_sd=1.0, **limits), HandFigures(), "z", "t.csv")
    assert words in text


def test_a_comparison_with_references_prints_each_bias():
    rng = np.random.default_rng(5)
    references = np.repeat([2.0, 4.0, 6.0, 8.0], 6)
    found = linearity(references + 0.05 * references - 0.1 + rng.normal(0, 0.02, 24), references)
    text = tidy(linearity_text(found, "mm", "r.csv"))
    assert text.startswith(found.verdict)
    rows = rows_of(text, ["reference", "readings"])[1:]
    assert [float(row[0]) for row in rows] == [2.0, 4.0, 6.0, 8.0]
    assert [float(row[2].replace("−", "-")) for row in rows] == pytest.approx(
        [b.bias for b in found.biases], rel=1e-3
    )
    assert [row[-1] == "clear" for row in rows] == [b.clear for b in found.biases]
    assert f"bias grows by {found.line.slope:+.4g} per unit of size" in text


def test_agreement_is_said_against_what_chance_would_give():
    verdicts = [["good"] * 3, ["bad"] * 3, ["good", "good", "bad"], ["bad"] * 3, ["good"] * 3]
    between = fleiss_kappa(verdicts)
    slips = misses_and_false_rejects(
        ["bad", "good", "bad", "good"], ["bad", "bad", "good", "good"], bad="bad"
    )
    text = tidy(
        agreement_text(between, {"A with the truth": between}, {"A": slips}, "5 pieces", ["few pieces"])
    )
    assert text.startswith(f"{100 * between.agreement:.0f} % of all pairs of judgements agree")
    assert f"(kappa {between.kappa:.2f})" in text and text.endswith("Note: few pieces.")
    assert "A passed 1 of 2 (" in text and "sent back 1 of 2 (" in text
    alone = agreement_text(None, {}, {"B": (None, None)}, "no pieces")
    assert alone.startswith("Agreement with others cannot be said.") and "B passed 0 of 0 bad pieces" in alone


@pytest.fixture(scope="module")
def days():
    rng = np.random.default_rng(6)
    readings = 10.0 + rng.normal(0, 0.1, (12, 1)) + rng.normal(0, 0.02, (12, 4))
    names = [f"2026-03-{day:02d}" for day in range(1, 13) for _ in range(4)]
    return repeat_sets(readings.ravel().tolist(), names)


def test_a_gauge_over_days_says_what_days_add_and_what_helps(days):
    levels = nested_levels(days.averages, days.sds, ["one"] * 12, repeats=4)
    text = tidy(over_days_text(days, levels, None, "mm", "d.csv"))
    low, high = levels.intervals["reading_sd"]
    assert text.startswith(
        f"One reading on any day scatters by {levels.reading_sd:.4g} (sd; 95 % sure between"
    )
    assert f"{low:.4g} and {high:.4g}" in text
    assert "zero the gauge on a standard each day" in text, "days make most of it here"
    shares = [int(share) for share in re.findall(r"(\d+) % ▇", text)]
    assert sum(shares) == pytest.approx(100, abs=3)


def test_a_check_standard_names_the_days_outside_and_the_days_expected(days):
    found = check_standard(days.averages, days.sds, repeat_df=3)
    calm = tidy(check_standard_text(days, found, {}, "mm", "d.csv"))
    assert calm.startswith("All 12 days lie inside the limits")
    assert f"limits {found.lower:.6g} to {found.upper:.6g}" in calm
    odd = tidy(check_standard_text(days, found, {days.days[3]: ("average", "sd")}, "mm", "d.csv"))
    assert odd.startswith(f"Outside the limits: day {days.days[3]} (average and sd). Look for the cause")
    assert len(rows_of(odd, ["day", "average"])) == 13
    assert re.search(r"2026-03-04 .*average and sd outside", odd)


@pytest.mark.parametrize(("kind", "design", "make"), [
    ("limits", {"factor": 3.0, "n": 1}, lambda s: shewhart_run_length(3.0, s)),
    ("ewma", {"weight": 0.2, "width": 2.86}, lambda s: ewma_run_length(0.2, 2.86, s)),
    ("cusum", {"reference": 0.5, "decision": 5.0, "sides": 2}, lambda s: cusum_run_length(0.5, 5.0, s)),
])  # fmt: skip
def test_run_lengths_of_the_handbooks_are_what_is_printed(kind, design, make):
    """370 and 43.9 for three sigma, 465 and 10.4 for the sum of 0.5 and 5 (Montgomery and Runger, p. 638)."""
    shifts = [(shift, make(shift)) for shift in (0.0, 0.5, 1.0, 3.0)]
    text = tidy(run_lengths_text(kind, design, None, shifts, 4.86))
    rows = rows_of(text, ["shift", "average"])[1:]
    printed = [float(row[1].replace(",", "")) for row in rows]
    assert printed == pytest.approx([found.mean for _, found in shifts], rel=5e-3)
    assert printed == sorted(printed, reverse=True)
    handbook = {"limits": (370.4, 43.9), "cusum": (465.4, 10.4), "ewma": (371.0, 9.8)}[kind]
    assert (printed[0], printed[2]) == pytest.approx(handbook, rel=0.006)
    assert "False signals to expect in the points judged: 4.86." in text
    assert text.split("\n")[1].startswith("A shift of 1 sigma signals after")
    for row in rows:
        quantiles = [int(cell.replace(",", "")) for cell in row[3:]]
        assert quantiles == sorted(quantiles)


def test_estimated_limits_are_called_a_lottery_or_a_promise():
    limits = estimated_limits(20)
    shares = {share: limits.run_length_quantile(share) for share in (0.05, 0.5, 0.95)}
    design = {"points": 20, "n": 1, "factor": 3.0, "estimator": "sd"}
    more = {"quantiles": shares, "chances": {100.0: limits.chance_under(100.0)}, "worth": 19.0}
    text = tidy(estimated_text(design, [(0.0, limits)], **more, promise=None, false_signals=None))
    assert "are a lottery: nine in ten such baselines give a chart that runs between" in text
    assert f"Chance that your own run under 100.0: {limits.chance_under(100.0):.2f}." in text
    kept = tidy(estimated_text(design, [(0.0, limits)], **more, promise=(370.0, 0.9), false_signals=2.0))
    assert kept.startswith("Limits at 3 estimated sigma from 20 points")
    assert "run 370.0 points or more to a false signal in 90 % of all baselines" in kept


def answered(values, chart="individuals", **options):
    question = StudyQuestion(chart, **options)
    return study_frame(pl.DataFrame({"value": values}), question), question


def test_a_quiet_series_says_that_nothing_says_it_changed():
    values = [10 + 0.1 * ((3 * n) % 7 - 3) for n in range(30)]
    answers, question = answered(values)
    text = tidy(study_text(answers, question, "mm", "s.csv"))
    assert text.startswith("No signal in 30 points of mm in s.csv")
    chart = answers[""].chart
    for name, figure in (
        ("centre", chart.center),
        ("lower limit", chart.lower),
        ("upper limit", chart.upper),
    ):
        assert re.search(rf"{name} +{re.escape(f'{figure:.6g}')}$", text, re.MULTILINE)
    assert "^" not in text


def test_signals_are_marked_under_their_bar_and_listed_up_to_a_dozen():
    rng = np.random.default_rng(7)
    values = rng.normal(10, 0.1, 40)
    values[[4, 20]] = 12.0
    answers, question = answered(values.tolist())
    text = tidy(study_text(answers, question, "mm", "s.csv"))
    bars, marks = next(
        (line, text.split("\n")[i + 1])
        for i, line in enumerate(text.split("\n"))
        if set(line.strip()) & set(BARS)
    )
    found = {signal.point for signal in answers[""].signals}
    assert {i - 1 for i, c in enumerate(marks) if c == "^"} == found >= {5, 21}
    assert len(bars.strip()) == 40
    assert text.startswith(
        f"{len(found)} points of 40 in mm in s.csv signalled, the first at point {min(found)}."
    )
    wild = [10.0, 10.1] * 10 + [30.0, -10.0] * 12
    many, question = answered(wild, setting=Setting(center=10.0, sigma=0.1))
    told = tidy(study_text(many, question, "mm", "s.csv"))
    assert told.count("  point ") == MOST_SIGNALS
    assert f"  and {len(many[''].signals) - MOST_SIGNALS} more" in told


def test_a_long_series_fits_a_window_and_still_shows_its_outlier():
    values = [10 + 0.1 * (n % 2) for n in range(1000)]
    values[777] = 20.0
    answers, question = answered(values)
    text = study_text(answers, question, "mm", "s.csv")
    line = next(line for line in text.split("\n") if set(line.strip()) & set(BARS))
    assert len(line) == 2 + WIDEST and line.count("█") == 1 and line[2 + 77] == "█"


def test_many_series_are_told_with_the_worst_first():
    rng = np.random.default_rng(8)
    frames = []
    for name, off in (("calm", 0.0), ("one", 5.0), ("worse", 9.0)):
        values = rng.normal(0, 0.1, 30)
        values[10 : 10 + {"calm": 0, "one": 1, "worse": 3}[name]] = off
        frames.append(pl.DataFrame({"value": values, "series": [name] * 30}))
    question = StudyQuestion("individuals", setting=Setting(center=0.0, sigma=0.1))
    answers = study_frame(pl.concat(frames), question)
    text = tidy(study_text(answers, question, "mm", "s.csv"))
    counts = {name: len(answer.signals) for name, answer in answers.items()}
    order = [name for name in sorted(counts, key=lambda n: -counts[n]) if counts[name]]
    assert [line.split()[0] for line in text.split("\n")[1:]] == order
    assert text.startswith("3 series of mm in s.csv on individuals charts:")


@pytest.mark.parametrize("suffix", ["png", "svg", "html"])
def test_a_drawing_is_the_same_bytes_twice_and_loads_nothing(tmp_path, suffix):
    answers, question = answered([10.0, 10.2, 9.9, 10.1, 14.0, 10.0], lower=9.0, upper=15.0)
    files = [tmp_path / f"{n}.{suffix}" for n in (1, 2)]
    for file in files:
        plot_study(answers, question, "mm <b>", file)
    first, second = (file.read_bytes() for file in files)
    assert first == second and len(first) > 3000
    if suffix != "png":
        text = first.decode("utf-8")
        assert "<script" not in text and not re.search(r'href="(?!#)', text)
        assert "<title>mm &lt;b&gt;</title>" in text or suffix == "svg"


@pytest.mark.parametrize(
    ("name", "words"), [("x.docx", "drawn as .png, .svg or .html"), ("no/x.png", "no such folder")]
)
def test_a_drawing_that_cannot_be_says_why(tmp_path, name, words):
    answers, question = answered([10.0, 10.2, 9.9])
    with pytest.raises(StatisticsUsageError, match=words):
        plot_study(answers, question, "mm", tmp_path / name)


def test_forty_series_are_no_drawing(tmp_path):
    frame = pl.DataFrame(
        {"value": [1.0, 2.0, 3.0] * 60, "series": [f"s{n}" for n in range(60) for _ in range(3)]}
    )
    question = StudyQuestion("individuals")
    with pytest.raises(StatisticsUsageError, match="60 series do not fit one drawing: choose at most"):
        plot_study(study_frame(frame, question), question, "mm", tmp_path / "x.png")
