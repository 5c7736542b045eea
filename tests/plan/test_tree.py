import pytest

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
