"""What a gauge touched in a small invented workshop: the last good check of the day asked for counts."""

import json
import shutil
from datetime import date, timedelta

import pytest

PLAN = """
workshop: {name: Reed Lane Brass, serial_prefix: A, time_zone: UTC, lead: ML}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.1, daily_check: true,
          check_tolerance: 0.2}]
cards:
  - {id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise]}
  - {id: gauge-check, title: Gauge check, source: bench, event: gauge-check}
stages:
  - id: bow
    name: Bow
    characteristics: [{id: rise, name: Rise, unit: mm, pool: all, limits: [{lower: 46, upper: 54}]}]
"""
FIRST = date(2026, 3, 2)
CHECKS = {0: 0.0, 1: 0.1, 4: 0.6, 5: 0.0, 6: 0.1}
"""Days after the first: how far off the gauge was; off on the fifth, after two days without a check."""

ZEROED = ("no", "yes")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    from qc.jobs.upload import upload
    from qc.jobs.workshop import open_workshop

    place = tmp_path_factory.mktemp("reed") / "shop"
    place.mkdir()
    (place / "plan.yaml").write_text(PLAN)
    bows = "".join(f"A-{n:02d},alto,{FIRST + timedelta(n)},FT,HG-1,50.{n}\n" for n in range(7))
    checks = "".join(f"{FIRST + timedelta(n)},HG-1,{off},{ZEROED[off > 0.5]}\n" for n, off in CHECKS.items())
    workshop = open_workshop(place, as_of=FIRST + timedelta(6))
    sheets = [
        ("bow.csv", "Card,Bow card\n\nSerial,Model,Date,Person,Gauge,Rise\n" + bows),
        ("check.csv", "Card,Gauge check\n\nDate,Gauge,Deviation,Zeroed\n" + checks),
    ]
    # the bows come in first: later than the check that was off they would be held
    for name, text in sheets:
        receipt = upload(workshop, [(name, text.encode())])
        assert not [sheet for sheet in receipt.to_dict()["sheets"] if sheet["held"]]
    workshop.store.close()
    return place


@pytest.mark.parametrize(
    "days, serials, until",
    [(3, ["A-02", "A-03"], "; "), (4, ["A-02", "A-03"], ", until it was zeroed on 6 Mar; ")],
    ids=["unchecked", "found off and zeroed"],
)
def test_of_a_past_day_the_good_check_before_it_counts(folder, command, days, serials, until):
    day = FIRST + timedelta(days)
    words = ("--gauge", "HG-1", "--since", "last-good-check", "--as-of", day, "--workshop", folder)
    said = command("also", *words).stdout
    assert f"the day after its last good check on 3 Mar{until}" in said.splitlines()[0]
    assert [line.split()[0] for line in said.splitlines()[1:]] == serials


def test_what_was_found_off_stays_named_after_the_next_good_check(folder):
    from qc.jobs.also import also
    from qc.jobs.board import StoreBoardData
    from qc.jobs.workshop import open_workshop

    workshop = open_workshop(folder, as_of=FIRST + timedelta(6))
    found = also(workshop, "gauge", "HG-1", since="last-good-check")
    workshop.store.close()
    assert found.pieces == ()
    ((doubt, serials),) = found.doubts
    assert serials == {"A-02": None, "A-03": None} and doubt.off == FIRST + timedelta(4)
    head = found.to_text().splitlines()[0]
    assert (
        "found 0.6 mm off on 6 Mar 2026, last known good on 3 Mar 2026: 2 pieces in between (A-02, A-03)."
        in head
    )
    board = StoreBoardData(folder, FIRST + timedelta(6))
    assert board.gauge_touched("HG-1").sentence == head
    (row,) = found.to_dict()["doubts"]
    assert (row["first"], row["last"], row["pieces"]) == ("2026-03-04", "2026-03-05", list(serials))
    assert row["measured_again"] == {}


@pytest.mark.parametrize("days", [3, 6], ids=["not good yet", "good since"])
def test_what_was_measured_again_since_is_listed_and_marked(folder, tmp_path, command, days):
    """The list answers what the gauge read while it was off; what of it is still to do stands beside it."""
    shop = shutil.copytree(folder, tmp_path / "shop")
    day = FIRST + timedelta(days)
    later = day.strftime("%-d %b")
    text = f"Card,Bow card\n\nSerial,Model,Date,Person,Gauge,Rise\nA-02,alto,{day},FT,,50.1\n"
    (tmp_path / "again.csv").write_text(text)
    told = command("upload", tmp_path / "again.csv", "--as-of", day, "--workshop", shop)
    assert "1 accepted" in told.stdout
    words = ("also", "--gauge", "HG-1", "--since", "last-good-check", "--as-of", day, "--workshop", shop)
    said, found = command(*words).stdout, json.loads(command(*words, "--json").stdout)
    if days == 6:
        assert "2 pieces in between (A-02, A-03); measured again since: A-02." in said.splitlines()[0]
        (doubt,) = found["doubts"]
        assert doubt["pieces"] == ["A-02", "A-03"] and doubt["measured_again"] == {"A-02": day.isoformat()}
    else:
        assert f"A-02  4 Mar  bow, still here, measured again on {later}" in said
        assert [one["measured_again"] for one in found["pieces"]] == [day.isoformat(), None]
    held = json.loads(command("hold", "--json", *words[5:]).stdout)["pieces"]
    assert {row["serial"] for row in held if row["why"] == "gauge"} == {"A-03"}


def test_the_list_to_hold_counts_the_same_pieces(folder):
    from qc.jobs.also import also
    from qc.jobs.pieces import hold_list
    from qc.jobs.workshop import open_workshop

    for days in (3, 6):
        workshop = open_workshop(folder, as_of=FIRST + timedelta(days))
        found = also(workshop, "gauge", "HG-1", since="last-good-check")
        held = {row.serial for row in hold_list(workshop).rows if row.why == "gauge"}
        workshop.store.close()
        assert {"A-02", "A-03"} == held
        assert held == {p.serial for p in found.pieces} | {s for _, own in found.doubts for s in own}


def test_of_a_gauge_that_was_never_checked_all_counts_and_it_is_said(tmp_path):
    from qc.jobs.also import also
    from qc.jobs.upload import upload
    from qc.jobs.workshop import open_workshop

    (tmp_path / "plan.yaml").write_text(PLAN)
    workshop = open_workshop(tmp_path, as_of=FIRST)
    rows = f"Card,Bow card\n\nSerial,Model,Date,Person,Gauge,Rise\nA-01,alto,{FIRST},FT,HG-1,50.1\n"
    upload(workshop, [("bow.csv", rows.encode())])
    found = also(workshop, "gauge", "HG-1", since="last-good-check")
    workshop.store.close()
    assert [piece.serial for piece in found.pieces] == ["A-01"]
    said = "gauge HG-1 touched 1 piece (it has never been checked, so all it read counts); 0 left the shop."
    assert found.to_text().splitlines()[0] == said
