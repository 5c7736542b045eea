import os
import threading
import time
import tracemalloc
from pathlib import Path

import pytest

from qc.errors import QcError
from qc.plan import PlanError, check_plan, load_plan, read_plan_text
from qc.plan.tree import MOST_VALUES

GOOD = """\
workshop:
  name: Two Benches
  time_zone: Etc/GMT-1
  lead: QL
models:
  - id: tenor
    name: Tenor
    family: tenors
    pedal_midi: 34
    length_mm: 2945
    valves:
      - {name: F, added_mm: 986}
      - {name: D, added_mm: 744, depends_on: F}
stages:
  - id: slide
    name: Hand slide
    characteristics:
      - id: inner_od
        name: Stocking
        unit: mm
        charted: false
        gauge_class: micrometer
      - id: outer_bore
        name: Bore
        unit: mm
        charted: false
      - id: clearance
        name: Clearance
        unit: um
        models: [tenor]
        derive: {what: clearance}
        sensible: [0, 500]
        limits:
          - {target: 150, lower: 100, upper: 200}
          - {models: [tenor], since: 2026-03-01, target: 140, lower: 100, upper: 200}
gauges:
  - {id: MIC-1, name: Micrometer, gauge_class: micrometer, resolution: 0.001, unit: mm}
people:
  - {code: QL, name: Lead}
tools:
  - {id: D1, name: Die, tool_class: die}
cards:
  - {id: slide-card, title: Slide card, source: slide, stage: slide}
  - {id: ship, title: Shipping, source: bench, event: shipped}
causes: [die worn]
"""


def changed(old, new):
    assert GOOD.count(old) == 1, f"{old!r} must stand once in the good plan"
    return GOOD.replace(old, new)


def faults(text):
    return [(fault.line, fault.field, fault.problem, fault.mend) for fault in check_plan(text)]


def test_a_good_plan_loads():
    plan = load_plan(GOOD)
    assert plan.workshop.lead == "QL"
    assert [v.depends_on for v in plan.models[0].valves] == [None, "F"]
    assert plan.characteristic("slide", "clearance").limits[1].target == 140


def test_a_plan_loads_from_its_file(tmp_path):
    file = tmp_path / "plan.yaml"
    file.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_plan(file) == load_plan(GOOD)


def test_scalars_are_what_the_field_wants_not_what_yaml_thinks():
    text = changed("causes: [die worn]", "causes: [no, on, 007, 1e3, 2026-05-14, 12:30]")
    assert load_plan(text).causes == ("no", "on", "007", "1e3", "2026-05-14", "12:30")


FAULTS = [
    ("length_mm: 2945", "length_mm: 2945,5", 10, "models[0].length_mm", "decimal comma", "2945.5"),
    ("length_mm: 2945", "length_mm: 2945 mm", 10, "models[0].length_mm", "more than the number", "alone"),
    ("length_mm: 2945", "length_mm: long", 10, "models[0].length_mm", "is not a number", "decimal point"),
    ("length_mm: 2945", "length_mm: .nan", 10, "models[0].length_mm", "not a number one", "ordinary"),
    ("length_mm: 2945", "length_mm: inf", 10, "models[0].length_mm", "not a number one", "ordinary"),
    ("length_mm: 2945", "length_mm: 20", 10, "models[0].length_mm", "out of range", "more than 1000"),
    ("length_mm: 2945\n", "length_mm:\n", 10, "models[0].length_mm", "left empty", "take the line out"),
    ("    length_mm: 2945\n", "", 6, "models[0].length_mm", "is missing", "`length_mm: ...`"),
    ("pedal_midi: 34", "pedal_midi: 34.5", 9, "models[0].pedal_midi", "not a whole number", "whole"),
    ("pedal_midi: 34", "pedal_midi: 5", 9, "models[0].pedal_midi", "out of range", "at least 10"),
    ("family: tenors", "family: t\n    posotions: 7", 9, "", 'no field "posotions"', '"positions"?'),
    ("id: tenor\n", "id: ten or\n", 6, "models[0].id", "cannot be an id", "no blanks"),
    ("id: tenor\n", f"id: {'x' * 50}\n", 6, "models[0].id", "too long", "40"),
    ("family: tenors", "symbol: circel\n    family: t", 8, "models[0].symbol", "not one of", '"circle"?'),
    (
        "charted: false\n        gauge",
        "charted: perhaps\n        gauge",
        21,
        "",
        "neither yes nor no",
        "true",
    ),
    ("models: [tenor]\n", "models: tenor\n", 30, "", "must be a list", "[tenor]"),
    ("sensible: [0, 500]", "sensible: [0]", 32, "", "too few numbers", "[lowest, highest]"),
    ("sensible: [0, 500]", "sensible: [0, 1, 500]", 32, "", "too many numbers", "[lowest, highest]"),
    ("derive: {what: clearance}", "derive: clearance", 31, "", "made of named fields", "`name: value`"),
    ("since: 2026-03-01", "since: 1.3.2026", 35, "", "not a day of the form", "2026-05-14"),
    ("since: 2026-03-01", "since: 86400", 35, "", "not a day of the form", "2026-05-14"),
    ("causes: [die worn]", "causes: [[a]]", 45, "causes[0]", "one piece of text", "same line"),
    ("lead: QL", "days_off: [sat, sonday]", 4, "workshop.days_off[1]", "not understood", "2026-12-24"),
]


@pytest.mark.parametrize("old, new, line, field, problem, mend", FAULTS, ids=[f[1][:30] for f in FAULTS])
def test_each_fault_of_the_form_names_line_field_and_mend(old, new, line, field, problem, mend):
    found = [f for f in faults(changed(old, new)) if f[0] == line and field in f[1]]
    assert len(found) == 1, faults(changed(old, new))
    assert problem in found[0][2]
    assert mend in found[0][3]


def test_a_mistyped_name_of_a_needed_field_is_one_fault():
    (found,) = faults(changed("family: tenors", "famly: tenors"))
    assert found[:2] == (8, "models[0].famly")
    assert found[3] == 'Did you mean "family"?'


def test_all_faults_come_at_once_in_order_of_line():
    text = changed("length_mm: 2945", "length_mm: x").replace("lead: QL", "lead: QQ")
    text = text.replace("unit: um", "unit: µm").replace("stage: slide}", "stage: slid}")
    found = faults(text)
    assert [f[0] for f in found] == sorted(f[0] for f in found)
    assert [f[1] for f in found] == [
        "workshop.lead",
        "models[0].length_mm",
        "stages[0].characteristics[2].unit",
        "cards[0].stage",
    ]


def test_a_broken_part_raises_no_false_fault_elsewhere():
    """The tenor is refused, yet who names it has named a model that the file declares."""
    found = faults(changed("length_mm: 2945", "length_mm: x"))
    assert [f[1] for f in found] == ["models[0].length_mm"]


@pytest.mark.parametrize("section", ["workshop", "models", "stages"])
def test_a_missing_section_is_said_once_and_the_rest_is_still_checked(section):
    text = GOOD.replace(f"{section}:\n", f"elsewhere_{section[:2]}:\n", 1).replace(
        "causes: [die worn]", "causes: [a, a]"
    )
    found = faults(text)
    fields = [f[1] for f in found]
    assert fields.count(section) == 1
    assert "causes[1]" in fields


@pytest.mark.parametrize("section", ["workshop", "models", "stages"])
def test_a_mistyped_section_is_said_once_with_its_name(section):
    found = faults(GOOD.replace(f"{section}:\n", f"x_{section}:\n", 1))
    assert f'"{section}"?' in next(f[3] for f in found if f[1] == f"x_{section}")
    assert section not in [f[1] for f in found]


def test_the_error_carries_every_fault_and_reads_as_text():
    with pytest.raises(PlanError) as caught:
        load_plan(changed("length_mm: 2945", "length_mm: x"), name="plan.yaml")
    assert caught.value.faults[0].line == 10
    assert str(caught.value).startswith("plan.yaml: the plan has 1 fault.\n  line 10, models[0].length_mm:")


def test_a_missing_file_is_one_sentence(tmp_path):
    with pytest.raises(QcError, match=r"there is no such plan file. `qc new DIR`"):
        load_plan(tmp_path / "plan.yaml")


def test_a_folder_in_place_of_the_file_is_one_sentence(tmp_path):
    with pytest.raises(QcError, match="cannot be opened"):
        check_plan(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system knows no pipes with a name")
def test_a_pipe_that_nobody_writes_to_is_not_waited_for_and_a_device_is_not_read(tmp_path):
    pipe, told = tmp_path / "pipe.yaml", []
    os.mkfifo(pipe)

    def ask(path):
        try:
            check_plan(path)
        except QcError as error:
            told.append(str(error))

    for path in (pipe, Path("/dev/zero")):
        asking = threading.Thread(target=ask, args=(path,), daemon=True)
        asking.start()
        asking.join(20)
        assert told.pop().startswith(f"{path}: the plan file cannot be opened")


def test_of_a_file_of_any_size_no_more_is_read_than_a_plan_can_hold(tmp_path):
    file = tmp_path / "plan.yaml"
    with file.open("wb") as large:
        large.truncate(64 * 2**20)
    tracemalloc.start()
    (fault,) = check_plan(file)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert "is more than 2,000,000 bytes long" in fault.problem
    assert peak < 8 * 2**20


def test_the_text_of_a_file_that_is_no_text_is_refused(tmp_path):
    file = tmp_path / "plan.yaml"
    file.write_bytes(b"workshop:\n  name: M\xfcller\n")
    with pytest.raises(PlanError, match="line 2, the whole file: holds a byte"):
        read_plan_text(file)


def test_hundreds_of_faults_take_no_time(tmp_path):
    models = "".join(
        f"  - {{id: m{n}, name: M, family: f, pedal_midi: x, length_mm: 1}}\n" for n in range(400)
    )
    found = check_plan(f"workshop: {{name: x}}\nmodels:\n{models}stages: []\n")
    assert len(found) == 801


def test_path_only_means_a_file():
    assert check_plan(Path(__file__).parent.parent.parent / "sample_measurements" / "plan.yaml") == []


@pytest.mark.parametrize("under", ["", "workshop"])
def test_a_plan_of_as_many_unknown_fields_as_are_read_at_all_is_told_in_seconds(under):
    """Each fault used to go through all others: so many fields took minutes."""
    lines = [f"{'  ' * bool(under)}k{number}: 1" for number in range(MOST_VALUES - 10)]
    begun = time.process_time()
    faults = check_plan("\n".join(["models: []", "stages: []", "workshop:", "  name: X", *lines]))
    assert len(faults) == len(lines) + 2
    assert time.process_time() - begun < 20
