"""Plans drawn at random: written and read back, judged by their own rules, and spoilt in every line."""

import re
from datetime import date, timedelta
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.plan import (
    Characteristic,
    DatedLimits,
    Gauge,
    Model,
    ModelValve,
    Person,
    Plan,
    PlanError,
    Shop,
    Stage,
    Tool,
    check_plan,
    dump_plan,
    keep_past,
    load_plan,
    template_text,
)

SAMPLE = (Path(__file__).parents[2] / "sample_measurements" / "plan.yaml").read_text("utf-8")
TEMPLATE = template_text()
# A whole plan takes its time to draw, and longer on a busy machine.
few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
days = st.dates(date(2024, 1, 1), date(2027, 12, 31))
names = st.text(
    st.characters(whitelist_categories=["L", "N", "P"], whitelist_characters=" "), min_size=1, max_size=12
)
names = names.map(str.strip).filter(bool)
figures = st.floats(-1e4, 1e4).map(lambda x: round(x, 4))


@st.composite
def limit_entries(draw, models):
    """Entries that do not contradict each other: each model and day once, lower < target < upper."""
    made = {}
    for _ in range(draw(st.integers(0, 5))):
        which = draw(st.sampled_from([(), *((m,) for m in models)]))
        since = draw(st.none() | days)
        low, middle, high = sorted(draw(st.sets(figures, min_size=3, max_size=3)))
        ends = draw(
            st.sampled_from(
                [(low, middle, high), (None, middle, high), (low, middle, None), (None, middle, None)]
            )
        )
        made[which, since] = DatedLimits(
            models=which, since=since, lower=ends[0], target=ends[1], upper=ends[2]
        )
    return tuple(made.values())


@st.composite
def plans(draw):
    """A sound plan with a few of everything."""
    ids = [f"m{n}" for n in range(draw(st.integers(1, 3)))]
    models = tuple(
        Model(
            id=m,
            name=draw(names),
            family=draw(st.sampled_from(["low", "high"])),
            pedal_midi=draw(st.integers(10, 60)),
            length_mm=draw(st.floats(1001, 7999).map(lambda x: round(x, 2))),
            valves=tuple(
                ModelValve(name=v, added_mm=n)
                for v, n in zip("FG", draw(st.permutations([700.5, 900])), strict=True)
            )[: draw(st.integers(0, 2))],
            partials=tuple(draw(st.lists(st.integers(1, 12), min_size=1, max_size=5, unique=True))),
            area_factor=draw(st.sampled_from([0.7, 1.0, 1.8])),
        )
        for m in ids
    )
    characteristics = tuple(
        Characteristic(
            id=f"c{n}",
            name=draw(names),
            unit=draw(st.sampled_from(["um", "mm", "cent", "count"])),
            kind=draw(st.sampled_from(["measured", "count", "pass-fail"])),
            pool=draw(st.sampled_from(["family", "all", "model"])),
            models=tuple(draw(st.lists(st.sampled_from(ids), unique=True, max_size=2))),
            charted=draw(st.booleans()),
            plain=draw(st.just("") | names),
            words=draw(st.sampled_from([{}, {"above": "wide", "below": "tight"}])),
        )
        for n in range(draw(st.integers(0, 3)))
    )
    characteristics = tuple(
        c.model_copy(update={"limits": draw(limit_entries(c.models or tuple(ids)))}) for c in characteristics
    )
    start = draw(days)
    gauge = {"id": "G-1", "name": draw(names), "gauge_class": "g", "resolution": 0.001, "unit": "mm"}
    due = start + timedelta(days=draw(st.integers(0, 400)))
    off = ("sun", draw(days))
    return Plan(
        workshop=Shop(name=draw(names), days_off=off, wanted_ppk=draw(st.sampled_from([1.0, 1.33]))),
        models=models,
        stages=(
            Stage(id="s0", name=draw(names), characteristics=characteristics),
            Stage(id="s1", name="Last"),
        ),
        gauges=(Gauge(**gauge, calibrated=(start,), due=due),),
        people=(Person(code="AB", name=draw(names)), Person(code="CD")),
        tools=(Tool(id="T", name=draw(names), tool_class="die"),),
        causes=tuple(draw(st.lists(st.sampled_from(["dent", "leak", "007", "no"]), unique=True, max_size=3))),
    )


@few
@given(plans())
def test_any_sound_plan_is_written_read_and_found_good(plan):
    text = dump_plan(plan)
    assert check_plan(text) == []
    assert load_plan(text) == plan
    assert dump_plan(load_plan(text)) == text
    whole = yaml.safe_load(text)
    assert [m["id"] for m in whole["models"]] == [m.id for m in plan.models], "another reader reads the same"


@few
@given(plans(), days)
def test_limits_in_force_are_found_by_going_through_the_days(plan, day):
    """Second route: entries applied one day after the other; those for the model on top of those for all."""
    for characteristic in plan.stages[0].characteristics:
        for model in plan.models:
            expected = DatedLimits()
            for own in (False, True):
                dated = [e for e in characteristic.limits if bool(e.models) is own]
                dated = [e for e in dated if not e.models or model.id in e.models]
                for entry in sorted(dated, key=lambda e: e.since or date.min):
                    if (entry.since or date.min) <= day:
                        expected = entry
            assert plan.limits(characteristic, model.id, day) == expected


@few
@given(plans())
def test_every_piece_has_its_family_among_those_that_are_charted(plan):
    charted = {(stage.id, c.id, family) for stage, c, family in plan.charted()}
    for stage in plan.stages:
        for characteristic in stage.characteristics:
            families = plan.families_of(characteristic)
            assert len(set(families)) == len(families)
            own = {m.id for m in plan.models_of(characteristic)}
            assert own == (set(characteristic.models) or {m.id for m in plan.models})
            for model in plan.models:
                family = plan.family_of(characteristic, model.id)
                if characteristic.pool == "all":
                    assert family == "all"
                else:
                    assert (family is not None) is (model.id in own)
                if family is not None and model.id in own:
                    assert family in families
            expected = {(stage.id, characteristic.id, f) for f in families if characteristic.charted}
            assert {c for c in charted if c[:2] == (stage.id, characteristic.id)} == expected


def with_limits(plan, limits):
    own = plan.stages[0].characteristics[0].model_copy(update={"limits": limits})
    stage = plan.stages[0].model_copy(update={"characteristics": (own,)})
    return plan.model_copy(update={"stages": (stage,)})


@st.composite
def histories(draw):
    """Versions of a plan with the days they were first met, oldest first."""
    models = tuple(
        Model(id=m, name=m, family="low", pedal_midi=34, length_mm=2945.0) for m in ("tenor", "bass")
    )
    base = Plan(
        workshop=Shop(name="W"),
        models=models,
        stages=(Stage(id="s", name="S", characteristics=(Characteristic(id="c", name="C", unit="um"),)),),
    )
    met = sorted(draw(st.lists(days, min_size=1, max_size=4, unique=True)))
    return [(day, with_limits(base, draw(limit_entries(("tenor", "bass"))))) for day in met]


def at(plan, model, day):
    found = plan.limits(plan.characteristic("s", "c"), model, day)
    return found.lower, found.target, found.upper


@settings(max_examples=60, deadline=None)
@given(histories(), days, st.sampled_from(["tenor", "bass", ""]))
def test_a_piece_is_judged_by_what_its_day_knew(versions, day, model):
    """Point by point: from its day on a version speaks; before, only from the first `since` of its own on."""

    def known(number):
        met, plan = versions[number]
        if number == 0 or day >= met:
            return at(plan, model, day)
        if plan.stages == versions[number - 1][1].stages:
            return known(number - 1)
        own = plan.characteristic("s", "c").limits
        dated = [e.since for e in own if e.since is not None and (not e.models or model in e.models)]
        return at(plan, model, day) if dated and day >= min(dated) else known(number - 1)

    assert at(keep_past(versions), model, day) == known(len(versions) - 1)


@few
@given(histories())
def test_a_past_that_is_kept_ends_in_the_newest_file_and_is_kept_again_the_same(versions):
    merged = keep_past(versions)
    last = versions[-1][0]
    assert keep_past([(last, merged)]) is merged
    for model in ("tenor", "bass", ""):  # empty: a piece whose card names none
        day = last + timedelta(days=1000)
        assert at(merged, model, day) == at(versions[-1][1], model, day), "today the newest file holds"


LINES = [
    pytest.param(text, number, id=f"{name}-{number}")
    for name, text in (("template", TEMPLATE), ("sample", SAMPLE))
    for number in range(0, text.count("\n"), 9)
]


def sound(faults, text):
    """Every fault names a line of the file, a field, what is wrong and a mend, each as one sentence."""
    last = text.count("\n") + 1
    for fault in faults:
        assert 0 <= fault.line <= last
        assert fault.field and fault.problem and not fault.problem.endswith(".")
        assert fault.mend.endswith((".", "?")) and "\n" not in str(fault)
        assert not re.search(r"pydantic|validation|Traceback|input_value", str(fault))
    assert [f.line for f in faults] == sorted(f.line for f in faults)
    assert len(set(faults)) == len(faults)


@pytest.mark.parametrize(("text", "number"), LINES)
def test_a_line_that_is_lost_is_noticed_or_was_not_needed(text, number):
    """Take one line out: the plan is still good, or each fault says where and what to write."""
    lines = text.split("\n")
    spoilt = "\n".join([*lines[:number], *lines[number + 1 :]])
    faults = check_plan(spoilt)
    sound(faults, spoilt)
    if not faults:
        load_plan(spoilt)
        return
    with pytest.raises(PlanError) as caught:
        load_plan(spoilt, name="plan.yaml")
    assert caught.value.faults == tuple(faults)
    assert str(caught.value).count("\n") == len(faults)


SLIPS = [
    pytest.param(r"(\d)\.(\d)", r"\1,\2", id="decimal comma"),
    pytest.param(r": (\d+)", r": \1 mm", id="unit behind a number"),
    pytest.param(r"id: (\w)", r"id: \1 \1", id="blank in an id"),
    pytest.param(r"name: ", "nmae: ", id="mistyped field"),
    pytest.param(r"\[", "[[", id="bracket left open"),
    pytest.param(r"^  ", "\t", id="tab"),
    pytest.param(r"\d{4}-\d\d-\d\d", "2026-02-31", id="no such day"),
    pytest.param(r"tenor", "tenro", id="mistyped name"),
    pytest.param(r": ", ":", id="no blank after the colon"),
    pytest.param(r"$", " &x *x", id="anchors"),
    pytest.param(r"true", "perhaps", id="neither yes nor no"),
    pytest.param(r"\w+", "\x07", id="control characters"),
]


@pytest.mark.parametrize("most", [1, 40])
@pytest.mark.parametrize(("pattern", "slip"), SLIPS)
def test_slips_of_the_pen_end_in_sentences_never_in_a_crash(pattern, slip, most):
    """One slip, or forty of a kind at once: all are named together, by line."""
    spoilt, made = re.subn(pattern, slip, SAMPLE, count=most, flags=re.MULTILINE)
    assert made
    sound(check_plan(spoilt), spoilt)


@few
@given(st.integers(0, len(TEMPLATE) - 1), st.text(max_size=6), st.integers(0, 30))
def test_any_scribble_in_a_plan_is_answered(place, scribble, gone):
    spoilt = TEMPLATE[:place] + scribble + TEMPLATE[place + gone :]
    sound(check_plan(spoilt), spoilt)


@few
@given(st.binary(max_size=200))
def test_any_bytes_are_answered(tmp_path_factory, data):
    file = tmp_path_factory.mktemp("bytes") / "plan.yaml"
    file.write_bytes(data)
    faults = check_plan(file)
    assert faults, "so few bytes are no plan"
    sound(faults, data.decode("utf-8", "replace") + "\n" * 200)


BOUNDS = [
    pytest.param(part, name, kind, bound, id=f"{part.__name__}.{name} {kind} {bound}")
    for part in (Shop, Model, ModelValve, Characteristic, Gauge)
    for name, info in part.model_fields.items()
    for rule in info.metadata
    for kind in ("gt", "ge", "lt", "le")
    if (bound := getattr(rule, kind, None)) is not None
]
GOOD = {
    Shop: {"name": "W"},
    Model: {"id": "m", "name": "M", "family": "f", "pedal_midi": 34, "length_mm": 2945.0},
    ModelValve: {"name": "F", "added_mm": 986.0},
    Characteristic: {"id": "c", "name": "C", "unit": "um"},
    Gauge: {"id": "g", "name": "G", "gauge_class": "c", "resolution": 0.1, "unit": "um"},
}


@pytest.mark.parametrize(("part", "name", "kind", "bound"), BOUNDS)
def test_bounds_of_a_field_hold_exactly(part, name, kind, bound):
    """At an inclusive bound a figure is taken, at an exclusive one refused, and beyond either refused."""
    whole = part.model_fields[name].annotation is int
    step = 1 if whole else 1e-6 * max(abs(bound), 1.0)
    inward = step if kind in ("gt", "ge") else -step
    for value, good in ((bound, kind in ("ge", "le")), (bound + inward, True), (bound - inward, False)):
        try:
            part.model_validate(GOOD[part] | {name: value})
            taken = True
        except ValueError:
            taken = False
        assert taken is good, value
