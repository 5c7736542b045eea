"""What was known on a day: against the same workshop lived through hand-in by hand-in, and asked each evening."""

import json
from contextlib import redirect_stderr, redirect_stdout
from datetime import date, timedelta
from io import StringIO
from types import SimpleNamespace

import numpy as np
import pytest

from qc.cli.main import main
from qc.jobs.errors import JobError
from qc.jobs.signals import list_signals
from qc.jobs.status import status
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.store import KnownThen

PLAN = """
workshop: {name: Fern Weir Brass, time_zone: Pacific/Auckland, lead: ML, false_signals_per_month: 0.5}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [jig, unknown]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.1}]
cards:
  - {id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise, width]}
  - {id: lacquer, title: Lacquer card, source: bench, stage: lacquer, characteristics: [spots]}
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{lower: 46, upper: 54}]}
      - {id: width, name: Width, unit: mm, pool: all, limits: [{lower: 77, upper: 83}]}
  - id: lacquer
    name: Lacquer
    characteristics:
      - {id: spots, name: Spots, unit: count, kind: count, pool: all}
"""
FIRST = date(2026, 2, 26)
DAYS = 26


def run(*words):
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = main([str(word) for word in words])
    return SimpleNamespace(exit_code=code, stdout=out.getvalue(), stderr=err.getvalue())


class Lived:
    """An invented workshop, its days one after the other, and what it answered on each evening.

    On day 11 bows begin to rise; a card of day 5 comes on day 17; on day 16 a signal is closed, on day 20 the
    limits are changed, and on day 22 a reading is corrected.
    """

    def __init__(self, folder):
        self.folder, self.draw, self.day = folder / "shop", np.random.default_rng(71), FIRST
        self.status, self.signals, self.made = {}, {}, 0

    def ask(self, *words, code=0):
        words = (*words, "--workshop", self.folder, "--as-of", self.day)
        found = run(*words, "--json")
        assert found.exit_code == code, found.stderr
        return json.loads(found.stdout)

    def live(self):
        assert run("new", self.folder, "--as-of", self.day).exit_code == 0
        (self.folder / "plan.yaml").write_text(PLAN)
        late = []
        for number in range(DAYS):
            self.day = FIRST + timedelta(days=number)
            if number % 7 not in (5, 6):  # a working day
                bows, spots = self.cards(56.0 if number >= 11 else 50.0)
                if number == 4:
                    late = [spots]
                else:
                    self.ask("upload", bows, spots, "--who", "FT")
            if number == 16:
                own = self.ask("signals")["signals"][0]["id"]
                words = ("--cause", "jig", "--action", "shimmed", "--outcome", "stays", "--who", "ML")
                self.ask("signals", "close", own, *words)
            if number == 17:
                self.ask("upload", *late, "--who", "FT")
            if number == 20:
                (self.folder / "plan.yaml").write_text(PLAN.replace("upper: 83", "upper: 80.6"))
            if number == 22:
                self.ask("correct", "B-003/rise", "--set", "value=50.9", "--who", "ML", "--why", "misread")
            self.status[self.day] = self.ask("status")
            self.signals[self.day] = self.ask("signals", "--all")
        return self

    def cards(self, level):
        bows, spots = ["serial,model,date,person,gauge,rise,width"], ["serial,model,date,person,spots"]
        for _ in range(3):
            self.made += 1
            serial = f"B-{self.made:03d}"
            rise, width = level + self.draw.normal(), 80 + 0.4 * self.draw.normal()
            bows.append(f"{serial},alto,{self.day},FT,HG-1,{rise:.1f},{width:.1f}")
            spots.append(f"{serial},alto,{self.day},FT,{self.draw.poisson(2)}")
        found = []
        for name, rows in (("bow", bows), ("lacquer", spots)):
            found.append(self.folder.parent / f"{name}-{self.day}.csv")
            found[-1].write_text("\n".join(rows))
        return found


@pytest.fixture(scope="module")
def lived(tmp_path_factory):
    return Lived(tmp_path_factory.mktemp("known")).live()


def test_every_day_is_answered_as_it_was_that_evening(lived):
    workshop = open_workshop(lived.folder, as_of=lived.day)
    told = set()
    for day, evening in lived.status.items():
        known = workshop.known(day)
        found, listed = status(known).to_dict(), list_signals(known, all_states=True).to_dict()
        known.store.close()
        assert found.pop("known") == day.isoformat()
        evening.pop("known", None)
        assert found == evening, day
        assert listed == lived.signals[day], day
        told |= {(one["behaviour"], one["capable"]) for one in found["series"]}
    workshop.store.close()
    assert len(told) > 3  # the days do differ: this test could fail
