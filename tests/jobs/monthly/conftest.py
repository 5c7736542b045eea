"""A small invented workshop of two months, quick to report on."""

import shutil
from datetime import date, timedelta
from types import SimpleNamespace

import pytest

from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop

PLAN = """
workshop: {name: Gannet Row Slides, time_zone: Europe/Oslo, lead: ML}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [bent-slide]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.1}]
cards:
  - {id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise]}
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, sensible: [30, 70], limits: [{lower: 46, upper: 54}]}
"""
MAY, JUNE = date(2026, 5, 4), date(2026, 6, 2)


def card(first, day, figures):
    rows = [f"B-{first + n:03d},alto,{day + timedelta(days=n)},FT,HG-1,{v}" for n, v in enumerate(figures)]
    return "\n".join(["serial,model,date,person,gauge,rise", *rows]).encode()


def hand_in(folder, day, name, data):
    workshop = open_workshop(folder, as_of=day, writes=True)
    upload(workshop, [(name, data)], who="FT")
    workshop.store.close()


@pytest.fixture(scope="package")
def made(tmp_path_factory):
    """A workshop with a card of May, one figure of it outside its limits, one row held; and one of June."""
    folder = tmp_path_factory.mktemp("closing") / "shop"
    folder.mkdir()
    (folder / "plan.yaml").write_text(PLAN)
    figures = [50.1, 49.8, 50.4, 49.9, 55.2, 50.0, 50.3, 49.7, 501]
    hand_in(folder, date(2026, 5, 29), "may.csv", card(1, MAY, figures))
    hand_in(folder, JUNE, "june.csv", card(30, date(2026, 6, 1), [50.2, 49.9]))
    return folder


@pytest.fixture
def shop(made, tmp_path):
    folder = shutil.copytree(made, tmp_path / "shop")
    opened = []

    def at(day, *, writes=True):
        opened.append(open_workshop(folder, as_of=day, writes=writes))
        return opened[-1]

    yield at
    for workshop in opened:
        workshop.store.close()


@pytest.fixture
def cards():
    """Return what makes and hands in cards of that workshop, and its plan."""
    return SimpleNamespace(plan=PLAN, card=card, hand_in=hand_in, june=JUNE)
