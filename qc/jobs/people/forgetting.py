"""A name taken out of the texts of a plan: the code stays, and so does every other word."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

import yaml

from qc.errors import QcError
from qc.plan import load_plan

SHORT_NAME = 4
"""Characters from which a name is taken out of remarks too; chosen: a shorter one may be another word."""


def without_name(text: str, code: str, names: Iterable[str]) -> str:
    r"""Return a plan's text without the name of a person; the same text where it stands nowhere.

    Parameters
    ----------
    text : str
        YAML.
    code : str
        The person; the entry of this code under ``people`` loses its name.
    names : iterable of str
        What the person was called: where one of these stands as whole words in a remark, the code takes its
        place.

    Examples
    --------
    >>> without_name("people:\n  - {code: BK, name: Bo Kestrel}  # Bo Kestrel\n", "BK", ["Bo Kestrel"])
    'people:\n  - {code: BK, name: ""}  # BK\n'
    """
    spans = list(_names_in(text, code))
    called = {*names, *(text[start:end].strip("'\"") for start, end in spans)}
    for start, end in sorted(spans, reverse=True):
        text = f'{text[:start]}""{text[end:]}'
    for name in sorted((one for one in called if len(one) >= SHORT_NAME), key=len, reverse=True):
        text = _out_of_remarks(text, name, code)
    return text


def name_in(text: str, code: str) -> str:
    """Return the name that a plan's text gives a person, empty where it gives none."""
    for start, end in _names_in(text, code):
        return str(yaml.safe_load(text[start:end]) or "")
    return ""


def says_the_same(before: str, after: str) -> bool:
    """Say whether two texts of a plan differ in names of people only; one that cannot be read does."""
    try:
        one = load_plan(before)
    except QcError:
        return True
    try:
        two = load_plan(after)
    except QcError:
        return False
    left_out: dict[str, Any] = {"people": {"__all__": {"name"}}}
    return one.model_dump(exclude=left_out) == two.model_dump(exclude=left_out)


def _names_in(text: str, code: str) -> Iterator[tuple[int, int]]:
    """Yield from where to where the name of a person stands in a text."""
    try:
        tree = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError:
        return
    for people in _values(tree, "people"):
        if not isinstance(people, yaml.SequenceNode):
            continue
        for own in people.value:
            if any(isinstance(n, yaml.ScalarNode) and n.value == code for n in _values(own, "code")):
                for name in _values(own, "name"):
                    if isinstance(name, yaml.ScalarNode) and name.value:
                        yield name.start_mark.index, name.end_mark.index


def _values(node: yaml.Node | None, key: str) -> Iterator[yaml.Node]:
    if isinstance(node, yaml.MappingNode):
        for name, value in node.value:
            if name.value == key:
                yield value


def _out_of_remarks(text: str, name: str, code: str) -> str:
    """Put the code in the place of a name wherever that changes nothing that the program reads."""
    whole = re.compile(rf"(?<!\w){re.escape(name)}(?!\w)")
    changed = whole.sub(code, text)
    if changed == text or says_the_same(text, changed):
        return changed
    lines = text.splitlines(keepends=True)
    for number, line in enumerate(lines):
        before, mark, remark = line.partition("#")
        trial = "".join([*lines[:number], before + mark + whole.sub(code, remark), *lines[number + 1 :]])
        if says_the_same(text, trial):
            lines = trial.splitlines(keepends=True)
    return "".join(lines)
