"""The board: what the workshop's figures say, served to browsers on this machine only.

`create_app` builds it for one workshop folder; ``python -m dashboard`` serves it (that is what
`qc.jobs.board.serving` starts, in a process of its own).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dashboard.app import create_app

__all__ = ["create_app"]


def __getattr__(name: str) -> Any:
    # Dash takes a third of a second to import: only who builds a board pays for it.
    if name == "create_app":
        from dashboard.app import create_app

        return create_app
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
