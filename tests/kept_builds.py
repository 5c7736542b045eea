"""Workshops that take long to make, kept from one run of the tests to the next while the program is the same.

They lie in `build/tests`, named by a hash over all that they are made by. A fresh copy of the project, and
every change of the program, makes them anew; who changes tests alone does not wait for them each time.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import on_a_server

import qc
import sample_measurements

ROOT = Path(__file__).resolve().parents[1]
PLACE = ROOT / "build" / "tests"
PROGRAM = (Path(qc.__file__).parent, Path(sample_measurements.__file__).parent, ROOT / "requirements.lock")


def hash_of(*tops: Path) -> str:
    """Return a hash over every file there is, with its place, and over the version of Python."""
    found = hashlib.sha256(sys.version.encode())
    for top in tops:
        for path in sorted(top.rglob("*")) if top.is_dir() else [top]:
            if path.is_file() and "__pycache__" not in path.parts:
                data = path.read_bytes()
                found.update(f"{path.relative_to(top.parent)} {len(data)} ".encode() + data)
    return found.hexdigest()[:20]


def keeping(
    name: str, make: Callable[[Path], object], *others: Path, place: Path = PLACE
) -> Callable[[Path], None]:
    """Return a maker that copies what an earlier run made by the same program, or makes it and keeps a copy.

    Parameters
    ----------
    name : str
        What is made; an older one of this name is removed.
    make : callable
        Makes it in the folder that it is given, the same each time.
    *others : pathlib.Path
        Files and folders beside the program by which it is made.
    place : pathlib.Path
        Where it is kept.
    """

    def made(folder: Path) -> None:
        if on_a_server.wanted():
            make(folder)  # its rows are on a server that ends with this run
            return
        own = place / f"{name} {hash_of(*PROGRAM, *others)}"
        if own.exists():
            shutil.copytree(own, folder)
            return
        make(folder)
        for old in place.glob(f"{name} *"):
            shutil.rmtree(old, ignore_errors=True)
        half = place / f"half of {name} {os.getpid()}"
        shutil.copytree(folder, half)
        try:
            half.rename(own)  # whole or not there, also where this run is killed
        except OSError:  # another run was first
            shutil.rmtree(half)

    return made
