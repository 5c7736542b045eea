"""Workshops of the faults whose rows are on the server of the tests: copied, asked, removed like folders."""

from __future__ import annotations

import shutil
import sqlite3
import time
from contextlib import closing, contextmanager
from pathlib import Path

from postgres_server import Server, name_of

ADDRESS = "database.txt"
LONGEST_S = 10  # a server notices at once that a killed program is gone, and undoes what it had begun


def address_of(shop: Path) -> str:
    """Return the address of a workshop's rows, empty where they are in its file."""
    file = shop / ADDRESS
    return file.read_text("utf-8").strip() if file.is_file() else ""


@contextmanager
def asking(shop: Path):
    """Give a connection of its own to the rows, whose rows go by name; once whoever was killed is gone."""
    address = address_of(shop)
    if not address:
        with closing(sqlite3.connect(f"file:{shop / 'qc.db'}?mode=ro", uri=True)) as conn:
            conn.row_factory = sqlite3.Row
            yield conn
        return
    import psycopg
    from psycopg.rows import dict_row

    with psycopg.connect(address, row_factory=dict_row) as conn:
        others = (
            "SELECT count(*) AS n FROM pg_stat_activity WHERE datname = %s AND pid <> pg_backend_pid() "
            "AND backend_type = 'client backend'"
        )
        until = time.monotonic() + LONGEST_S
        while conn.execute(others, (name_of(address),)).fetchone()["n"]:
            assert time.monotonic() < until, "somebody stays connected"
            time.sleep(0.005)
        yield conn


def copied(shop: Path, folder: Path) -> Path:
    """Return a copy of a workshop, to be harmed; rows on a server are copied into a database of its own."""
    shutil.copytree(shop, folder)
    if address := address_of(shop):
        with asking(shop):
            pass  # nobody may be connected to what is copied
        (folder / ADDRESS).write_text(Server.of(address).make(name_of(address)), "utf-8")
    return folder


_TAKES: dict[Path, str] = {}


def taking_rows(shop: Path) -> str:
    """Return the address of the database that takes the rows of a workshop, an empty one the first time."""
    if shop not in _TAKES:
        _TAKES[shop] = _SERVER[0].make()
    return _TAKES[shop]


def forget_taken(shop: Path) -> None:
    """Drop the database that took the rows of a workshop."""
    if address := _TAKES.pop(shop, ""):
        Server.of(address).drop(address)


_SERVER: list[Server] = []  # the one of these tests, once something asked for it


def use(server: Server) -> Server:
    """Let verbs that carry rows to a server find it."""
    _SERVER[:] = [server]
    return server


def removed(shop: Path) -> None:
    """Remove a workshop, and its rows where a server has them."""
    if address := address_of(shop):
        Server.of(address).drop(address)
    shutil.rmtree(shop)
