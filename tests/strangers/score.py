"""Score the pipeline on the strangers' workshops: what it told, day by day, beside what is true.

    python tests/strangers/score.py [--seeds 1 2 ...] [--months M] [--only NAME ...] [--jobs 2]
    python tests/strangers/score.py --kept build/strangers/*-05d3e99e3aec.json [--markdown FILE]

Each workshop of each seed is made, founded, lived through and kept as one file in build/strangers, named by
workshop, seed, months and the program's fingerprint; what is there already is not run again. Seeds 1 to 4 are
for tuning. 101 to 106 are fresh: they are run for a final table only.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path

from score_replay import live_through, makers, program_of
from score_tally import Json, Line, tally

from qc.ingest import keep_reader

KEPT = Path("build/strangers")
Task = tuple[str, int, int | None]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run what is asked for and print the table; 1 where a workshop broke off."""
    asked = _asked(arguments)
    if asked.kept:
        records = [json.loads(file.read_text("utf-8")) for file in asked.kept]
        failed = False
    else:
        tasks = [(name, seed, asked.months) for seed in asked.seeds for name in asked.only or makers()]
        records, failed = _run(tasks, asked.keep, asked.jobs)
    if not records:
        _say("There is nothing to score.")
        return 1
    lines = table(records)
    sys.stdout.write(plain_text(lines))
    if asked.markdown is not None:
        asked.markdown.write_text(markdown_text(lines), "utf-8")
    return int(failed)


def table(records: Sequence[Json]) -> list[tuple[str, str, list[str]]]:
    """Put the tallies of each workshop and of all of them beside one another, the head first."""
    names = sorted({record["workshop"] for record in records})
    columns: list[list[Line]] = [tally([r for r in records if r["workshop"] == name]) for name in names]
    columns.append(tally(records))
    head = ("", "", [*(_head(name, records) for name in names), "all"])
    body = [
        (section, what, [column[i][2].text() for column in columns])
        for i, (section, what, _) in enumerate(columns[-1])
    ]
    return [head, *body]


def plain_text(lines: Sequence[tuple[str, str, list[str]]]) -> str:
    """Set the table for a terminal: a section's name on a line of its own."""
    wide = [max(len(cells[i]) for _, _, cells in lines) for i in range(len(lines[0][2]))]
    first = max(len(what) for _, what, _ in lines)
    out = []
    for section, what, cells in _broken(lines):
        if section:
            out.append(f"\n{section}")
        out.append(f"  {what:{first}}  " + "  ".join(f"{c:>{w}}" for c, w in zip(cells, wide, strict=True)))
    return "\n".join(line.rstrip() for line in out) + "\n"


def markdown_text(lines: Sequence[tuple[str, str, list[str]]]) -> str:
    """Set the table for a page, a section's name in a row of its own."""
    head, *body = lines
    out = ["| " + " | ".join(["", *head[2]]) + " |", "|" + " --- |" * (len(head[2]) + 1)]
    for section, what, cells in _broken(body):
        if section:
            out.append(f"| **{section}** |" + " |" * len(cells))
        out.append("| " + " | ".join([what, *cells]) + " |")
    return "\n".join(out) + "\n"


def _broken(lines: Sequence[tuple[str, str, list[str]]]) -> Iterator[tuple[str, str, list[str]]]:
    """Keep the name of a section on its first line only, and leave out lines that count nothing anywhere."""
    before = ""
    for section, what, cells in lines:
        if all(cell == "-" for cell in cells):
            continue
        yield section if section != before else "", what, cells
        before = section


def _head(name: str, records: Sequence[Json]) -> str:
    seeds = [str(record["seed"]) for record in records if record["workshop"] == name]
    return f"{name} {','.join(seeds)}"


def _run(tasks: Sequence[Task], keep: Path, jobs: int) -> tuple[list[Json], bool]:
    """Live through what is not kept yet, `jobs` at a time; return the records, and whether one broke."""
    keep.mkdir(parents=True, exist_ok=True)
    program = program_of()
    files = {task: keep / f"{_name(task)}-{program}.json" for task in tasks}
    waiting = [task for task in tasks if not files[task].exists()]
    _say(
        f"{len(tasks) - len(waiting)} of {len(tasks)} workshops are kept, {len(waiting)} to be lived through."
    )
    failed = False
    if jobs == 1:
        for task in waiting:
            failed |= _broke(task, partial(_live, task, files[task]))
    elif waiting:
        with ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn")) as pool:
            sent = {pool.submit(_live, task, files[task]): task for task in waiting}
            for done in as_completed(sent):
                failed |= _broke(sent[done], done.result)
    return [json.loads(file.read_text("utf-8")) for file in files.values() if file.exists()], failed


def _live(task: Task, file: Path) -> float:
    """Live through one workshop and keep its record, whole or not at all; returns the seconds it took."""
    place = file.parent / "live" / _name(task)
    keep_reader()
    record = live_through(*task, place, _say)
    if not file.stem.endswith(record["program"]):
        raise RuntimeError("the program changed while the workshop was lived through; run it again")
    half = file.with_suffix(".half")
    half.write_text(json.dumps(record), "utf-8")
    half.replace(file)
    shutil.rmtree(place)
    return float(sum(record["seconds"].values()))


def _broke(task: Task, result: Callable[[], float]) -> bool:
    """Say how a workshop went; one that breaks off keeps none of the others from going on."""
    try:
        seconds = result()
    except Exception as error:  # whatever it is, the others are worth having
        _say(f"{_name(task)} broke off: {type(error).__name__}: {error}")
        return True
    _say(f"{_name(task)} took {seconds:.0f} s.")
    return False


def _name(task: Task) -> str:
    name, seed, months = task
    return f"{name}-{seed}" if months is None else f"{name}-{seed}-{months}m"


def _say(what: str) -> None:
    sys.stderr.write(f"{what}\n")
    sys.stderr.flush()


def _asked(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3, 4])
    parser.add_argument(
        "--months", type=int, default=None, help="how long; each maker's own length if left out"
    )
    parser.add_argument("--only", nargs="+", choices=list(makers()), help="these workshops only")
    parser.add_argument("--jobs", type=int, choices=(1, 2), default=1, help="workshops at a time")
    parser.add_argument("--keep", type=Path, default=KEPT, help="where the records are kept")
    parser.add_argument("--kept", type=Path, nargs="+", help="only print the table of these records")
    parser.add_argument("--markdown", type=Path, help="write the table there too, as Markdown")
    return parser.parse_args(arguments)


if __name__ == "__main__":
    raise SystemExit(main())
