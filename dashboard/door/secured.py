"""The board on the shop's network: by TLS from a server that speaks it, which the usual one does not.

What is refused is looked at in `dashboard.door.access`, as for the usual server.
"""

from __future__ import annotations

import logging
import socket
import ssl
from pathlib import Path
from typing import Any, Final

from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server

from dashboard.door.access import MOST_BODY, MOST_BYTES, BoardRefused

THREADS: Final = 40
"""Requests read or answered at the same time; here one that comes drop by drop keeps a thread to itself."""

SILENT_S: Final = 10
EVERY_ADDRESS: Final = "0.0.0.0"
_log = logging.getLogger("dashboard.secured")


def listen_by_tls(application: Any, host: str, port: int, cert: Path, key: Path) -> Server:
    """Return a server of `application` that listens and speaks TLS.

    Parameters
    ----------
    application : WSGI application
        The board.
    host, port : str, int
        Where to listen; port 0 takes a free one.
    cert, key : Path
        Certificate (with those that vouch for it) and private key, PEM.

    Raises
    ------
    BoardRefused
        Certificate or key cannot be read, or do not belong together.
    OSError
        The port cannot be used.
    """
    server = _Server((host, port), application, numthreads=THREADS, server_name="board", timeout=SILENT_S)
    server.ssl_adapter = _adapter(cert, key)
    server.max_request_header_size = 2**15
    server.max_request_body_size = MOST_BYTES + MOST_BODY
    server.prepare()
    return server


def own_names() -> list[str]:
    """Return the names by which others on the network may reach this machine."""
    name = socket.gethostname().lower()
    return list(dict.fromkeys([name, socket.getfqdn().lower(), f"{name.split('.')[0]}.local"]))


class _Server(Server):
    """Writes to the log: nothing of a stranger's broken handshake belongs on the terminal."""

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        _log.log(min(level, logging.INFO), msg, exc_info=traceback)


class _Adapter(BuiltinSSLAdapter):
    """Shakes hands when a request is read: a client that says nothing would hold up every other else."""

    def wrap(self, sock: socket.socket) -> tuple[ssl.SSLSocket, dict[str, str]]:
        wrapped = self.context.wrap_socket(sock, do_handshake_on_connect=False, server_side=True)
        return wrapped, {"wsgi.url_scheme": "https", "HTTPS": "on"}


def _adapter(cert: Path, key: Path) -> _Adapter:
    for file, what in ((cert, "certificate"), (key, "key")):
        if not file.is_file():
            raise BoardRefused(f"There is no {what} {file}. Name the PEM file with --{_option(what)}.")
    try:
        adapter = _Adapter(str(cert), str(key))
    except (ssl.SSLError, OSError, ValueError) as error:
        raise BoardRefused(
            f"The certificate {cert} and the key {key} cannot be used together ({error}). Both are PEM "
            "files, the key without a passphrase."
        ) from error
    adapter.context.minimum_version = ssl.TLSVersion.TLSv1_2
    return adapter


def _option(what: str) -> str:
    return "cert" if what == "certificate" else "key"
