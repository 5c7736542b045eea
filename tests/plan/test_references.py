"""What a plan uses it must declare, and only once."""

import pytest

from qc.plan import check_plan, dump_plan, load_plan

BASE = """\
workshop: {name: Two Benches, lead: QL, time_zone: UTC}
models:
  - {id: alto, name: Alto, family: altos, pedal_midi: 39, length_mm: 2196}
  - id: tenor
    name: Tenor
    family: tenors
    pedal_midi: 34
    length_mm: 2945
    valves: [{name: F, added_mm: 986}, {name: D, added_mm: 744, depends_on: F}]
stages:
  - id: slide
    name: Slide
    characteristics:
      - {id: inner_od, name: Stocking, unit: mm, gauge_class: micrometer, places: {leg: [upper, lower]}}
      - {id: outer_bore, name: Bore, unit: mm, wears_with: die}
      - {id: clearance, name: Clearance, unit: um, derive: {what: clearance}}
  - id: tuning
    name: Tuning
    characteristics:
      - {id: note, name: Note, unit: cent, places: {valve: [open, F, F+D], partial: [2, 3]}}
      - {id: wrap, name: Wrap, unit: mm, models: [tenor], derive: {what: wrap-length, valve: F}}
      - {id: p5, name: Partial 5, unit: cent, derive: {what: partial, partial: 5}}
gauges: [{id: MIC-1, name: Micrometer, gauge_class: micrometer, resolution: 0.001, unit: mm}]
people: [{code: QL}, {code: AB}]
tools: [{id: D1, name: Die, tool_class: die}]
cards:
  - {id: slide-card, title: Slide card, source: slide, stage: slide}
  - {id: log, title: Log, source: bench, stage: slide, characteristics: [outer_bore]}
  - {id: ship, title: Shipping, source: bench, event: shipped}
causes: [worn, handling]
"""


def test_the_base_is_good():
    assert check_plan(BASE) == []


CASES = [
    ("time_zone: UTC", "time_zone: Etc/Anywhere", "workshop.time_zone", "no known time zone", ""),
    ("time_zone: UTC", "time_zone: ../etc", "workshop.time_zone", "no known time zone", "Etc/GMT-1"),
    ("lead: QL", "lead: QLL", "workshop.lead", 'no person named "QLL"', '"QL"?'),
    ("id: alto", "id: TENOR", "models[1].id", "already used on line 3", "upper and lower case"),
    ("family: altos", "family: all", "models[0].family", "stands for every model", "another name"),
    ("name: D, added", "name: F, added", "models[1].valves[1].name", "already used", "its own"),
    ("depends_on: F", "depends_on: G", "models[1].valves[1].depends_on", 'named "G"', "D, F"),
    ("depends_on: F", "depends_on: D", "models[1].valves[1].depends_on", "depends on itself", "stands alone"),
    (
        "{name: F, added_mm: 986}",
        "{name: open, added_mm: 9}",
        "valves[0].name",
        "no valve pressed",
        "another",
    ),
    ("id: tuning", "id: slide", "stages[1].id", "already used", "its own"),
    ("id: outer_bore", "id: Inner_OD", "characteristics[1].id", "already used", "its own"),
    (
        "gauge_class: micrometer, places",
        "gauge_class: micrometre, places",
        "gauge_class",
        "no gauge",
        "micrometer",
    ),
    ("wears_with: die", "wears_with: press", "wears_with", 'no tool of class "press"', "`tools:`"),
    ("places: {leg:", "places: {legs:", "places.legs", 'no part of a place named "legs"', '"leg"?'),
    ("[upper, lower]", "[]", "places.leg", "names no places", "List them"),
    ("[upper, lower]", "[upper, Upper]", "places.leg[1]", "already used", "upper and lower case"),
    ("partial: [2, 3]", "partial: [2, third]", "places.partial[1]", "not a number", "Count from 1"),
    ("[open, F, F+D]", "[open, F, F+E]", "places.valve[2]", 'named "E"', "D, F, open"),
    ("models: [tenor]", "models: [tenro]", "models[0]", 'no model named "tenro"', '"tenor"?'),
    ("id: outer_bore, name: Bore", "id: bore, name: Bore", "derive", "does not have", '"outer_bore"'),
    ("what: wrap-length, valve: F", "what: wrap-length", "derive", "which valve", "`valve:`"),
    ("what: wrap-length, valve: F", "what: wrap-length, valve: G", "derive.valve", 'named "G"', "D, F"),
    ("what: partial, partial: 5", "what: partial", "derive", "which partial", "`partial:`"),
    ("id: note, name", "id: tone, name", "characteristics[1].derive", "does not have", '"note"'),
    ("{code: AB}", "{code: ql}", "people[1].code", "already used", "upper and lower case"),
    ("id: log,", "id: SHIP,", "cards[2].id", "already used", "its own"),
    ("title: Log", "title: shipping", "cards[2].title", "already used", "its own"),
    ("id: log,", "id: Shipping,", "cards[1].id", "also the title of another card", "recognised by both"),
    (
        "source: slide, stage: slide",
        "source: slide, stage: slid",
        "cards[0].stage",
        'named "slid"',
        '"slide"?',
    ),
    ("source: slide, stage: slide", "source: slide", "cards[0].stage", "but no stage", "`stage:`"),
    (
        "source: slide, stage: slide",
        "source: lacquer, stage: slide",
        "cards[0].source",
        "writes nothing",
        "thick",
    ),
    (
        ", characteristics: [outer_bore]",
        ", characteristics: [bore]",
        "characteristics[0]",
        '"bore"',
        "outer_bore",
    ),
    (
        ", characteristics: [outer_bore]",
        ", characteristics: [clearance]",
        "[0]",
        "is computed",
        "Take it out",
    ),
    (", event: shipped", "", "cards[2]", "neither readings nor an event", "`event:`"),
    ("[worn, handling]", "[worn, Worn]", "causes[1]", "already used", "upper and lower case"),
]


@pytest.mark.parametrize("old, new, field, problem, mend", CASES, ids=[f"{c[2]}: {c[3][:30]}" for c in CASES])
def test_what_is_used_must_be_declared(old, new, field, problem, mend):
    assert BASE.count(old) == 1, f"{old!r} must stand once in the base"
    found = [f for f in check_plan(BASE.replace(old, new)) if f.field.endswith(field)]
    assert len(found) == 1, check_plan(BASE.replace(old, new))
    assert problem in found[0].problem
    assert mend in found[0].mend
    assert found[0].line > 0


def test_a_card_that_lists_no_figures_holds_those_of_its_stage_that_are_not_computed():
    plan = load_plan(BASE.replace(", characteristics: [outer_bore]", ""))
    log = next(card for card in plan.cards if card.id == "log")
    stage = plan.stage(log.stage)
    assert [c.id for c in plan.figures_on(log)] == [c.id for c in stage.characteristics if c.derive is None]
    assert {c.id for c in stage.characteristics} > {c.id for c in plan.figures_on(log)}
    assert load_plan(dump_plan(plan)) == plan


def test_a_card_of_a_stage_where_all_is_computed_holds_nothing():
    computed = """
  - id: sums
    name: Sums
    characteristics: []
"""
    text = BASE.replace("\ngauges:", computed.rstrip() + "\ngauges:", 1)
    text = text.replace("stage: slide, characteristics: [outer_bore]", "stage: sums")
    (fault,) = check_plan(text)
    assert fault.field == "cards[1]" and "neither readings nor an event" in fault.problem
    assert "`event:`" in fault.mend


def test_valves_that_depend_on_each_other_in_a_ring():
    ring = "[{name: F, added_mm: 986, depends_on: D}, {name: D, added_mm: 744, depends_on: F}]"
    text = BASE.replace("[{name: F, added_mm: 986}, {name: D, added_mm: 744, depends_on: F}]", ring)
    assert [f.field for f in check_plan(text)] == [
        "models[1].valves[0].depends_on",
        "models[1].valves[1].depends_on",
    ]


def test_limits_for_a_model_on_which_nothing_is_measured():
    limits = "models: [tenor], limits: [{models: [alto], target: 0}, {models: [x], target: 0}], derive"
    found = check_plan(BASE.replace("models: [tenor], derive", limits))
    assert ["is not measured" in f.problem for f in found] == [True, False]
    assert 'no model named "x"' in found[1].problem


def test_clearance_may_come_from_clearances_read_as_such():
    text = BASE.replace("id: inner_od", "id: clearance_read").replace("unit: mm, gauge", "unit: um, gauge")
    assert check_plan(text) == []
