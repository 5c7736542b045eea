"""The text of a plan as a tree that remembers its lines.

Every scalar stays text; the model decides what it becomes. So ``no`` is a name where a name is wanted, and
``007`` keeps its zeros. YAML's references (``&`` and ``*``) and tags (``!``) are refused: a plan needs none,
and nested references can blow a few lines up to gigabytes. What a reference stands for is still put in its
place, as far as the limits of size allow, so that what is checked next is the plan that was meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import yaml

from qc.plan.errors import PlanFault

MOST_BYTES = 2_000_000  # chosen: eighty times the plan of the sample workshop
MOST_VALUES = 30_000  # chosen: twenty-five times the sample workshop's plan; lists and blocks count as well
MOST_COPIED = 3_000  # chosen: a tenth of that may come from references, which a plan ought not to hold
MOST_DEPTH = 12  # the deepest field of a plan lies at 7
WHOLE = "the whole file"
_MERGED = "<<"  # the name under which YAML takes in the fields of another block
_NOTHING = frozenset({"", "~", "null", "Null", "NULL"})
_READER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # the C parser is ten times faster


@dataclass(slots=True, eq=False)
class Node:
    """One value of the file: a mapping, a list, a text, or nothing; `line` is 1-based."""

    value: dict[str, Node] | list[Node] | str | None
    line: int
    path: str = ""
    parent: Node | None = None
    key_lines: dict[str, int] = field(default_factory=dict)
    pruned: bool = False  # an entry was taken out because it had a fault
    lent: set[str] = field(default_factory=set)  # fields that a refused reference brought; its own win
    unmet: bool = False  # a reference to nothing, which is a fault already

    def get(self, *path: str | int) -> Node | None:
        """Return the node at a path of keys and indices, or None."""
        node: Node | None = self
        for step in path:
            if node is None:
                return None
            if isinstance(node.value, dict) and isinstance(step, str):
                node = node.value.get(step)
            elif isinstance(node.value, list) and isinstance(step, int) and 0 <= step < len(node.value):
                node = node.value[step]
            else:
                return None
        return node

    def nearest(self, *path: str | int) -> Node:
        """Return the node at a path, or the last one on the way to it that exists."""
        node = self
        for step in path:
            below = node.get(step)
            if below is None:
                return node
            node = below
        return node

    def items(self) -> list[Node]:
        """Return the entries of a list, nothing for anything else."""
        return self.value if isinstance(self.value, list) else []

    def texts(self) -> list[str]:
        """Return the entries of a list that are texts."""
        return [item.value for item in self.items() if isinstance(item.value, str)]

    def text(self, key: str) -> str:
        """Return the text under a key, empty where there is none."""
        below = self.get(key)
        return below.value.strip() if below is not None and isinstance(below.value, str) else ""

    def plain(self) -> object:
        """Return plain dicts, lists and texts."""
        if isinstance(self.value, dict):
            return {key: below.plain() for key, below in self.value.items()}
        if isinstance(self.value, list):
            return [below.plain() for below in self.value]
        return self.value


def take_out(doomed: Iterable[Node]) -> None:
    """Take nodes out of the blocks and lists they stand in, each of which is gone through once."""
    lost: dict[int, tuple[Node, set[int]]] = {}
    for node in doomed:
        if node.parent is not None:
            lost.setdefault(id(node.parent), (node.parent, set()))[1].add(id(node))
    for above, gone in lost.values():
        above.pruned = True
        if isinstance(above.value, dict):
            above.value = {key: below for key, below in above.value.items() if id(below) not in gone}
        elif isinstance(above.value, list):
            above.value = [below for below in above.value if id(below) not in gone]


def fault_at(node: Node, key: str, problem: str, mend: str) -> PlanFault:
    """Return a fault at a field of a block, there or not, or at the whole block without `key`."""
    below = node.get(key) if key else None
    field = below.path if below is not None else f"{node.path}.{key}" if key else node.path
    return PlanFault((below or node).line, field or WHOLE, problem, mend)


def decode_plan(data: bytes) -> tuple[str, list[PlanFault]]:
    """Turn the bytes of a plan file into text; faults where it is no UTF-8 text."""
    if len(data) > MOST_BYTES:
        return "", [_whole(f"is more than {MOST_BYTES:,} bytes long", "Name the plan itself, or shorten it.")]
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "", [_whole("is written in UTF-16", "Save it as UTF-8 text.")]
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problem = f"holds a byte (0x{data[error.start]:02x}) that is no UTF-8 text"
        return "", [PlanFault(line, WHOLE, problem, "Save the file as UTF-8 and look at this line again.")]


def read_tree(text: str) -> tuple[Node | None, list[PlanFault]]:
    """Read the YAML text of a plan into a tree; None where it cannot be read at all.

    Parameters
    ----------
    text : str
        The whole plan file.

    Returns
    -------
    tree : Node or None
        The root, a mapping.
    faults : list of PlanFault
        Everything wrong with the text as text: tabs, control characters, doubled fields, references.
    """
    faults = list(_bad_characters(text))
    if faults:
        return None, faults
    builder = _Builder()
    try:
        builder.build(text)
    except yaml.YAMLError as error:
        return None, [*builder.faults, _syntax_fault(error, text)]
    except _TooMuch as error:
        return None, [*builder.faults, error.fault]
    root = builder.root
    if root is None:
        return None, [*builder.faults, _whole("is empty", "Write a plan, or take the one `qc new` makes.")]
    if not isinstance(root.value, dict):
        mend = "Begin with `workshop:` at the left margin."
        return None, [*builder.faults, PlanFault(root.line, WHOLE, "is not made of named fields", mend)]
    return root, builder.faults


class _TooMuch(Exception):
    """Reading on would cost more than any plan is worth."""

    def __init__(self, line: int, problem: str, mend: str) -> None:
        super().__init__()
        self.fault = PlanFault(line, WHOLE, problem, mend)


def _too_deep(line: int) -> _TooMuch:
    mend = "Take out the brackets or the indentation that a plan does not need."
    return _TooMuch(line, f"is nested more than {MOST_DEPTH} levels deep", mend)


class _Builder:
    """Builds the tree from parser events, without recursion, so that no nesting can exhaust the stack."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self.faults: list[PlanFault] = []
        self._open: list[Node] = []
        self._keys: list[tuple[str, int] | None] = []  # the key that waits for its value, per open node
        self._documents = 0
        self._values = 0
        self._anchors: dict[str, Node] = {}
        self._copied = 0

    def build(self, text: str) -> None:
        for event in yaml.parse(text, Loader=_READER):
            line = event.start_mark.line + 1 if event.start_mark is not None else 1
            if isinstance(event, yaml.DocumentStartEvent):
                self._documents += 1
                if self._documents == 2:
                    mend = "Keep one plan in the file and take out the line `---`."
                    self.faults.append(PlanFault(line, WHOLE, "holds a second plan after `---`", mend))
            elif isinstance(event, yaml.AliasEvent):
                self._refuse(line, f"uses the reference *{event.anchor}")
                self._stand_for(event.anchor or "", line)
            elif isinstance(event, yaml.ScalarEvent):
                self._scalar(event, line)
            elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
                self._start(event, line)
            elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
                self._open.pop()
                self._keys.pop()

    def _scalar(self, event: yaml.ScalarEvent, line: int) -> None:
        if event.anchor is not None:
            self._refuse(line, f"uses the anchor &{event.anchor}")
        if event.tag is not None:
            self._refuse(line, f"uses the tag {event.tag}")
        above = self._open[-1] if self._open else None
        if above is not None and isinstance(above.value, dict) and self._keys[-1] is None:
            self._keys[-1] = (event.value, line)
            return
        nothing = not event.style and event.value in _NOTHING
        node = Node(None if nothing else event.value, line)
        if event.anchor is not None:
            self._anchors[event.anchor] = node
        self._place(node)

    def _start(self, event: yaml.MappingStartEvent | yaml.SequenceStartEvent, line: int) -> None:
        """Open a list or a block; one in the place of a name is told and read on, for the faults below."""
        if len(self._open) >= MOST_DEPTH:
            raise _too_deep(line)
        if event.anchor is not None:
            self._refuse(line, f"uses the anchor &{event.anchor}")
        if event.tag is not None:
            self._refuse(line, f"uses the tag {event.tag}")
        node = Node({} if isinstance(event, yaml.MappingStartEvent) else [], line)
        if event.anchor is not None:
            self._anchors[event.anchor] = node
        above = self._open[-1] if self._open else None
        if above is not None and isinstance(above.value, dict) and self._keys[-1] is None:
            mend = "Write a plain name before the colon."
            self.faults.append(PlanFault(line, above.path or WHOLE, "has a list or a block as a name", mend))
            self._keys[-1] = ("?", line)
            node.parent = above
        else:
            self._place(node)
        self._open.append(node)
        self._keys.append(None)

    def _place(self, node: Node) -> None:
        """Put a value where the open node waits for one; of a name given twice the first stays."""
        self._values += 1
        if self._values > MOST_VALUES:
            problem = f"holds more than {MOST_VALUES:,} values up to here"
            raise _TooMuch(node.line, problem, "No plan needs so many: take out what was pasted by mistake.")
        if not self._open:
            self.root = node if self.root is None else self.root
            return
        above = self._open[-1]
        node.parent = above
        if isinstance(above.value, list):
            node.path = f"{above.path}[{len(above.value)}]"
            above.value.append(node)
            return
        waiting = self._keys[-1]
        self._keys[-1] = None
        if waiting is None or not isinstance(above.value, dict):
            return
        key, line = waiting
        node.path = f"{above.path}.{key}" if above.path else key
        # a block begins a line below its name; a fault is looked for at the name
        node.line = line
        if key in above.value and key not in above.lent:
            first = above.key_lines[key]
            problem = f"stands here a second time; the first is on line {first}"
            self.faults.append(PlanFault(line, node.path, problem, "Keep one of the two."))
            return
        above.lent.discard(key)
        above.value[key] = node
        above.key_lines[key] = line

    def _stand_for(self, anchor: str, line: int) -> None:
        """Put a copy of what a refused reference stands for in its place, as far as size allows."""
        meant = self._anchors.get(anchor)
        above = self._open[-1] if self._open else None
        merged = above is not None and isinstance(above.value, dict) and self._keys[-1] == (_MERGED, line)
        if meant is None or not self._affordable(meant):
            meant = Node(None, line, unmet=True)
        if not merged or above is None or not isinstance(above.value, dict):
            self._copy(meant, line)
            return
        self._keys[-1] = None
        for key, below in list(meant.value.items()) if isinstance(meant.value, dict) else ():
            if key not in above.value:
                self._keys[-1] = (key, line)
                self._copy(below, line)
                above.lent.add(key)

    def _affordable(self, meant: Node) -> bool:
        """Say whether a copy stays within the limits; what is copied counts apart from what was typed."""
        level, depth = [meant], len(self._open)
        size = 0
        while level:
            size += len(level)
            if self._copied + size > MOST_COPIED or depth > MOST_DEPTH:
                return False
            below = [n.value for n in level]
            level = [n for v in below if isinstance(v, dict) for n in v.values()]
            level += [n for v in below if isinstance(v, list) for n in v]
            depth += 1
        self._copied += size
        self._values -= size
        return True

    def _copy(self, meant: Node, line: int) -> None:
        """Place a copy of a node and all below it where the open node waits for a value."""
        copies: dict[str, Node] | list[Node] | str | None = meant.value
        # what is still open, and so stands for itself, is copied as far as it was read
        below: list[tuple[str, Node]] = []
        if isinstance(meant.value, dict):
            copies, below = {}, list(meant.value.items())
        elif isinstance(meant.value, list):
            copies, below = [], [("", node) for node in meant.value]
        node = Node(copies, line, unmet=meant.unmet)
        self._place(node)
        self._open.append(node)
        self._keys.append(None)
        for key, value in below:
            self._keys[-1] = (key, line) if key else None
            self._copy(value, line)
        self._open.pop()
        self._keys.pop()

    def _refuse(self, line: int, problem: str) -> None:
        where = self._open[-1].path if self._open else ""
        self.faults.append(PlanFault(line, where or WHOLE, problem, "Write the value itself in its place."))


def _bad_characters(text: str) -> Iterator[PlanFault]:
    for number, line in enumerate(text.split("\n"), start=1):
        indent = line[: len(line) - len(line.lstrip())]
        if "\t" in indent and line.strip():
            yield PlanFault(number, WHOLE, "is indented with a tab", "Use two spaces for each level.")
        odd = next((c for c in line if (c < " " and c not in "\t\r") or c in "\x7f\ufffe\uffff"), None)
        if odd is not None:
            problem = f"holds a control character (code {ord(odd)})"
            yield PlanFault(number, WHOLE, problem, "Delete it, or type the line anew.")


def _syntax_fault(error: yaml.YAMLError, text: str) -> PlanFault:
    """Guess the slip behind a syntax error: the parser's words speak of tokens, not of what was typed."""
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    if mark is None:
        return _whole("cannot be read", "Save it as plain UTF-8 text.")
    lines = text.split("\n")
    number = min(mark.line, len(lines) - 1) + 1
    line = lines[number - 1]
    said = str(getattr(error, "problem", "") or "")
    if "mapping values are not allowed" in said and line.count(": ") > 1:
        mend = 'Put a text that holds ": " in double quotes.'
    elif "quoted scalar" in said or "end of stream" in said and text.count('"') % 2:
        mend = "Close the quotation mark that is still open, here or above."
    elif "',' or" in said or "expected ',' " in said:
        mend = "Close the bracket that is still open, or put a comma between its entries."
    elif "cannot start any token" in said:
        mend = "Put a text that begins with a sign such as @, ` or % in double quotes."
    else:
        mend = "Compare indentation and colons with the lines around it: `name: value`, two spaces a level."
    return PlanFault(number, WHOLE, "cannot be read from here on", mend)


def _whole(problem: str, mend: str) -> PlanFault:
    return PlanFault(0, WHOLE, problem, mend)
