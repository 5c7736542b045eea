"""Where readers are fuzzed: a workshop that is begun anew now and then, and what counts as a fault there.

A target makes a file (or an option, or a request) of the bytes it is given. Allowed are the exit codes of
the program and one sentence; anything else is a find: a fault of the program itself, a panic of a library, a
store that is no longer whole.
"""

from __future__ import annotations

import contextlib
import io
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fault_driver import BY_THE_BOARD
from fault_shop import content

RENEW_AFTER = 200  # runs in one store; then it is verified and begun anew, so that it stays small


class FaultFound(Exception):
    """What must not happen; the text is the same for the same fault."""


@dataclass(frozen=True)
class Target:
    """One reader: how bytes become words, what it starts from, and whether its store is verified."""

    words: Callable[[Path, Path, bytes], list[str]]
    seeds: Callable[[], list[bytes]]
    stores: bool = False


class Desk:
    """A workshop to fuzz in; `base` is the one it is begun anew from."""

    def __init__(self, base, folder):
        self.base, self.folder, self.shop, self.runs = base, folder, folder / "shop", 0
        self.faults = []
        self._prepare_program()
        self.renew()

    def _prepare_program(self):
        import qc.cli.main as program
        from qc.ingest.reading import reader

        program.log_fault = self._note
        # in this process, where the fuzzer sees which lines of the reader a file reaches
        reader._kept = reader.SheetReader()
        reader._kept.close()
        reader._kept.alone = True

    def _note(self, error):
        self.faults.append(error)

    def renew(self):
        """Begin with a fresh copy of the workshop."""
        shutil.rmtree(self.shop, ignore_errors=True)
        shutil.copytree(self.base, self.shop)
        self.runs = 0

    def ask(self, target, data):
        """Run a target on some bytes.

        Raises
        ------
        FaultFound
            What came of it is none of what is allowed.
        """
        self.runs += 1
        code, said = self.run(target.words(self.folder, self.shop, data))
        if code not in (0, 1, 2, 3):
            raise FaultFound(f"exit code {code}: {said[-200:]}")
        if target.stores and self.runs >= RENEW_AFTER:
            code, said = self.run(["verify", "--workshop", str(self.shop)])
            content(self.shop)
            self.renew()
            if code:
                raise FaultFound(f"the store is no longer whole: {said[-300:]}")

    def run(self, words):
        """Run a command here; return its exit code and what it printed."""
        from qc.cli.main import main

        main = BY_THE_BOARD.get(words[0], main)
        self.faults.clear()
        out = io.TextIOWrapper(io.BytesIO(), "utf-8", errors="replace", write_through=True)
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
                code = main([*words])
        except KeyboardInterrupt:
            raise
        except BaseException as error:  # a panic of a library in Rust is no Exception
            raise FaultFound(signature(error)) from error
        if self.faults:
            raise FaultFound(signature(self.faults[0])) from self.faults[0]
        return code, out.buffer.getvalue().decode("utf-8", "replace")


def signature(error):
    """Name a fault by its kind and the last line of ours that it came through."""
    place, step = "", error.__traceback__
    while step is not None:
        file = step.tb_frame.f_code.co_filename
        if "/qc/" in file:
            place = f"{file[file.rindex('/qc/') + 1 :]}, {step.tb_frame.f_code.co_name}"
        step = step.tb_next
    told = re.sub(r"0x[0-9a-f]+|\d+", "#", str(error)[:160])  # where in the bytes it was is no other fault
    return f"{type(error).__name__} in {place}: {told}"


def in_a_file(ending, words, folder, shop, data):
    """Write the bytes into a file and return the words with its name and the workshop's filled in."""
    file = folder / f"input{ending}"
    file.write_bytes(data)
    return [word.replace("FILE", str(file)).replace("SHOP", str(shop)) for word in words]
