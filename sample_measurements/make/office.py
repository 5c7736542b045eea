"""The office and the gauge shelf: play-tests, shipping, returns, rework, tools, morning gauge checks."""

from __future__ import annotations

from datetime import date

from qc.plan import Plan
from sample_measurements.make import scenario
from sample_measurements.make.flow import Flow, Piece
from sample_measurements.make.groups import by_month
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Sheet, Tab, figure

REWORK = {  # stage -> its causes
    "joints": ("joint-gap", "starved-joint"),
    "slide": ("tight-slide", "bent-slide"),
    "valves": ("valve-leak",),
    "tuning": ("main-length", "wrap-length"),
    "polish": ("polishing-mark", "dent"),
    "lacquer": ("lacquer-run", "dust"),
}
RETURN_CAUSES = ("transport", "lacquer-run", "bent-slide", "customer-wish", "dent")
RETURN_SHARE = 0.03
RETURN_AFTER = 25  # working days at the customer


def office_books(flow: Flow, plan: Plan, seed: int) -> list[Sheet]:
    """Return the office workbook of each month: play-tests, shipping, returns, rework, tools fitted."""
    books: dict[str, list[Tab]] = {}
    for tab_of_month in (_play_tests, _shipping, _returns, _rework):
        for month, tab in tab_of_month(flow, seed).items():
            books.setdefault(month, []).append(tab)
    for month, tab in _tools(plan).items():
        books.setdefault(month, []).append(tab)
    return [Sheet(f"office/office_{month}.xlsx", tabs) for month, tabs in sorted(books.items())]


def _play_tests(flow: Flow, seed: int) -> dict[str, Tab]:
    noise = Noise(seed, "verdict")
    tabs = {}
    for month, pieces in by_month(flow.at("final"), lambda piece: piece.days["final"]):
        tab = Tab("Play-test", [("Card", "Play-test list")], ["Date", "Serial", "Model", "Person", "Verdict"])
        for piece in pieces:
            failed = noise.chance(scenario.VERDICT_FAULT_SHARE)
            verdict = ("reject" if noise.chance(0.1) else "rework") if failed else "pass"
            day = piece.days["final"].isoformat()
            tab.add(piece.serial, day, piece.serial, piece.model, noise.pick(scenario.CREW["final"]), verdict)
        tabs[month] = tab
    return tabs


def _shipping(flow: Flow, seed: int) -> dict[str, Tab]:
    tabs = {}
    for month, pieces in by_month(flow.at("ship"), lambda piece: piece.days["ship"]):
        tab = Tab("Shipping", [("Card", "Shipping list")], ["Serial", "Model", "Shipped", "Person"])
        for piece in pieces:
            tab.add(piece.serial, piece.serial, piece.model, piece.days["ship"].isoformat(), "IS")
        tabs[month] = tab
    return tabs


def _returns(flow: Flow, seed: int) -> dict[str, Tab]:
    """Let a few pieces come back; every piece draws, so that one more return leaves the others alone."""
    noise = Noise(seed, "returns")
    back: list[tuple[date, Piece, str]] = []
    position = {day: index for index, day in enumerate(flow.days)}
    for piece in flow.at("ship"):
        at = position[piece.days["ship"]] + RETURN_AFTER + noise.whole(0, 40)
        cause = noise.pick(RETURN_CAUSES)
        if noise.chance(RETURN_SHARE) and flow.days[min(at, len(flow.days) - 1)] <= scenario.LAST_DAY:
            back.append((flow.days[at], piece, cause))
    tabs = {}
    for month, group in by_month(
        sorted(back, key=lambda item: (item[0], item[1].serial)), lambda item: item[0]
    ):
        tab = Tab("Returns", [("Card", "Returns list")], ["Serial", "Model", "Returned", "Cause", "Person"])
        for day, piece, cause in group:
            tab.add(piece.serial, piece.serial, piece.model, day.isoformat(), cause, "IS")
        tabs[month] = tab
    return tabs


def _rework(flow: Flow, seed: int) -> dict[str, Tab]:
    """Note rework; every piece draws its figures, so that another share of rework changes no other piece."""
    noise = Noise(seed, "rework")
    done: list[tuple[date, Piece, str, float, str, str]] = []
    for stage, causes in REWORK.items():
        for piece in flow.at(stage):
            hours = max(0.25, round(4 * 1.1 * noise.ratio(1.7)) / 4)
            cause, person = noise.pick(causes), noise.pick(scenario.CREW[stage])
            if noise.chance(0.04):
                done.append((piece.days[stage], piece, stage, hours, cause, person))
    tabs = {}
    for month, group in by_month(
        sorted(done, key=lambda item: (item[0], item[1].serial)), lambda item: item[0]
    ):
        header = ["Date", "Serial", "Model", "Stage", "Hours", "Cause", "Person"]
        tab = Tab("Rework", [("Card", "Rework list")], header)
        for day, piece, stage, hours, cause, person in group:
            cells = (
                day.isoformat(),
                piece.serial,
                piece.model,
                stage,
                figure(hours, 2, short=True),
                cause,
                person,
            )
            tab.add(piece.serial, *cells)
        tabs[month] = tab
    return tabs


def _tools(plan: Plan) -> dict[str, Tab]:
    fitted = sorted(
        (tool.fitted, tool.id, tool.tool_class)
        for tool in plan.tools
        if tool.fitted is not None and scenario.FIRST_DAY <= tool.fitted <= scenario.LAST_DAY
    )
    tabs = {}
    for month, group in by_month(fitted, lambda item: item[0]):
        tab = Tab("Tools", [("Card", "Tools fitted")], ["Date", "Tool", "Class", "Person"])
        for day, tool, tool_class in group:
            tab.add(tool, day.isoformat(), tool, tool_class, "IS")
        tabs[month] = tab
    return tabs


def gauge_checks(flow: Flow, seed: int) -> list[Sheet]:
    """Return the morning gauge checks, a sheet a month; those of the gauge left alone stop on its day."""
    noise = Noise(seed, "gauge-checks")
    worked = [day for day in flow.days if flow.tubes[0].day <= day <= scenario.LAST_DAY]
    sheets = []
    for month, days in by_month(worked, lambda day: day):
        header = ["Date", "Gauge", "Deviation", "Zeroed", "Person"]
        tab = Tab("", [("Card", "Morning gauge checks")], header)
        for day in days:
            for gauge, step in scenario.DAILY_GAUGES.items():
                deviation = step * round(noise.normal(0.8))
                person = noise.pick(scenario.CREW["slide"])
                if gauge != scenario.UNZEROED_GAUGE or day < flow.gauge_day:
                    digits = 3 if step < 0.01 else 1
                    tab.add(gauge, day.isoformat(), gauge, figure(deviation, digits), "yes", person)
        sheets.append(Sheet(f"gauges/gauge-checks_{month}.csv", [tab]))
    return sheets
