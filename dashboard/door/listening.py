"""The board's web server: how long, how much and how many it listens to.

A connection that says nothing, or sends its request drop by drop, is closed; one that announces more than its
address takes is refused before it sends it; and when very many are open, those that have sent no whole
request make room for the others.
"""

from __future__ import annotations

import copy
import select
import time
from typing import Any, Final

from waitress import create_server
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser

from dashboard.door.access import LARGE, MOST_BODY, MOST_BYTES

THREADS: Final = 8
"""Requests answered at the same time; the pages of a small shop."""

CONNECTIONS: Final = 500  # chosen: below the 1024 open files that a process may have on most systems
SILENT_S: Final = 20
WHOLE_S: Final = 120
"""A connection may say nothing for so long, and take so long to send one request [s]."""

TIDY_S: Final = 2
CROWDED, ROOMY = 0.8, 0.5
"""From this share of all connections on, those without a whole request are closed, down to the other."""


def listen(application: Any, host: str, port: int, *, behind_proxy: bool = False) -> Any:
    """Return a server of `application` that listens.

    With `behind_proxy` one proxy on this machine is believed when it says for whom, under which name and by
    which scheme it asks; else whatever says so is thrown away.

    Raises
    ------
    OSError
        The port cannot be used.
    """
    believed = {
        "trusted_proxy": "127.0.0.1",
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"},
    }
    server = create_server(
        application,
        host=host,
        port=port,
        threads=THREADS,
        ident="board",
        connection_limit=CONNECTIONS,
        channel_timeout=SILENT_S,
        cleanup_interval=TIDY_S,
        max_request_body_size=MOST_BYTES + MOST_BODY,
        max_request_header_size=2**15,
        asyncore_use_poll=hasattr(select, "poll"),
        clear_untrusted_proxy_headers=True,
        **(believed if behind_proxy else {}),
    )
    server.channel_class = _Channel
    usual = server.maintenance

    def tidy(now: float) -> None:
        usual(now)
        _close_slow(server, now)

    server.maintenance = tidy
    return server


class _Parser(HTTPRequestParser):  # type: ignore[misc]
    """Reads a request; how large its body may be goes by its address."""

    adj: Any

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        if self.path not in LARGE:
            self.adj = copy.copy(self.adj)
            self.adj.max_request_body_size = MOST_BODY + 1


class _Channel(HTTPChannel):  # type: ignore[misc]
    """A connection that knows since when it has been receiving a request."""

    parser_class = _Parser
    begun: float | None = None

    def received(self, data: bytes) -> bool:
        if self.request is None:
            self.begun = time.time()
        return bool(super().received(data))


def _close_slow(server: Any, now: float) -> None:
    """Close what takes too long, and make room where very many are open."""
    # what has a whole request is being answered and stays
    partial = [c for c in server.active_channels.values() if not c.requests]
    for channel in partial:
        if channel.request is not None and channel.begun is not None and now - channel.begun > WHOLE_S:
            channel.will_close = True
    most = server.adj.connection_limit
    if len(server.active_channels) > CROWDED * most:
        oldest = sorted(partial, key=lambda c: c.begun or c.creation_time)
        for channel in oldest[: int(len(server.active_channels) - ROOMY * most)]:
            channel.will_close = True
