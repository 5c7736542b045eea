"""A Python process of our own for what a damaged file may break: how it is started, and what it may take."""

from __future__ import annotations

import os
import sys
from pathlib import Path

ROOT = Path(__file__).parents[3]


def python_can_be_started() -> bool:
    """Tell whether `sys.executable` is a Python; in another program it may be that program, or nothing."""
    name = Path(sys.executable or "").stem.lower()
    return name.startswith(("python", "pypy")) and not getattr(sys, "frozen", False)


def command(module: str) -> list[str]:
    """Return the words that start a module of ours, in `surroundings`."""
    # -P: a file in the current folder must not pass for a module of ours; -S: the paths are given
    return [sys.executable, "-P", "-S", "-m", module]


def surroundings() -> dict[str, str]:
    """Return an environment in which a child finds what this process finds, wherever it has that from."""
    others = os.environ.get("PYTHONPATH", "").split(os.pathsep)
    path = dict.fromkeys([str(ROOT), *(part for part in (*sys.path, *others) if part)])
    return {**os.environ, "PYTHONPATH": os.pathsep.join(path)}


def limit_memory(megabytes: int) -> bool:
    """Bound this process's memory, and leave no dump of it behind; False where the system cannot."""
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        most = resource.getrlimit(resource.RLIMIT_AS)[1]
        wanted = megabytes * 1_000_000
        bound = wanted if most == resource.RLIM_INFINITY else min(wanted, most)
        resource.setrlimit(resource.RLIMIT_AS, (bound, most))
    except (ImportError, OSError, ValueError):  # no such module on Windows, no such limit elsewhere
        return False
    return True
