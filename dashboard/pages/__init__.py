"""The pages of the board, one module each; `PAGES` is also the order of the navigation."""

from __future__ import annotations

from dashboard.pages import (
    also,
    gauges,
    hold,
    instruments,
    month,
    rework,
    sheets,
    signals,
    stage,
    stages,
    today,
)
from dashboard.pages.group import figure as group_figure
from dashboard.pages.group import overview as group_overview
from dashboard.pages.office import people_list, plan_shown
from dashboard.pages.remedies import dies, lacquer, rack, tuning
from dashboard.pages.remedies import overview as remedies
from dashboard.pages.showing import pointing
from dashboard.pages.worth import figure as worth_figure
from dashboard.pages.worth import overview as worth_overview
from dashboard.routing import Page

PAGES: tuple[Page, ...] = (
    today.PAGE,
    stages.PAGE,
    stage.STAGE_PAGE,
    stage.SERIES_PAGE,
    hold.LIST_PAGE,
    hold.ONE_PAGE,
    instruments.LIST_PAGE,
    instruments.ONE_PAGE,
    also.PAGE,
    signals.LIST_PAGE,
    signals.ONE_PAGE,
    sheets.PAGE,
    pointing.PAGE,
    remedies.PAGE,
    tuning.PAGE,
    rack.PAGE,
    dies.PAGE,
    lacquer.PAGE,
    gauges.LIST_PAGE,
    gauges.ONE_PAGE,
    rework.PAGE,
    rework.MONTH_PAGE,
    month.PAGE,
    worth_overview.PAGE,
    worth_figure.PAGE,
    plan_shown.PAGE,
    plan_shown.DIFFERENCE_PAGE,
    people_list.PAGE,
    group_overview.PAGE,
    group_figure.PAGE,
)

__all__ = ["PAGES"]
