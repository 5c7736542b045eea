"""A bad batch used by turns with a good one: told on the first screen, and its pieces are held."""

import json
from datetime import date, timedelta

import numpy as np

PLAN = """
workshop: {name: Rowan Ford Brass, time_zone: UTC, lead: ML, false_signals_per_month: 1}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [batch, unknown]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.1}]
cards: [{id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise]}]
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{target: 50, lower: 40, upper: 60}]}
"""
PIECES, FIRST = 70, date(2026, 3, 2)


def test_its_pieces_are_told_and_held_until_they_are_released(command, tmp_path):
    draw, shop = np.random.default_rng(1513), tmp_path / "shop"
    shop.mkdir()
    (shop / "plan.yaml").write_text(PLAN)
    rows, bad = ["serial,model,date,person,gauge,batch,rise"], []
    for n in range(PIECES):
        serial, worse = f"A-{n:03d}", n >= 30 and n % 2 == 0 and len(bad) < 12
        bad += [serial] if worse else []
        rise = 50.0 + 3.0 * worse + draw.normal()
        day = FIRST + timedelta(days=n // 2)
        rows.append(f"{serial},alto,{day},FT,HG-1,{'K-2' if worse else 'K-1'},{rise:.1f}")
    (tmp_path / "bow.csv").write_text("\n".join(rows))

    def say(*words):
        found = command(*words, "--workshop", shop, "--as-of", FIRST + timedelta(days=40))
        assert found.exit_code == 0, found.output
        return found.stdout

    say("upload", tmp_path / "bow.csv", "--who", "FT")
    told = json.loads(say("status", "--json"))["levels_apart"]
    assert [(one["kind"], one["name"], one["serials"], one["bad"]) for one in told] == [
        ("batch", "K-2", bad, True)
    ]
    assert "Bow: Rise: pieces of batch K-2 come out" in say("status")
    held = [row for row in json.loads(say("hold", "--json"))["pieces"] if row["why"] == "batch"]
    assert sorted(row["serial"] for row in held) == bad
    assert (
        "pieces of batch K-2 come out" in held[0]["because"]
        and "batch K-2 is cleared" in held[0]["next_step"]
    )
    say("hold", "release", bad[0], "--who", "ML", "--why", "read twice, fits")
    left = [
        row
        for row in json.loads(say("hold", "--json"))["pieces"]
        if row["why"] == "batch" and not row["released"]
    ]
    assert sorted(row["serial"] for row in left) == bad[1:]
