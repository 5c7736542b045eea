"""An invented workshop whose bows rise too far from the 31st on, found in one evening, for tests of lives."""

import json
import shutil
from contextlib import redirect_stderr, redirect_stdout
from datetime import date, timedelta
from io import StringIO
from types import SimpleNamespace

import numpy as np
import pytest

from qc.cli.main import main

PLAN = """
workshop: {name: Elder Bank Brass, time_zone: UTC, lead: ML, false_signals_per_month: 0.5}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [jig, unknown]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.1}]
cards:
  - {id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise]}
  - {id: out, title: Shipping list, source: bench, event: shipped}
  - {id: back, title: Returns, source: bench, event: returned}
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{lower: 40, upper: 60}]}
"""
FIRST, LAST, MADE = date(2026, 3, 2), date(2026, 3, 11), 36
MENDED = ("--cause", "jig", "--action", "jig shimmed", "--outcome", "mended")


class Shop:
    """An invented workshop: 30 bows as they should be, then six that rise too far, all inside wide limits."""

    mended = MENDED

    def __init__(self, command, folder, *, lots=False):
        self.command, self.folder, self.day, self.lots = command, folder / "shop", FIRST, lots
        self.draw, self.made = np.random.default_rng(151), 0

    def begin(self):
        self.folder.mkdir()
        (self.folder / "plan.yaml").write_text(PLAN)
        for level, pieces, days in ((50.0, 5, 6), (56.0, 2, 3)):
            for _ in range(days):
                self.later().write(self.bent(level, pieces))
        self.ask("upload", *sorted(self.folder.parent.glob("serial-*.csv")), "--who", "FT")
        return self

    def say(self, *words):
        found = self.command(*words, "--workshop", self.folder, "--as-of", self.day)
        assert found.exit_code == 0, found.output
        return found.stdout

    def ask(self, *words):
        return json.loads(self.say(*words, "--json"))

    def later(self, days=1):
        self.day += timedelta(days=days)
        return self

    def hand_in(self, head, rows):
        self.ask("upload", self._sheet(head, rows), "--who", "FT")

    def _sheet(self, head, rows):
        sheet = self.folder.parent / f"{head[:9].replace(',', '-')}-{self.day}.csv"
        sheet.write_text("\n".join([head, *rows]))
        return sheet

    def bent(self, level, pieces):
        serials = [f"A-{number:03d}" for number in range(self.made + 1, self.made + pieces + 1)]
        self.made += pieces
        return {serial: level + self.draw.normal() for serial in serials}

    def bend(self, level, pieces):
        self.later().measure(self.bent(level, pieces))

    def write(self, figures):
        rows = [f"{serial},alto,{self.day},FT,HG-1,{figure:.1f}" for serial, figure in figures.items()]
        head = "serial,model,date,person,gauge,rise"
        if self.lots:  # a lot of its own from the first bow that rises too far on
            rows = [f"{row},{'T-2' if row >= 'A-031' else 'T-1'}" for row in rows]
            head += ",batch"
        return self._sheet(head, rows)

    def measure(self, figures):
        self.ask("upload", self.write(figures), "--who", "FT")

    def shipping(self, *serials):
        return self._sheet("serial,shipped", [f"{serial},{self.day}" for serial in serials])

    def ship(self, *serials):
        self.ask("upload", self.shipping(*serials), "--who", "FT")

    def signal(self):
        return self.ask("signals", "show", "1")

    def close(self):
        return self.ask("signals", "close", "1", *MENDED, "--who", "ML")

    def waiting(self, why="signal"):
        rows = self.ask("hold")["pieces"]
        return {row["serial"]: row for row in rows if row["why"] == why and not row["released"]}


def run_aside(*words):
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = main([str(word) for word in words])
    return SimpleNamespace(exit_code=code, stdout=out.getvalue(), output=out.getvalue() + err.getvalue())


@pytest.fixture(scope="session")
def aside():
    """Return a function that runs the words of a command, for workshops that several tests copy."""
    return run_aside


@pytest.fixture(scope="session")
def bent_bows(made_once):
    """Return the folder of the workshop as it stands in the evening of `LAST`; only to be copied."""

    def make(folder):
        folder.mkdir()
        Shop(run_aside, folder).begin()

    return made_once("bent-bows", make) / "shop"


@pytest.fixture(scope="session")
def lots_of_bows(made_once):
    """Return the folder of the same workshop where each bow bears its lot; only to be copied."""

    def make(folder):
        folder.mkdir()
        Shop(run_aside, folder, lots=True).begin()

    return made_once("lots-of-bows", make) / "shop"


@pytest.fixture
def lots(command, lots_of_bows, tmp_path):
    """Return a copy of the workshop whose bows bear their lots, to write into."""
    own = Shop(command, tmp_path, lots=True)
    shutil.copytree(lots_of_bows, own.folder)
    own.made, own.day = MADE, LAST
    return own


@pytest.fixture
def bows(command, bent_bows, tmp_path):
    """Return a copy of the workshop, to write into."""
    own = Shop(command, tmp_path)
    shutil.copytree(bent_bows, own.folder)
    own.made, own.day = MADE, LAST
    return own
