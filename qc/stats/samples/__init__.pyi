"""Types of what `qc.stats.samples` offers; the package fetches each name on first use."""

from .anova import AnovaRow as AnovaRow
from .anova import OneWay as OneWay
from .anova import anova_row as anova_row
from .anova import one_way_anova as one_way_anova
from .columns import anderson_darling_many as anderson_darling_many
from .columns import lag_1_many as lag_1_many
from .dependence import LEAST_FOR_LAG as LEAST_FOR_LAG
from .dependence import NORMAL_95 as NORMAL_95
from .dependence import Autocorrelation as Autocorrelation
from .dependence import false_alarm_rate as false_alarm_rate
from .dependence import lag_1_autocorrelation as lag_1_autocorrelation
from .dependence import lag_bound as lag_bound
from .dependence import moving_range_inflation as moving_range_inflation
from .dependence import pooled_autocorrelation as pooled_autocorrelation
from .dependence import runs_test as runs_test
from .distribution import LEAST_NORMALITY as LEAST_NORMALITY
from .distribution import Outlier as Outlier
from .distribution import SignificanceTest as SignificanceTest
from .distribution import anderson_darling as anderson_darling
from .distribution import generalised_esd as generalised_esd
from .distribution import grubbs as grubbs
from .groups import Grouped as Grouped
from .groups import bartlett as bartlett
from .groups import equal_spreads as equal_spreads
from .groups import levels_table as levels_table
from .groups import spread_test as spread_test
