"""Serve the board of one workshop: ``python -m dashboard --workshop DIR``.

Prints one line of JSON when the port listens, ``{"address": ...}``, or ``{"problem": ...}`` when it cannot;
stops when its standard input closes.
"""

from __future__ import annotations

import _thread
import argparse
import json
import logging
import signal
import sys
import tempfile
import threading
from collections.abc import Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

from flask import Flask

from dashboard import queries
from dashboard.app import create_app
from dashboard.desk import WorkerDesk
from dashboard.door import (
    EVERY_ADDRESS,
    KEEPER_KEY,
    LAN_KEY,
    NAMES_KEY,
    SECURE_KEY,
    BoardRefused,
    check_host,
    listen,
    listen_by_tls,
    own_names,
)
from qc.errors import QcError

ALONE = (
    "Without a list of people the board stays on this machine: anyone on the network could change your "
    "records. Add people first: qc people add CODE --role owner"
)


def main(argv: Sequence[str] | None = None) -> int:
    """Serve until stopped; returns 0, or 1 where the board cannot be served."""
    asked = _read_arguments(argv)
    # a page asks for its parts at once, which the server would report as a queue each time
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        host = asked.host if asked.lan else check_host(asked.host)
        app = create_app(asked.workshop, asked.as_of, asked.group)
        keeper = app.server.config[KEEPER_KEY]
        if (asked.lan or asked.behind_proxy) and not keeper.asks():
            raise BoardRefused(ALONE)
        _keep_parts(app.server.config[queries.DESK_KEY])
        _name(app.server, asked)
        server = _listen(app.server, "127.0.0.1" if host == "localhost" else host, asked)
    except QcError as error:
        _say({"problem": str(error)})
        return 1
    address = _address(asked, host, server)
    link = keeper.link() if asked.link else ""
    _say({"address": address} | ({"link": f"{address}sign-in/once/{link}"} if link else {}))
    # A shell that starts us in the background switches the keyboard's signal off; this one stays ours.
    signal.signal(signal.SIGTERM, _leave)
    threading.Thread(target=_stop_with_parent, daemon=True).start()
    # The first reader finds the first screen worked out already.
    threading.Thread(target=app.server.config[queries.DATA_KEY].today, daemon=True).start()
    try:
        (server.serve if asked.lan else server.run)()
    except KeyboardInterrupt:
        logging.getLogger("dashboard").info("stopped")
    finally:
        if asked.lan:
            server.stop()
        app.server.config[queries.DESK_KEY].close()
    return 0


def _read_arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m dashboard", description=__doc__)
    parser.add_argument("--workshop", type=Path, required=True)
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--as-of", type=date.fromisoformat, default=None)
    parser.add_argument("--group", type=Path)
    parser.add_argument("--lan", action="store_true")
    parser.add_argument("--cert", type=Path)
    parser.add_argument("--key", type=Path)
    parser.add_argument("--name", action="append", default=[])
    parser.add_argument("--behind-proxy", default="")
    parser.add_argument("--link", action="store_true")
    return parser.parse_args(argv)


def _name(server: Flask, asked: argparse.Namespace) -> None:
    """Say under which names the board is reached, and whether its cookies travel by TLS only."""
    names = [*asked.name, asked.behind_proxy, *(own_names() if asked.lan else [])]
    server.config[NAMES_KEY] = frozenset(name.lower() for name in names if name)
    server.config[LAN_KEY] = asked.lan
    server.config[SECURE_KEY] = asked.lan or bool(asked.behind_proxy)


def _address(asked: argparse.Namespace, host: str, server: Any) -> str:
    """Return the address to open."""
    if asked.lan:
        shown = (asked.name or own_names())[0] if host == EVERY_ADDRESS else host
        return f"https://{shown}:{server.bind_addr[1]}/"
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{server.effective_port}/"


def _listen(application: Any, host: str, asked: argparse.Namespace) -> Any:
    port = asked.port
    try:
        if asked.lan:
            return listen_by_tls(application, host, port, asked.cert, asked.key)
        return listen(application, host, port, behind_proxy=bool(asked.behind_proxy))
    except OSError as error:
        raise QcError(
            f"Port {port} of {host} cannot be used ({error.strerror}). Another board may run already: use "
            "--port with another number, or 0 for a free one."
        ) from error


def _keep_parts(desk: WorkerDesk) -> None:
    """Let what arrives lie in the workshop too, for its owner only: elsewhere it might lie in memory."""
    with suppress(OSError):  # a folder that cannot be written: pages are shown, and uploads told why not
        tempfile.tempdir = str(desk.spool.open())


def _say(message: dict[str, str]) -> None:
    sys.stdout.write(json.dumps(message) + "\n")
    sys.stdout.flush()


def _stop_with_parent() -> None:
    # Ends when the program that started us closes the pipe or dies, however it dies.
    with suppress(OSError, ValueError):
        sys.stdin.read()
    # only the main thread can leave the server's loop; the worker is closed on its way out
    _thread.interrupt_main(signal.SIGTERM)


def _leave(number: int, frame: object) -> None:
    raise KeyboardInterrupt


if __name__ == "__main__":
    sys.exit(main())
