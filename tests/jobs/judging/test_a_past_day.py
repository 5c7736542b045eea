"""A past day, such as the last of a month, is judged by going on from what was judged since."""

from dataclasses import replace
from datetime import date

import pytest

from qc.jobs.judging import judge_now
from qc.stats.change.state import DetectorState

DAYS = (date(2025, 12, 31), date(2026, 10, 17), date(2026, 10, 31))
"""Half a year in, within a month and at the end of one: the older the day, the more was judged since."""


@pytest.mark.parametrize("day", DAYS)
def test_it_is_what_judging_from_nothing_gives(shop, day, monkeypatch):
    """And most pieces are not judged once more, those of series read at several places too."""
    judged = []
    add = DetectorState.add
    monkeypatch.setattr(DetectorState, "add", lambda self, *a, **k: judged.append(1) or add(self, *a, **k))
    then = replace(shop, today=day)
    found = judge_now(then, keep=False).verdicts
    further, judged[:] = len(judged), []
    anew = judge_now(then, afresh=True, keep=False).verdicts
    assert [v.to_dict() for v in found] == [v.to_dict() for v in anew]
    assert any(verdict.signals for verdict in anew), "nothing found would show little"
    assert day != DAYS[-1] or further < 0.5 * len(judged), f"{further} of {len(judged)}"
