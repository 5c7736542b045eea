"""The whole workshop from one seed: every sheet, and the file that says what is planted."""

from __future__ import annotations

import shutil
from datetime import timedelta
from importlib.resources import files
from pathlib import Path

import yaml

from qc.plan import Plan
from sample_measurements.make import scenario
from sample_measurements.make.body import assembly_cards, bell_maps, joints_cards
from sample_measurements.make.draw import drawing_logs, tube_bores
from sample_measurements.make.finish import lacquer_cards, polish_cards
from sample_measurements.make.flow import Flow, plan_flow
from sample_measurements.make.mishaps import spoil_sheets
from sample_measurements.make.office import gauge_checks, office_books
from sample_measurements.make.sheets import Sheet
from sample_measurements.make.slide import force_cards, rack_card, slide_cards, valve_cards
from sample_measurements.make.truth import planted
from sample_measurements.make.tuning import tuning_cards
from sample_measurements.make.workdays import working_days

SEED = 1


def make_workshop(folder: Path, seed: int = SEED) -> list[Path]:
    """Write ``plan.yaml``, ``planted.yaml`` and all sheets of a workshop below a folder.

    Parameters
    ----------
    folder : Path
        Where to write; made if missing. An old ``sheets`` folder in it is removed first.
    seed : int
        Draws every measured figure anew; flow, tools and what is planted stay the same.

    Returns
    -------
    list of Path
        The sheets, in order of name.
    """
    source = Path(str(files("sample_measurements"))) / "plan.yaml"
    contents, truth = make_sheets(seed)
    folder.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(folder / "sheets", ignore_errors=True)
    if source.resolve() != (folder / "plan.yaml").resolve():
        shutil.copyfile(source, folder / "plan.yaml")
    (folder / "planted.yaml").write_text(truth, encoding="utf-8", newline="\n")
    written = []
    for name, data in sorted(contents.items()):
        path = folder / "sheets" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        written.append(path)
    return written


def make_sheets(seed: int = SEED) -> tuple[dict[str, bytes], str]:
    """Return every sheet's content by its path, and the text of ``planted.yaml``."""
    plan = sample_plan()
    flow = sample_flow(plan)
    sheets = _all_sheets(flow, plan, seed)
    mishaps = spoil_sheets(sheets, seed)
    sheets.append(rack_card(flow, seed))  # behind the mishaps: they fall on the cells they always fell on
    text = "# Made by the program beside it; see README.md. Do not edit.\n"
    text += yaml.safe_dump(planted(flow, mishaps, seed), sort_keys=False, allow_unicode=True, width=110)
    return {sheet.path: sheet.to_bytes() for sheet in sheets}, text


def sample_plan() -> Plan:
    """Return the sample workshop's plan."""
    text = (files("sample_measurements") / "plan.yaml").read_text(encoding="utf-8")
    return Plan.model_validate(yaml.safe_load(text))


def sample_flow(plan: Plan) -> Flow:
    """Return the way of all instruments and tubes through the shop."""
    first = scenario.FIRST_DAY - timedelta(days=28)
    return plan_flow(working_days(first, scenario.LAST_DAY + timedelta(days=70), plan.workshop.days_off))


def _all_sheets(flow: Flow, plan: Plan, seed: int) -> list[Sheet]:
    """Make every bench's sheets; each draws from a stream of its own, so their order does not matter."""
    bores = tube_bores(flow, seed)
    return [
        *drawing_logs(flow, bores, seed),
        *bell_maps(flow, seed),
        *joints_cards(flow, seed),
        *assembly_cards(flow, seed),
        *slide_cards(flow, bores, seed),
        *force_cards(flow, seed),
        *valve_cards(flow, seed),
        *tuning_cards(flow, plan, seed),
        *polish_cards(flow, seed),
        *lacquer_cards(flow, seed),
        *office_books(flow, plan, seed),
        *gauge_checks(flow, seed),
    ]
