"""No piece outside a limit at any place is missing from the list, in workshops that strangers made."""

import importlib.util
import shutil
import sys
from datetime import date
from pathlib import Path

import pytest

from qc.jobs.pieces import hold_list
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.plan import PLACE

STRANGERS = Path(__file__).parents[2] / "strangers"
MAKERS = sorted(STRANGERS.glob("*/make.py"))


@pytest.fixture(params=MAKERS, ids=[file.parent.name for file in MAKERS])
def stranger(request, tmp_path, monkeypatch):
    """Return a workshop with three months of a stranger's cards, taken in at once."""
    file = request.param
    monkeypatch.syspath_prepend(str(file.parent))
    spec = importlib.util.spec_from_file_location(f"made_{file.parent.name}", file)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    module.make(tmp_path / "given", 3, months=3)
    days = sorted((tmp_path / "given" / "hand_in").iterdir())
    (tmp_path / "shop").mkdir()
    shutil.copyfile(tmp_path / "given" / "plan.yaml", tmp_path / "shop" / "plan.yaml")
    workshop = open_workshop(tmp_path / "shop", as_of=date.fromisoformat(days[-1].name))
    sheets = [sheet for day in days for sheet in sorted(day.iterdir())]
    upload(workshop, [(sheet.name, sheet.read_bytes()) for sheet in sheets])
    yield workshop
    workshop.store.close()


def outside(workshop):
    """Go over every reading one by one, as somebody with the plan and the cards in hand would."""
    now = {}
    for row in workshop.store.readings(until=workshop.today).iter_rows(named=True):
        figure = workshop.plan.characteristic(row["stage"], row["characteristic"])
        if row["serial"] and figure is not None and figure.kind == "measured":
            key = (row["serial"], row["stage"], figure.id, *(row[part] for part in PLACE))
            now.setdefault(key, {}).setdefault(row["day"], []).append((row["value"], row["model"] or ""))
    for (serial, stage, name, *_), days in now.items():
        figure = workshop.plan.characteristic(stage, name)
        newest = days[max(days)]
        value = sum(one for one, _ in newest) / len(newest)
        limits = workshop.plan.limits(figure, newest[0][1], max(days))
        below = limits.lower is not None and value < limits.lower - 1e-9 * abs(limits.lower)
        if below or (limits.upper is not None and value > limits.upper + 1e-9 * abs(limits.upper)):
            yield serial, stage, name


def test_no_piece_outside_at_any_place_is_missing(stranger):
    found = hold_list(stranger, judge=False)
    listed = {(row.serial, row.stage, row.characteristic) for row in found.rows if row.why == "limit"}
    wrong = set(outside(stranger))
    assert wrong - listed == set()
    # and of the figures that are read, none is there without being outside
    derived = {(s.id, c.id) for s in stranger.plan.stages for c in s.characteristics if c.derive}
    assert {key for key in listed if key[1:] not in derived} == wrong

    serials = {*stranger.store.pieces()["serial"], *stranger.store.events("part")["subject"]}
    assert {row.serial for row in found.rows} <= serials
    assert all(row.name and row.because and row.next_step and row.whereabouts.words for row in found.rows)
