"""Reads sheets in a process of its own, so that a sheet which breaks the reader costs only itself.

Started by `reader` as ``python -m qc.ingest.reading.child MEGABYTES SECONDS``. Messages are JSON with their
length before them, never anything that runs when it is read: on stdin a question and the file's bytes, on
stdout one answer each, first a greeting. It ends when stdin does. Nothing heavy is imported here: what the
process takes before its first sheet is waited for at every upload from a cold start.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import struct
import sys
import traceback
from dataclasses import fields
from typing import Any, BinaryIO

from qc.ingest.errors import SheetError
from qc.ingest.reading.apart import limit_memory
from qc.ingest.reading.grid import Grid
from qc.ingest.reading.sheets import read_sheet
from qc.ingest.reading.workbooks import read_tab

LENGTH = struct.Struct(">Q")
MAX_QUESTION = 1_000_000
"""Longest question, without the file's bytes; it holds two names. [byte]"""

MAX_ANSWER = 150_000_000
"""Longest answer; chosen, three times that of the largest sheet measured (2 million short texts). [byte]"""


def send(stream: BinaryIO, message: dict[str, Any], data: bytes = b"") -> None:
    """Write a message and what comes with it."""
    for part in (*_packed(message), data):
        stream.write(part)
    stream.flush()


def receive(stream: BinaryIO, most: int) -> dict[str, Any] | None:
    """Read a message; None where the other side has ended.

    Raises
    ------
    ValueError
        It is longer than `most`, cut off, or no message.
    """
    head = stream.read(LENGTH.size)
    if not head:
        return None
    size = LENGTH.unpack(head)[0] if len(head) == LENGTH.size else most + 1
    if size > most:
        raise ValueError("no message, or one that is too long")
    text = stream.read(size)
    if len(text) < size:
        raise ValueError("a message that is cut off")
    message = json.loads(text)
    if not isinstance(message, dict):
        raise ValueError("a message of another kind")
    return message


def answer(question: dict[str, Any], data: bytes) -> dict[str, Any]:
    """Read what is asked for; what is wrong with the sheet is an answer too."""
    try:
        if question["what"] == "tab":
            return {"rows": read_tab(data, question["tab"], midnight=question["midnight"])}
        grids = read_sheet(data, question["name"])
    except SheetError as error:
        return {"refused": error.to_dict()}
    # not `asdict`, which copies every cell
    return {"grids": [{field.name: getattr(grid, field.name) for field in fields(Grid)} for grid in grids]}


def limit_time(seconds: int) -> None:
    """Let the system end this process if it works longer than that from now on, its parent gone or not."""
    try:
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        most = resource.getrlimit(resource.RLIMIT_CPU)[1]
        resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime) + seconds + 1, most))
    except (ImportError, OSError, ValueError):
        return


def serve(megabytes: int, seconds: int) -> None:
    """Answer one question after another until there are no more."""
    # Ctrl-C in a terminal reaches the parent too, which ends this process itself
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    questions = os.fdopen(os.dup(0), "rb")
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library may print must not stand among the answers
    # a large sheet is a million objects without a circle: looking for circles takes longer than reading them
    gc.disable()
    gc.freeze()
    send(answers, {"limited": limit_memory(megabytes)})
    while (question := receive(questions, MAX_QUESTION)) is not None:
        limit_time(seconds)
        data = questions.read(question["size"])
        if len(data) < question["size"]:
            return
        for part in _bounded(question, data):
            answers.write(part)
        answers.flush()
        gc.collect()


def _bounded(question: dict[str, Any], data: bytes) -> tuple[bytes, bytes]:
    """Answer a question, whatever reading the sheet comes to, with no more than may be sent."""
    number = {"number": question["number"]}
    fault = "error"
    try:
        length, text = _packed({**number, **answer(question, data)})
        if len(text) <= MAX_ANSWER:
            return length, text
        fault = "size"
    except MemoryError:
        fault = "memory"
    except Exception:
        traceback.print_exc()  # for the log; the parent says it in a sentence
    return _packed({**number, "fault": fault})


def _packed(message: dict[str, Any]) -> tuple[bytes, bytes]:
    text = json.dumps(message).encode()
    return LENGTH.pack(len(text)), text


if __name__ == "__main__":
    serve(int(sys.argv[1]), int(sys.argv[2]))
