"""A past day, such as the last of a month, is judged by going on from what was judged since."""

from dataclasses import replace
from datetime import date

import pytest

from qc.jobs.judging import judge_now
from qc.stats.change.state import DetectorState

DAYS = (date(2025, 12, 31), date(2026, 6, 30), date(2026, 9, 30), date(2026, 10, 17), date(2026, 10, 31))


@pytest.mark.parametrize("day", DAYS)
def test_it_is_what_judging_from_nothing_gives(shop, day):
    then = replace(shop, today=day)
    anew = judge_now(then, afresh=True, keep=False)
    assert [v.to_dict() for v in judge_now(then, keep=False).verdicts] == [v.to_dict() for v in anew.verdicts]
    assert any(verdict.signals for verdict in anew.verdicts), "nothing found would show little"


def test_most_pieces_are_not_judged_once_more(shop, monkeypatch):
    """Series read at several places too: their points stay the same to the last bit as more pieces come."""
    judged = []
    add = DetectorState.add
    monkeypatch.setattr(DetectorState, "add", lambda self, *a, **k: judged.append(1) or add(self, *a, **k))
    then = replace(shop, today=DAYS[-1])
    verdicts = judge_now(then, keep=False).verdicts
    further, judged[:] = len(judged), []
    judge_now(then, afresh=True, keep=False)
    assert verdicts and further < 0.5 * len(judged), f"{further} of {len(judged)}"
