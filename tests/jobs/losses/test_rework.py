"""Rework and yields of a whole workshop: the contract of the command, days, past days, and the cost."""

import json
from datetime import date

import pytest
from scipy import stats

from qc.errors import UsageError
from qc.jobs.losses import rework, upstream, yields_of
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.plan import template_text

PLAN = """
workshop: {name: Osier Bend, hourly_rate: 42.5, currency: EUR, lead: AA, days_off: []}
models: [{id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2945}]
stages:
  - id: bell
    name: Bell
    characteristics:
      - {id: runout, name: Run-out, unit: um, limits: [{upper: 40}]}
  - {id: joints, name: Joints}
people: [{code: AA}]
cards:
  - {id: bell-card, title: Bell card, source: bench, stage: bell, characteristics: [runout]}
  - {id: rework, title: Rework list, source: bench, event: rework}
  - {id: play-test, title: Play-test list, source: bench, event: play-test}
causes: [soft-solder, dent]
"""
BELLS = """Card,Bell card
Date,Serial,Model,Run-out [um],Person
2026-03-02,OB-1,tenor,22,AA
2026-03-03,OB-2,tenor,47,AA
2026-03-04,OB-2,tenor,31,AA
2026-03-30,OB-3,tenor,18,AA
2026-04-02,OB-4,tenor,25,AA
"""
REWORKED = """Card,Rework list
Date,Serial,Model,Stage,Hours,Cause,Person
2026-03-03,OB-2,tenor,bell,0.75,dent,AA
2026-03-11,OB-1,tenor,joints,1.1,soft-solder,AA
2026-04-01,OB-3,tenor,bell,0.2,dent,AA
2026-04-09,OB-4,tenor,,0.5,,AA
"""
PLAYED = """Card,Play-test list
Date,Serial,Model,Person,Verdict
2026-03-20,OB-1,tenor,AA,pass
2026-03-21,OB-2,tenor,AA,rework
"""


@pytest.fixture
def osier(tmp_path):
    """Return a small workshop of a stranger with four bells, four reworks and two play-tests."""
    (tmp_path / "plan.yaml").write_text(PLAN, "utf-8")
    with open_workshop(tmp_path, as_of=date(2026, 4, 10)).store:
        pass
    workshop = open_workshop(tmp_path, as_of=date(2026, 4, 10))
    cards = [("bells.csv", BELLS), ("rework.csv", REWORKED), ("played.csv", PLAYED)]
    receipts = upload(workshop, [(name, text.encode()) for name, text in cards])
    assert [one["held"] for one in receipts.to_dict()["sheets"]] == [0, 0, 0]
    yield workshop
    workshop.store.close()


def test_a_month_counted_by_hand(osier):
    """Of March: two of three bells pass (OB-2 was mended), no joint does, one of two is played well."""
    found = rework(osier, first=date(2026, 3, 1), last=date(2026, 3, 31)).to_dict()
    assert found["hours"] == 1.85
    assert [(one["cause"], one["hours"], one["pieces"]) for one in found["causes"]] == [
        ("soft-solder", 1.1, 1),
        ("dent", 0.75, 1),
    ]
    assert sum(one["share"] for one in found["causes"]) == pytest.approx(1.0)
    told = [(one["stage"], one["passed"], one["of"]) for one in found["first_pass"]]
    assert told == [("bell", 2, 3), ("joints", 0, 1), ("play-test", 1, 2)]
    exact = stats.binomtest(2, 3).proportion_ci(0.95, method="exact")
    assert found["first_pass"][0]["interval"] == pytest.approx(list(exact))
    assert found["rolled"]["share"] == 0.0 and found["rolled"]["interval"][0] == 0.0
    assert found["cost"] == {"of_an_hour": 42.5, "currency": "EUR", "all": 78.625}


def test_april_has_the_failure_that_came_up_in_april(osier):
    bell = yields_of(osier, date(2026, 4, 1), date(2026, 4, 30))[0]
    assert (bell.passed, bell.of) == (1, 2)
    assert [(one.serial, one.why) for one in bell.failed] == [("OB-3", "reworked: dent")]


def test_all_on_record_is_the_sum_of_the_months(osier):
    whole = rework(osier)
    assert (whole.first, whole.last, whole.hours) == (date(2026, 3, 2), date(2026, 4, 10), 2.55)
    assert [one.name for one in whole.causes] == ["soft solder", "dent", "no cause given"]
    bell = whole.yields[0]
    assert (bell.passed, bell.of) == (2, 4)  # OB-1 and OB-4


def test_the_text_adds_up_and_says_what_is_few(osier):
    said = rework(osier).to_text()
    assert "2.55 h of rework from 3 causes, 108 EUR at 42.5 EUR an hour." in said
    assert "2 of 4" in said and "too few to tell" in said
    costs = [int(line.split()[-2]) for line in said.splitlines() if line.endswith("EUR")]
    assert sum(costs) == 108


def test_days_the_wrong_way_round_are_refused(osier):
    with pytest.raises(UsageError, match="the first lies after the last"):
        rework(osier, first=date(2026, 4, 2), last=date(2026, 4, 1))


def test_a_workshop_without_cards(tmp_path):
    (tmp_path / "plan.yaml").write_text(PLAN, "utf-8")
    workshop = open_workshop(tmp_path)
    found = rework(workshop).to_dict()
    workshop.store.close()
    assert found["causes"] == [] and found["first_pass"] == []
    assert found["rolled"] == {"share": None, "interval": None}


def test_too_few_pieces_are_said_to_be_too_few(osier):
    found = upstream(osier).results
    assert found and all(one.sentence.startswith("Too few pieces:") for one in found)
    with pytest.raises(UsageError, match="'bell/runnout' is no charted figure"):
        upstream(osier, result="bell/runnout")


def test_the_command_keeps_its_contract_on_the_sample_workshop(demo_folder, command):
    words = ["--from", "2026-10-01", "--to", "31 Oct 2026", "--workshop", demo_folder, "--json"]
    answer = command("rework", *words)
    assert answer.exit_code == 0
    found = json.loads(answer.stdout)
    assert {"hours", "causes", "first_pass", "rolled"} <= set(found) and "cost" not in found
    assert found["hours"] == pytest.approx(sum(one["hours"] for one in found["causes"]))
    product = 1.0
    for one in found["first_pass"]:
        assert {"stage", "passed", "of", "share", "interval"} <= set(one)
        low, high = one["interval"]
        assert 0 <= low <= one["share"] <= high <= 1 and one["share"] == one["passed"] / one["of"]
        product *= one["share"]
    assert found["rolled"]["share"] == pytest.approx(product)
    assert (
        command("rework", "--from", "2026-11-02", "--to", "2026-11-01", "--workshop", demo_folder).exit_code
        == 2
    )


def test_loose_tubes_are_no_slides_that_came_to_the_stage(tmp_path):
    (tmp_path / "plan.yaml").write_text(template_text(), "utf-8")
    shop = open_workshop(tmp_path, as_of=date(2026, 3, 20))
    head = "Card;Slide card\nModel;tenor\nDate;2026-03-10\nPerson;B1\n\n"
    columns = "Serial;Leg;Station;Direction;Surface;Inner OD;Outer bore\n"
    ends = [(leg, at) for leg in ("upper", "lower") for at in ("mouth", "middle", "crook")]

    def hand_in(name, *rows):
        lines = [f"{s};{leg};{at};0;stocking;{inner};{outer}" for s, inner, outer in rows for leg, at in ends]
        return upload(shop, [(name, (head + columns + "\n".join(lines) + "\n").encode())])

    try:
        hand_in("slides.csv", ("TB1001", 14.6, 14.75), ("TB1002", 14.61, 14.74))
        slides = [
            one.of for one in yields_of(shop, date(2026, 3, 1), date(2026, 3, 31)) if one.stage == "slide"
        ]
        received = hand_in("rack.csv", ("IN7", 14.6, ""), ("OU3", "", 14.75))
        assert received.sheets[0].count.accepted == 2 * len(ends)
        assert (
            [one.of for one in yields_of(shop, date(2026, 3, 1), date(2026, 3, 31)) if one.stage == "slide"]
            == slides
            == [2]
        )
    finally:
        shop.store.close()
