"""An invented workshop to try everything on: its plan, its sheets, and what is planted in them."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

__all__ = ["folder"]


def folder() -> Path:
    """Return the folder that holds ``plan.yaml``, ``planted.yaml`` and ``sheets/``.

    Examples
    --------
    >>> (folder() / "plan.yaml").is_file()
    True
    """
    return Path(str(files("sample_measurements")))
