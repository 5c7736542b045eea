"""Errors of the statistics.

StatisticsError            the figures cannot carry the statistic: the message names the quantity and the need
    StatisticsUsageError   the question itself is wrong: an unknown chart, rule or option
"""

from qc.errors import QcError, UsageError


class StatisticsError(QcError, ValueError):
    """The figures cannot carry the statistic that was asked for.

    The message names the quantity at fault and says what would be needed.
    """


class StatisticsUsageError(UsageError, StatisticsError):
    """A chart, rule, method or option was asked for that does not exist or does not go with the rest."""
