"""A small invented plan and the builders of sheets that the tests of ingest share."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

import pytest
import xlsxwriter

from qc.ingest import Checked, Known, Unfolded, check, read_sheet, unfold
from qc.plan import (
    Card,
    Characteristic,
    DatedLimits,
    Gauge,
    Model,
    ModelValve,
    Person,
    Plan,
    Shop,
    Stage,
    Tool,
)

TODAY = date(2026, 5, 20)
Cells = Sequence[Sequence[object]]


def _stages() -> tuple[Stage, ...]:
    draw = (
        Characteristic(
            id="tube_od", name="Tube OD", unit="mm", gauge_class="micrometer", resolution=0.001,
            sensible=(12.0, 17.0), limits=(DatedLimits(target=14.9, lower=14.86, upper=14.94),),
            wears_with="die",
        ),
        Characteristic(
            id="tube_bore", name="Tube bore", unit="mm", gauge_class="bore-gauge", resolution=0.001,
            sensible=(11.0, 16.0), limits=(DatedLimits(target=14.05, lower=14.03, upper=14.07),),
        ),
        Characteristic(id="tube_length", name="Tube length", unit="mm", gauge_class="rule", resolution=1,
                       sensible=(400, 1000), charted=False),
    )  # fmt: skip
    places = {"leg": ("upper", "lower"), "station": ("mouth", "middle", "crook"), "direction": ("0", "90")}
    slide = (
        Characteristic(
            id="inner_od", name="Inner OD", unit="mm", gauge_class="micrometer", resolution=0.001,
            places={**places, "surface": ("stocking", "body")}, sensible=(11.0, 16.0),
            limits=(DatedLimits(target=13.9, lower=13.86, upper=13.94),), charted=False,
        ),
        Characteristic(
            id="outer_bore", name="Outer bore", unit="mm", gauge_class="bore-gauge", resolution=0.001,
            places=places, sensible=(11.0, 16.0),
            limits=(DatedLimits(target=14.05, lower=14.01, upper=14.09),),
            charted=False,
        ),
        Characteristic(
            id="clearance_read", name="Clearance as read", unit="um", resolution=1, places=places,
            sensible=(20, 500), limits=(DatedLimits(target=150, lower=100, upper=200),), charted=False,
        ),
    )  # fmt: skip
    bell = (
        Characteristic(
            id="wall", name="Bell wall", unit="mm", gauge_class="ball-micrometer", resolution=0.01,
            places={"station": ("1", "2", "3", "4", "5"), "direction": ("0", "90", "180", "270")},
            sensible=(0.2, 1.0), limits=(DatedLimits(target=0.5, lower=0.44, upper=0.56),),
        ),
    )  # fmt: skip
    joints = (
        Characteristic(id="leak", name="Joint leak", unit="cm3/min", shape="positive", resolution=0.1,
                       sensible=(0, 60), limits=(DatedLimits(upper=4.0),), gauge_class="leak-rig"),
        Characteristic(id="joint_faults", name="Joint faults", unit="fault", kind="pass-fail"),
    )  # fmt: skip
    tuning = (
        Characteristic(
            id="note", name="Note deviation", unit="cent", resolution=1, gauge_class="tuner", charted=False,
            places={"valve": ("open", "F"), "position": tuple("1234567"), "partial": tuple("234568")},
            sensible=(-70, 70),
        ),
    )  # fmt: skip
    lacquer = (
        Characteristic(
            id="thickness", name="Lacquer thickness", unit="um", resolution=0.1, gauge_class="eddy-current",
            places={"area": ("flare", "stem", "slide"), "spot": tuple("12345")}, sensible=(2, 60),
            limits=(DatedLimits(target=15, lower=10),),
        ),
        Characteristic(id="defects", name="Lacquer defects", unit="count", kind="count"),
    )  # fmt: skip
    final = (Characteristic(id="verdict", name="Verdict", unit="fault", kind="pass-fail"),)
    polish = (
        Characteristic(
            id="mass_loss", name="Mass loss", unit="g", resolution=0.1, sensible=(1, 120),
            limits=(DatedLimits(target=18, lower=10, upper=26),), models=("tenor", "tenor-f"),
        ),
    )  # fmt: skip
    parts = {
        "draw": draw, "bell": bell, "joints": joints, "slide": slide, "tuning": tuning, "polish": polish,
        "lacquer": lacquer, "final": final,
    }  # fmt: skip
    return tuple(
        Stage(id=name, name=name.capitalize(), characteristics=found) for name, found in parts.items()
    )


def _gauges() -> tuple[Gauge, ...]:
    due = date(2027, 1, 1)
    return (
        Gauge(id="MIC-1", name="Micrometer", gauge_class="micrometer", resolution=0.001, unit="mm", due=due),
        Gauge(id="MIC-9", name="Old micrometer", gauge_class="micrometer", resolution=0.001, unit="mm",
              due=date(2026, 3, 31)),
        Gauge(id="BG-1", name="Bore gauge one", gauge_class="bore-gauge", resolution=0.001, unit="mm",
              due=due, daily_check=True, check_tolerance=0.004),
        Gauge(id="BM-1", name="Ball micrometer", gauge_class="ball-micrometer", resolution=0.01, unit="mm"),
        Gauge(id="TU-1", name="Tuner one", gauge_class="tuner", resolution=1, unit="cent"),
        Gauge(id="EC-1", name="Eddy gauge", gauge_class="eddy-current", resolution=0.1, unit="um"),
        Gauge(id="LR-1", name="Leak rig one", gauge_class="leak-rig", resolution=0.1, unit="cm3/min"),
        Gauge(id="RU-1", name="Rule one", gauge_class="rule", resolution=1, unit="mm"),
    )  # fmt: skip


def _cards() -> tuple[Card, ...]:
    return (
        Card(id="drawing-log", title="Drawing log", source="bench", stage="draw",
             characteristics=("tube_od", "tube_bore", "tube_length")),
        Card(id="bell-map", title="Bell wall map", source="bench", stage="bell", characteristics=("wall",)),
        Card(id="joints-card", title="Joints card", source="bench", stage="joints",
             characteristics=("leak", "joint_faults")),
        Card(id="slide-card", title="Slide card", source="slide", stage="slide",
             characteristics=("inner_od", "outer_bore", "clearance_read")),
        Card(id="tuning-card", title="Tuning card", source="tuning", stage="tuning",
             characteristics=("note",)),
        Card(id="polish-card", title="Polishing card", source="bench", stage="polish",
             characteristics=("mass_loss",)),
        Card(id="lacquer-card", title="Lacquer card", source="lacquer", stage="lacquer",
             characteristics=("thickness",)),
        Card(id="defects-card", title="Lacquer defects card", source="bench", stage="lacquer",
             characteristics=("defects",)),
        Card(id="play-test", title="Play-test list", source="bench", stage="final",
             characteristics=("verdict",), event="play-test"),
        Card(id="assembly", title="Assembly card", source="bench", event="part"),
        Card(id="shipping", title="Shipping list", source="bench", event="shipped"),
        Card(id="returns", title="Returns list", source="bench", event="returned"),
        Card(id="rework", title="Rework list", source="bench", event="rework"),
        Card(id="gauge-checks", title="Gauge checks", source="bench", event="gauge-check"),
        Card(id="tools-fitted", title="Tools fitted", source="bench", event="tool-fitted"),
        Card(id="no-card", title="Days without a card", source="bench", event="no-card"),
    )  # fmt: skip


@pytest.fixture(scope="session")
def plan() -> Plan:
    """An invented workshop with one card of every kind."""
    return Plan(
        workshop=Shop(name="Testholm", serial_prefix="TH-", time_zone="CET", a4_hz=442),
        models=(
            Model(id="tenor", name="Tenor", family="tenor", pedal_midi=34, length_mm=2931.6),
            Model(id="tenor-f", name="Tenor with F valve", family="tenor", pedal_midi=34, length_mm=2931.6,
                  valves=(ModelValve(name="F", added_mm=981.6),)),
        ),
        stages=_stages(),
        gauges=_gauges(),
        people=(Person(code="AB"), Person(code="CD"), Person(code="EFG")),
        tools=(
            Tool(id="D-1", name="Tenor die", tool_class="die"),
            Tool(id="BN-1", name="Nozzle", tool_class="nozzle"),
        ),
        cards=_cards(),
        causes=("joint-gap", "transport", "dent"),
    )  # fmt: skip


@pytest.fixture(scope="session")
def known() -> Known:
    """An empty store on the test's day."""
    return Known(today=TODAY)


def csv_bytes(rows: Cells, separator: str = ",", encoding: str = "utf-8") -> bytes:
    """Write cells as csv, without quoting: a cell with the separator in it is what the bench typed."""
    return ("\r\n".join(separator.join(map(str, row)) for row in rows) + "\r\n").encode(encoding)


def xlsx_bytes(rows: Cells, tab: str = "Sheet", date_format: str = "yyyy-mm-dd") -> bytes:
    """Write cells as a workbook: numbers as numbers, dates as date cells, text as text."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    page = book.add_worksheet(tab)
    style = book.add_format({"num_format": date_format})
    for row, cells in enumerate(rows):
        for column, cell in enumerate(cells):
            if isinstance(cell, date):
                page.write_datetime(row, column, cell, style)
            elif isinstance(cell, int | float):
                page.write_number(row, column, cell)
            elif cell != "":
                page.write_string(row, column, str(cell))
    book.close()
    return buffer.getvalue()


@pytest.fixture(scope="session")
def as_csv() -> Callable[..., bytes]:
    """Return the writer of csv files."""
    return csv_bytes


@pytest.fixture(scope="session")
def as_xlsx() -> Callable[..., bytes]:
    """Return the writer of workbooks."""
    return xlsx_bytes


@pytest.fixture(scope="session")
def unfolded(plan: Plan) -> Callable[..., Unfolded]:
    """Unfold cells written as csv."""

    def run(rows: Cells, separator: str = ",", name: str = "card.csv") -> Unfolded:
        return unfold(read_sheet(csv_bytes(rows, separator), name)[0], plan)

    return run


@pytest.fixture(scope="session")
def judge(plan: Plan, known: Known, unfolded: Callable[..., Unfolded]) -> Callable[..., Checked]:
    """Judge cells written as csv; `other` are further sheets of the same upload."""

    def run(
        rows: Cells, separator: str = ",", other: Sequence[Cells] = (), past: Known | None = None
    ) -> Checked:
        sheets = [unfolded(rows, separator, "card.csv")]
        sheets += [unfolded(cells, ",", f"other{n}.csv") for n, cells in enumerate(other)]
        return check(sheets, plan, past or known)[0]

    return run


@pytest.fixture(scope="session")
def said() -> Callable[[Checked], list[dict[str, Any]]]:
    """Return every reason of every held row, with the row's cell and text beside it."""

    def run(checked: Checked) -> list[dict[str, Any]]:
        return [
            {**reason, "cell": row["cell"], "text": row["text"], "row": row["row"]}
            for row in checked.held.to_dicts()
            for reason in json.loads(row["reasons"])
        ]

    return run


@pytest.fixture(scope="session")
def slide_card() -> Callable[..., list[list[object]]]:
    """Return a slide card whose readings are all usual; `changes` puts other text into cells."""

    def run(
        serial: str = "TH-1001",
        day: str = "2026-05-12",
        changes: dict[tuple[int, int], object] | None = None,
        shift: float = 0.0,
        **head: str,
    ) -> list[list[object]]:
        labels = {"Card": "Slide card", "Serial": serial, "Model": "tenor", "Date": day, "Person": "AB",
                  "Micrometer": "MIC-1", "Bore gauge": "BG-1", **head}  # fmt: skip
        rows: list[list[object]] = [[label, text] for label, text in labels.items()]
        rows += [[], ["Leg", "Station", "Direction", "Surface", "Inner OD [mm]", "Outer bore [mm]"]]
        number = int(serial[-2:])
        for leg in ("upper", "lower"):
            for at, station in enumerate(("mouth", "middle", "crook")):
                for direction in (0, 90):
                    wobble = ((number * 7 + at * 3 + direction // 90 * 5 + len(leg)) % 9 - 4) / 1000
                    inner, bore = f"{13.9 + shift + wobble:.3f}", f"{14.05 - wobble / 2:.3f}"
                    rows.append([leg, station, direction, "stocking", inner, bore])
        for (row, column), text in (changes or {}).items():
            rows[len(labels) + 2 + row][column] = text
        return rows

    return run
