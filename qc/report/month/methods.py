"""How the figures of the report came about, in plain words, with their sources."""

from __future__ import annotations

from qc.report.month.content import MonthContent
from qc.watch import SCREENED_BY


def methods(content: MonthContent) -> list[str]:
    """Say in plain words how the figures came about, with sources."""
    return [
        "Change: after every piece all splits of the series into before and after are compared (largest "
        "two-sample t, beside it the spread and a steady trend); the threshold is calibrated by simulation "
        "so that the whole board keeps its false-alarm budget. Source: Hawkins, Qiu and Kang, Journal of "
        "Quality Technology 35, 2003.",
        "Where a change began: the point with the largest evidence; the shaded band holds it nine times in "
        "ten.",
        "Nested readings: the pattern of the stations is taken off first; a point is the mean of one piece.",
        "Capability: Ppk is a third of the normal score of the share outside, of the worse side; skewness "
        "and tails are learned from sister series, and what is not known of them is part of the 95 % "
        "interval. Where the plan says normal: the sample standard deviation, with the interval of "
        "Bissell (Applied Statistics 39, 1990) for two limits and the exact one by the noncentral t for "
        "one. Limits are kept when the lower end of the interval reaches the wanted value, not kept when "
        "the upper end is below it; pieces of one lot and neighbours alike count as fewer; not given "
        "below 20 pieces.",
        "Gauges on their masters: the mean of the month's checks with its 95 % interval (Student); the same "
        "comparison of before and after as for a series, since the last calibration, at zero and on a ring "
        "apart. Where both are checked, their moves are compared (Welch, Biometrika 34, 1947).",
        "First-pass yield: pieces that came to a stage in the month and passed it the first time, without "
        "rework, a figure outside its limits or a failed verdict there; its interval is exact (Clopper and "
        "Pearson, Biometrika 26, 1934). All stages in a row: the product of the shares, its interval by the "
        "method of Lindstrom and Madden (Lloyd and Lipow, Reliability, 1962).",
        f"Earlier figures that go with final results: {SCREENED_BY[:1].lower()}{SCREENED_BY[1:]}",
        "Pattern rules beside a chart are off in this report: together they would raise many more false "
        "signals than the budget allows. Where they are switched on, on a chart of the board, they are "
        "those of Nelson, Journal of Quality Technology 16, 1984.",
        "Figures with an interval carry one unit, and as many places as the half of the interval makes "
        "sensible (JCGM 100:2008, 7.2.6).",
        "Months that are closed stay as they were stored; what comes in later for their days stands in "
        'the next month\'s report under "since closed".',
        f"Limits and targets: version {content.plan_version} of the measuring plan, as it stood on the day.",
        content.budget,
        *(
            [f"The store when this report was made: last hash {content.last_hash}."]
            if content.last_hash
            else []
        ),
    ]
