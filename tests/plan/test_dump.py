from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.plan import DatedLimits, Plan, Shop, dump_plan, load_plan, template_text
from qc.plan.model import Characteristic, Model, Stage

SAMPLE = Path(__file__).parents[2] / "sample_measurements" / "plan.yaml"


@pytest.mark.parametrize("source", [template_text(), SAMPLE], ids=["template", "sample"])
def test_a_written_plan_loads_back_as_the_same(source):
    plan = load_plan(source)
    text = dump_plan(plan)
    assert load_plan(text) == plan
    assert dump_plan(load_plan(text)) == text


def test_it_is_commented_and_leaves_defaults_out():
    text = dump_plan(load_plan(template_text()))
    assert text.count("# holds from this day on") <= 1
    assert "# The kinds of sheet the benches hand in" in text
    assert "positions:" not in text  # seven on every model of the template, the default
    assert max(len(line) for line in text.splitlines()) < 160


def test_another_yaml_reader_can_read_it():
    data = yaml.safe_load(dump_plan(load_plan(template_text())))
    assert [stage["id"] for stage in data["stages"]] == [
        "drawing",
        "slide",
        "tuning",
        "lacquer",
        "inspection",
    ]


def plan_with(name, causes=(), plain="", target=None):
    limits = (DatedLimits(target=target),) if target is not None else ()
    own = Characteristic(id="c", name=name, unit="um", plain=plain, limits=limits)
    model = Model(id="m", name=name, family="f", pedal_midi=34, length_mm=2945.0)
    return Plan(
        workshop=Shop(name=name),
        models=(model,),
        stages=(Stage(id="s", name=name, characteristics=(own,)),),
        causes=causes,
    )


AWKWARD = [
    "null",
    "~",
    "yes",
    "007",
    "1e3",
    "- x",
    "a: b",
    "a #b",
    "'",
    '"',
    "{x}",
    "[x]",
    "*x",
    "&x",
    "!x",
    "%",
    "@",
]


@pytest.mark.parametrize("text", AWKWARD)
def test_awkward_texts_come_back(text):
    plan = plan_with(text, (text,), text)
    assert load_plan(dump_plan(plan)) == plan


words = st.text(st.characters(blacklist_categories=["Cs", "Cc", "Co", "Cn"]), min_size=1, max_size=60)
words = words.map(str.strip).filter(lambda text: text and not set(text) & set("\u2028\u2029\u0085\ufeff"))


@settings(max_examples=60, deadline=None)
@given(words, words, st.floats(allow_nan=False, allow_infinity=False))
def test_any_text_and_number_comes_back(name, plain, target):
    plan = plan_with(name, (plain,), plain, target)
    assert load_plan(dump_plan(plan)) == plan
