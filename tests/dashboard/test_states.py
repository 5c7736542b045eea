"""Every state that board, terminal and report name is on the one list, and the page of words is that list."""

import re
from dataclasses import replace
from datetime import date
from itertools import product
from pathlib import Path

import pytest

from dashboard import words
from dashboard.pages import gauges, signals, today
from dashboard.parts import state_words
from qc import states
from qc.jobs.board.today import stage_views
from qc.jobs.board.views import Due
from qc.plan import Gauge
from qc.report.month.template_data import capability_line
from qc.report.terminal.status import status_text
from qc.sayings import CLOSED_STATES, OPEN_STATES
from qc.watch import FactorLevels, Points, Question, gauge_standing, judge
from qc.watch.words import STILL_MOVING, behaviour_words

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "words.md"
DAY = date(2026, 6, 1)


@pytest.fixture
def verdicts(small_plan, points):
    """A series in every state that can be: behaviour, answer about the limits, pieces, limits, kind."""
    stage = small_plan.stage("tuning")
    question = Question(small_plan, stage, stage.characteristics[0], "tenor", 0.004, DAY)
    one = judge(question, Points(points([0.1 * (n % 7) for n in range(30)]), centered=False), FactorLevels())
    found = []
    for behaviour, capable, ppk, kind, limits, moving in product(
        ("learning", "steady", "drifting"),
        ("proven", "unproven", "no", ""),
        (1.1, None),
        ("measured", "count", "pass-fail"),
        ((0.0, 1.0), (None, None)),
        (False, True),
    ):
        told = {"behaviour": behaviour, "capable": capable, "ppk": ppk, "ppk_low": ppk, "ppk_high": ppk}
        limited = {"lower": limits[0], "upper": limits[1], "kind": kind}
        why = {"ppk_reason": STILL_MOVING if moving else ""}
        found += [
            replace(one, **told, **limited, **why, pieces=n, present=one.present[:n]) for n in (0, 9, 30)
        ]
    return found


def test_a_series_is_called_by_the_list_on_every_face(small_plan, verdicts):
    for verdict in verdicts:
        behaviour, _, limits = text_of(state_words(verdict)).partition(" · ")
        assert behaviour in states.BEHAVIOUR and limits in states.LIMITS
        assert behaviour_words(verdict).partition(",")[0] == behaviour
        (line,) = status_text("Shop", DAY, [verdict], []).splitlines()[2:]
        title, *said = re.split(r"  +", line.strip())
        assert said[0].partition(",")[0] == behaviour and said[1] == limits, title
        row = capability_line(verdict)
        assert row["behaviour"].endswith(behaviour) and limits.endswith(row["capable"])
        stage = next(s for s in stage_views(small_plan, [verdict]) if s.id == verdict.key.stage)
        assert stage.limits == limits and words.state_of_stage(stage).partition(",")[0] == behaviour


def test_a_signal_is_called_by_the_list(board):
    signal = board.signals()[0]
    for state in (*OPEN_STATES, *CLOSED_STATES, "over"):
        assert signals._standing(replace(signal, state=state, standing="")) in states.SIGNAL


def test_a_gauge_is_called_by_the_list_and_every_state_is_met(small_plan):
    daily = Gauge(
        id="BG-1", name="g", gauge_class="bore gauge", resolution=0.001, unit="mm", daily_check=True,
        check_tolerance=0.004,
    )  # fmt: skip
    yearly = daily.model_copy(update={"daily_check": False, "due": DAY})
    cases = {
        states.OFF: (daily, (DAY, 0.009)),
        states.OVERDUE: (daily, (date(2026, 5, 4), 0.0)),
        states.NEVER_CHECKED: (daily, None),
        states.DUE: (yearly, None),
        states.IN_ORDER: (daily, (DAY, 0.0)),
    }
    # whether its checks moved is the detector's to say: `tests/jobs/board/test_gauges.py`
    assert list(cases) == [state for state in states.GAUGE if state != states.MOVED]
    for state, (gauge, last) in cases.items():
        assert gauge_standing(gauge, small_plan, DAY, last).state == state
    out = gauge_standing(yearly, small_plan, date(2026, 6, 2), None)
    assert (out.state, out.sentence) == (states.OVERDUE, "Its calibration ran out on 1 Jun.")
    assert set(gauges.LOUD) < set(states.GAUGE)


def test_both_faults_of_a_gauge_are_told(small_plan):
    gauge = Gauge(
        id="BG-1", name="g", gauge_class="bore gauge", resolution=0.001, unit="mm", daily_check=True,
        check_tolerance=0.004, due=date(2026, 5, 1),
    )  # fmt: skip
    missed = gauge_standing(gauge, small_plan, DAY, (date(2026, 5, 4), 0.0))
    assert "without a check. Its calibration ran out on 1 May." in missed.sentence
    off = gauge_standing(gauge, small_plan, DAY, (DAY, -0.02))
    assert off.sentence.endswith("outside ±4.0 µm. Its calibration ran out on 1 May.")


def test_what_is_due_says_since_when():
    due = Due("BG-1", "bore gauge", DAY, "", gauge=True)
    said = {state: today.due_words(replace(due, state=state)) for state in states.GAUGE}
    assert said[states.OVERDUE] == "overdue since 1 Jun" and said[states.DUE] == "due 1 Jun"
    assert said[states.OFF] == "off on 1 Jun" and said[states.NEVER_CHECKED] == "never checked"


def test_the_page_of_words_is_the_list():
    page = PAGE.read_text("utf-8")
    for title, names in {**states.KINDS, "Figures on charts and lists": states.FIGURES}.items():
        table = page.partition(f"## {title}\n")[2].partition("\n## ")[0]
        rows = re.findall(r"^\| (.+?) \| (.+) \|$", table, re.M)
        assert [row for row in rows if row[0] not in ("name", "---")] == list(names.items()), title


def text_of(part):
    if isinstance(part, (list, tuple)):
        return "".join(map(text_of, part))
    return part if isinstance(part, str) else text_of(part.children)
