"""No signal leaves unanswered, and no piece held for one is let go, evening by evening."""

from datetime import date, timedelta

import numpy as np
import pytest
from lived import Lived

PLAN = """
workshop: {name: Thistle Yard Brass, time_zone: UTC, lead: ML, false_signals_per_month: 2}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [jig, unknown]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.01}]
cards: [{id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise, width]}]
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{target: 50, lower: 42, upper: 58}]}
      - {id: width, name: Width, unit: mm, pool: all, limits: [{target: 80, lower: 72, upper: 88}]}
"""
FIRST = date(2026, 3, 2)
PIECES, EACH = 72, 9
BATCHES = ("K-1", "K-2", "K-3")


def invented(folder, seed):
    """Sheets of a workshop by day: a die that mixes two batches, a jig put right by itself, a wide week."""
    draw = np.random.default_rng(seed)
    rise, width = 50 + draw.standard_normal(PIECES), 80 + draw.standard_normal(PIECES)
    batch = ["K-1" if n < 40 else BATCHES[1 + int(draw.integers(2))] for n in range(PIECES)]
    rise += [-3.5 * (one == "K-2") for one in batch]
    begin = int(draw.integers(20, 30))
    width[begin : begin + 7] += 4.0
    width[50:60] *= 1 + 0.02 * draw.standard_normal(10)
    folder.mkdir()
    days = []
    for number in range(0, PIECES, EACH):
        day = FIRST + timedelta(days=number // 3)
        rows = ["serial,model,date,person,gauge,batch,rise,width"]
        rows += [
            f"B-{n:03d},alto,{day},FT,HG-1,{batch[n]},{rise[n]:.2f},{width[n]:.2f}"
            for n in range(number, number + EACH)
        ]
        file = folder / f"bow-{day}.csv"
        file.write_text("\n".join(rows))
        days.append((day.isoformat(), [file]))
    return days


@pytest.mark.parametrize("seed", [1, 2])
def test_an_invented_workshop(tmp_path, seed):
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "plan.yaml").write_text(PLAN)
    lived = Lived(shop)
    for day, sheets in invented(tmp_path / "sheets", seed):
        lived.hand_in(day, sheets)
    assert lived.faults == []
    assert lived.counts["signals"] and lived.counts["joined"] and lived.counts["most pieces held"]
