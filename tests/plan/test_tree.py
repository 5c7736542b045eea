import pytest

from qc.plan import check_plan, template_text
from qc.plan.tree import MOST_BYTES, MOST_DEPTH, MOST_VALUES, decode_plan, read_tree, take_out


def only(text):
    tree, faults = read_tree(text)
    assert len(faults) == 1, faults
    return tree, faults[0]


def test_nodes_know_line_and_path():
    tree, faults = read_tree("a:\n  b:\n    - x\n    - c: 1\nd: {e: [1, 2]}\n")
    assert faults == []
    assert (tree.get("a", "b", 1, "c").line, tree.get("a", "b", 1, "c").path) == (4, "a.b[1].c")
    assert tree.get("d", "e", 1).value == "2"
    assert tree.plain() == {"a": {"b": ["x", {"c": "1"}]}, "d": {"e": ["1", "2"]}}


def test_missing_paths_and_nearest():
    tree, _ = read_tree("a: {b: 1}\n")
    assert tree.get("a", "x") is None
    assert tree.get("a", 0) is None
    assert tree.nearest("a", "x", "y") is tree.get("a")


def test_nothing_is_nothing_but_quoted_nothing_is_text():
    tree, _ = read_tree("a:\nb: ~\nc: null\nd: ''\ne: 'null'\n")
    assert [tree.get(k).value for k in "abcde"] == [None, None, None, "", "null"]


def test_what_is_taken_out_marks_the_parent():
    tree, _ = read_tree("a: [1, 2, 3]\nb: {c: 1, d: 2}\n")
    take_out([tree.get("a", 1), tree.get("b", "c"), tree])  # the root has nothing above it and stays
    assert tree.plain() == {"a": ["1", "3"], "b": {"d": "2"}}
    assert tree.get("a").pruned and tree.get("b").pruned and not tree.pruned


def test_a_field_given_twice_names_both_lines():
    tree, fault = only("a: 1\nb: 2\na: 3\n")
    assert (fault.line, fault.field) == (3, "a")
    assert "the first is on line 1" in fault.problem
    assert tree.get("a").value == "1"


def test_every_doubled_field_is_named():
    _, faults = read_tree("a: 1\na: 2\nb: {c: 1, c: 2}\n")
    assert [(f.line, f.field) for f in faults] == [(2, "a"), (3, "b.c")]


def test_every_tab_is_named_by_its_line():
    tree, faults = read_tree("a:\n\tb: 1\n\tc: 2\nd: x\ty\n")
    assert tree is None
    assert [f.line for f in faults] == [2, 3]
    assert "tab" in faults[0].problem


@pytest.mark.parametrize("character", ["\x00", "\x07", "\x1b", "\x7f", "\ufffe"])
def test_control_characters_are_named(character):
    tree, fault = only(f"a: 1\nb: x{character}y\n")
    assert tree is None
    assert fault.line == 2
    assert f"code {ord(character)}" in fault.problem


def test_references_are_refused_one_by_one():
    text = "a: &x [1]\nb: *x\nc:\n  <<: *x\nd: !!python/object:os.system {}\ne: !!binary aGk=\n"
    _, faults = read_tree(text)
    assert [f.line for f in faults] == [1, 2, 4, 5, 6]
    assert "anchor &x" in faults[0].problem
    assert "reference *x" in faults[1].problem
    assert "tag" in faults[3].problem


TEMPLATE = template_text()
BOTH = [
    pytest.param(
        "unit: mm\n        limits",
        "unit: &u mm\n        limits",
        "unit: mm\n        places",
        "unit: *u\n        places",
        id="text",
    ),
    pytest.param(
        "- {target: 150,", "- &l {target: 150,", "- {target: 0, lower: -15, upper: 15}", "- *l", id="block"
    ),
    pytest.param(
        "partials: [2, 3, 4, 5, 6, 8]",
        "partials: &p [2, 3, 4, 5, 6, 8]",
        "    symbol: square",
        "    partials: *p\n    symbol: square",
        id="list",
    ),
    pytest.param(
        "id: tenor\n", "id: &t tenor\n", "models: [tenor-f, bass]", "models: [*t, bass]", id="in a list"
    ),
    pytest.param(
        "valves:\n      - {name: F,",
        "valves:\n      - &f {name: F,",
        "      - {name: F, added_mm: 986, legs: 2}\n      - {name: D",
        "      - {<<: *f, legs: 2}\n      - {name: D",
        id="taken in",
    ),
]


@pytest.mark.parametrize("old, anchored, place, used", BOTH)
def test_a_reference_is_refused_once_and_what_is_below_is_read_as_meant(old, anchored, place, used):
    text = TEMPLATE.replace(old, anchored, 1)
    text = text.replace(place, used, 1)
    faults = check_plan(text)
    assert ["anchor" in f.problem or "reference" in f.problem for f in faults] == [True, True], faults
    # a fault of another sort is still told beside them
    worse = check_plan(text.replace("family: basses", "famly: basses"))
    assert len(worse) == 3 and any(f.field == "models[2].famly" for f in worse)


def test_a_reference_to_nothing_is_one_fault():
    (fault,) = check_plan(TEMPLATE.replace("- {target: 150, lower: 100, upper: 200}", "- *nowhere", 1))
    assert "reference *nowhere" in fault.problem


def test_a_field_of_the_block_itself_wins_over_one_taken_in():
    tree, faults = read_tree("a: &a {x: 1, y: 2}\nb:\n  <<: *a\n  y: 3\nc:\n  y: 4\n  <<: *a\n")
    assert tree.plain() == {"a": {"x": "1", "y": "2"}, "b": {"x": "1", "y": "3"}, "c": {"y": "4", "x": "1"}}
    assert len(faults) == 3


def test_references_within_references_go_no_deeper_than_a_plan():
    text = "k0: &k0 [x]\n" + "".join(f"k{n}: &k{n} [*k{n - 1}]\n" for n in range(1, 3000))
    tree, faults = read_tree(text)
    assert len(faults) == 3000 + 2999 and tree.get("k2999").items()[0].value is None


def test_a_reference_bomb_costs_nothing():
    levels = "".join(f"l{n}: &l{n} [{', '.join([f'*l{n - 1}'] * 9)}]\n" for n in range(1, 40))
    tree, faults = read_tree("l0: &l0 [x]\n" + levels)
    assert len(faults) == 1 + 39 + 39 * 9
    assert len(tree.plain()) == 40


def test_deep_nesting_is_refused_without_recursion():
    tree, fault = only("a: " + "[" * 300 + "]" * 300)
    assert tree is None
    assert f"more than {MOST_DEPTH} levels" in fault.problem


@pytest.mark.parametrize(
    "text",
    ["{" + "".join(f"k{n}: 1," for n in range(120_000)) + "}", "a: [" + "1," * 120_000 + "1]"],
    ids=["fields", "list"],
)
def test_more_values_than_a_plan_can_need_are_refused_in_one_sentence(text):
    tree, fault = only(text)
    assert tree is None and fault.line >= 1
    assert f"more than {MOST_VALUES:,} values" in fault.problem and "pasted by mistake" in fault.mend


def test_absurd_nesting_is_refused_by_the_parser_itself():
    tree, fault = only("a: " + "[" * 100_000)
    assert tree is None
    assert fault.line == 1


SYNTAX = [
    ("a: [1, 2\nb: 3\n", 2, "bracket"),
    ("a: b: c: d\n", 1, "double quotes"),
    ('a: "x\nb: 1\n', 3, "quotation mark"),
    ("a: @x\n", 1, "double quotes"),
    ("a: 1\n   b: 2\n  c: 3\n", 2, ""),
    ("a: 1\n- b\n", 2, "indentation"),
]


@pytest.mark.parametrize("text, line, mend", SYNTAX, ids=[s[0].strip() for s in SYNTAX])
def test_what_cannot_be_read_names_the_line_and_a_mend(text, line, mend):
    tree, fault = only(text)
    assert tree is None
    assert abs(fault.line - line) <= 1  # parsers see an open bracket or quote only where it must have ended
    assert mend in fault.mend


@pytest.mark.parametrize(
    "text, problem",
    [
        ("", "is empty"),
        ("# only a remark\n", "is empty"),
        ("- a\n- b\n", "not made of named fields"),
        ("just words\n", "not made of named fields"),
        ("a: 1\n---\nb: 2\n", "second plan"),
        ("? [a, b]\n: 1\n", "as a name"),
    ],
)
def test_what_is_no_plan_is_said(text, problem):
    _, fault = only(text)
    assert problem in fault.problem


def test_bytes_that_are_no_text():
    assert decode_plan("a: ü\n".encode("latin-1"))[1][0].line == 1
    assert decode_plan(b"ok: 1\nb: \xff\n")[1][0].line == 2
    assert "UTF-16" in decode_plan("a: 1".encode("utf-16"))[1][0].problem
    assert "bytes long" in decode_plan(b"a" * (MOST_BYTES + 1))[1][0].problem
    assert decode_plan("\ufeffa: ü".encode()) == ("a: ü", [])


def test_the_slow_parser_says_the_same(monkeypatch):
    """Where the C parser is not there, lines and faults are the same."""
    import yaml

    text = "a: &x 1\nb: *x\nc: {d: [1, 2], d: 3}\ne: 'null'\n"
    fast = read_tree(text)
    monkeypatch.setattr("qc.plan.tree._READER", yaml.SafeLoader)
    slow = read_tree(text)
    assert slow[1] == fast[1]
    assert slow[0].plain() == fast[0].plain()
