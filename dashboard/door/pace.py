"""How many requests one address may send: a bucket of tokens each, filled at a steady pace."""

from __future__ import annotations

import threading
import time
from typing import Final

PER_S: Final = 60.0
BURST: Final = 600.0
"""Requests a second in the long run, and at once; a page asks for some thirty parts, then for little."""

ADDRESSES: Final = 1000  # a network of a workshop has some tens


class Pace:
    """Counts requests by address."""

    def __init__(self, per_s: float = PER_S, burst: float = BURST) -> None:
        self._per_s, self._burst = per_s, burst
        self._lock = threading.Lock()
        self._left: dict[str, tuple[float, float]] = {}

    def wait_s(self, address: str, now: float | None = None) -> int:
        """Count a request; returns 0 where it may pass, else the seconds after which one will.

        Examples
        --------
        >>> pace = Pace(per_s=1, burst=2)
        >>> [pace.wait_s("a", now=10.0) for _ in range(3)]
        [0, 0, 2]
        >>> pace.wait_s("b", now=10.0), pace.wait_s("a", now=11.0)
        (0, 0)
        """
        now = time.monotonic() if now is None else now
        with self._lock:
            left, since = self._left.pop(address, (self._burst, now))
            left = min(self._burst, left + (now - since) * self._per_s)
            passes = left >= 1
            self._left[address] = (left - 1 if passes else left, now)  # at the end: the longest silent first
            while len(self._left) > ADDRESSES:
                self._left.pop(next(iter(self._left)))
        return 0 if passes else int((1 - left) / self._per_s) + 1
