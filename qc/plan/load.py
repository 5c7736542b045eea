"""Reading ``plan.yaml``: text becomes a tree with lines, the tree a `Plan`; all faults come at once."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from qc.errors import MachineError, QcError
from qc.plan.errors import PlanError, PlanFault
from qc.plan.figures import check_figures
from qc.plan.model import Plan
from qc.plan.references import Declared, check_references, doubled_names
from qc.plan.sentences import model_faults, real_path
from qc.plan.tree import MOST_BYTES, Node, decode_plan, read_tree, take_out

# a pipe whose other end nobody holds must not be waited for; Windows knows neither the flag nor such files
_UNWAITING = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_good: dict[str, Plan] = {}
_MOST_PASSES = 20  # a pruned part can leave a hole one level up; a plan is seven levels deep


def load_plan(source: Path | str, name: str = "") -> Plan:
    r"""Read a plan and check it.

    Parameters
    ----------
    source : Path or str
        The file, or the text of a plan.
    name : str, optional
        What messages call the plan; the file's name or "the plan" where not given.

    Returns
    -------
    Plan
        The plan, in which every name that is used is also declared.

    Raises
    ------
    PlanError
        The plan has faults; all of them are in it, in order of line.
    QcError
        The file is not there or cannot be opened.

    Examples
    --------
    >>> from qc.plan.load import load_plan
    >>> load_plan("workshop: {name: Small shop}\nmodels: []\nstages: []")
    Traceback (most recent call last):
        ...
    qc.plan.errors.PlanError: the plan: the plan has 2 faults.
      line 2, models: is an empty list. Write at least one model.
      line 3, stages: is an empty list. Write at least one stage.
    """
    text = source if isinstance(source, str) else None
    if text is not None and text in _good:
        return _good[text]
    plan, faults = _read(source)
    if text is not None and plan is not None and not faults:
        _good.clear()  # the one in force; a board asks for it with every task, and plans never change
        _good[text] = plan
    if plan is None or faults:
        raise PlanError(name or (str(source) if isinstance(source, Path) else "the plan"), faults)
    return plan


def check_plan(source: Path | str) -> list[PlanFault]:
    """Return everything that is wrong with a plan, in order of line; an empty list where it is good.

    Raises
    ------
    QcError
        The file is not there or cannot be opened.
    """
    return _read(source)[1]


def read_plan_text(path: Path) -> str:
    """Return the text of a plan file.

    Raises
    ------
    PlanError
        The file is no UTF-8 text.
    QcError
        The file is not there or cannot be opened.
    """
    text, faults = decode_plan(_bytes(path))
    if faults:
        raise PlanError(str(path), faults)
    return text


def _read(source: Path | str) -> tuple[Plan | None, list[PlanFault]]:
    data = _bytes(source) if isinstance(source, Path) else source.encode("utf-8", "surrogatepass")
    text, faults = decode_plan(data)
    if faults:
        return None, faults
    tree, faults = read_tree(text)
    if tree is None:
        return None, faults
    declared = Declared.of(tree)  # before parts with faults are taken out
    faults += doubled_names(tree)
    plan, found = _fill(tree)
    faults += found
    if plan is not None:
        faults += check_references(plan, tree, declared)
        faults += check_figures(plan, tree)
    unique = dict.fromkeys(sorted(faults, key=lambda fault: (fault.line, fault.field)))
    return (plan if not unique else None), list(unique)


def _bytes(path: Path) -> bytes:
    """Read no more of a file than a plan can hold, and nothing of what is no file."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):  # opening a device may already set something off
            raise QcError(
                f"{path}: the plan file cannot be opened: it is a folder, a pipe or a device. Name the plan "
                "itself."
            )
        with open(os.open(path, _UNWAITING), "rb") as file:
            return file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise QcError(f"{path}: there is no such plan file. `qc new DIR` makes one to start from.") from None
    except PermissionError as error:
        raise MachineError(
            f"{path}: the plan file cannot be opened ({error.strerror}). Ask who owns it."
        ) from error
    except OSError as error:
        raise QcError(f"{path}: the plan file cannot be opened ({error.strerror}).") from error


def _fill(tree: Node) -> tuple[Plan | None, list[PlanFault]]:
    """Fill the model; where parts are wrong, take them out so that the rest can still be cross-checked."""
    faults: list[PlanFault] = []
    for attempt in range(_MOST_PASSES):
        try:
            return Plan.model_validate(tree.plain()), faults
        except ValidationError as error:
            errors = error.errors(include_url=False)
            if attempt == 0:  # later passes only meet the holes that pruning left
                faults = model_faults(errors, tree)
            # nothing could be taken out, so another pass would meet the same faults
            if not _prune(errors, tree):
                break
    return None, faults


def _prune(errors: list[Any], tree: Node) -> bool:
    doomed: list[Node] = []
    for error in errors:
        node = _doomed(error, tree)
        if node is None or node is tree:
            if not _stand_in(tree, error):
                return False
        else:
            doomed.append(node)
    take_out(doomed)
    return True


def _doomed(error: Mapping[str, Any], tree: Node) -> Node | None:
    path = real_path(error["loc"], tree, error["type"])
    if error["type"] == "missing":
        path = path[:-1]
    return tree.get(*path)


def _stand_in(tree: Node, error: Mapping[str, Any]) -> bool:
    """Put the least that the model takes in the place of a missing top part."""
    name = str(error["loc"][0]) if error["loc"] else ""
    line = tree.line
    stand_ins: dict[str, Node] = {
        "workshop": Node({"name": Node("?", line, "workshop.name")}, line, "workshop"),
        "models": Node([], line, "models"),
        "stages": Node([], line, "stages"),
    }
    if name not in stand_ins or not isinstance(tree.value, dict):
        return False
    stand_ins[name].parent = tree
    tree.value[name] = stand_ins[name]
    return True
