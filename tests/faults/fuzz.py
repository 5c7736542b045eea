"""The long run of ``make fuzz``: kills, full disks, two writers, then every reader fuzzed; prints the sums.

    python tests/faults/fuzz.py [--minutes 10] [--kills 500] [--seed N] [--only TARGET ...] [--out DIR]

One process works at a time. What is found stays in the output folder, to be made a test in ``found``.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1])]

from fault_disk import PAGE, FullDisk, settle_log  # noqa: E402
from fault_driver import Driver  # noqa: E402
from fault_kills import Killing, kill_often  # noqa: E402
from fault_shop import make_base  # noqa: E402
from fault_targets import TARGETS  # noqa: E402
from fault_verbs import OF_FILES, VERBS  # noqa: E402
from fault_writers import EVERY, Pair  # noqa: E402

EVERY_PAGE = ("upload one", "mend one", "close", "freeze")
"""One of each kind of writing: there the disk is full at every page, elsewhere at every eighth."""
AT_ONCE = 3  # tries for each pair of writers


def say(*words):
    """Print at once: a run takes hours, and somebody watches."""
    print(*words, flush=True)


def full_disks(killing):
    """Fill the disk at steps of what each verb needs, and on small disks where they may be mounted.

    What a verb makes beside a store that it leaves as it is (a backup, a month, an export), and stores of
    earlier programs, are asked in `test_full_disk`.
    """
    found, steps, small = [], 0, 0
    for verb in VERBS:
        if not verb.keeps or verb.name in OF_FILES:
            continue
        disk, every = FullDisk(killing, verb), verb.name in EVERY_PAGE
        for size in range(0, disk.need + PAGE, PAGE if every else 8 * PAGE):
            found += disk.limited_to(size)
            steps += 1
        for part in range(8 if every else 0):
            told = disk.on_small_disk(disk.need * part // 6)
            small += told is not None
            found += told or []
        say(f"full disks: {verb}, {steps} sizes so far, wrong {len(found)}")
    return found, steps, small


def two_writers(killing, seed):
    """Let every pair write at once a few times."""
    found, chance = [], random.Random(seed)
    for names in EVERY:
        pair = Pair(killing, *names)
        found += [fault for _ in range(AT_ONCE) for fault in pair.at_once(chance)]
    return found


def fuzz(name, seconds, base, out):
    """Fuzz one target in a process of its own; one that dies is a find, and another goes on."""
    end, cases, found, peak = time.monotonic() + seconds, 0, {}, 0
    while (left := end - time.monotonic()) > 5:
        words = [sys.executable, str(HERE / "fault_fuzz.py"), name, f"{left:.0f}", str(base), str(out)]
        with (out.parent / f"{name}.log").open("ab") as log:
            code = subprocess.run(words, stdout=log, stderr=log, check=False).returncode
        told = json.loads((out / "tally.json").read_text("utf-8"))
        cases, peak, found = cases + told["cases"], max(peak, told["peak_kb"]), found | told["found"]
        if code:
            kept = out / f"ended-{len(found)}"
            shutil.copyfile(out / "last", kept)
            found[f"the process ended with {code}"] = kept.name
    return cases, found, peak


def main():
    """Do all of it and print the sums; the exit code is 1 where anything was found."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--minutes", type=float, default=10.0, help="for each reader")
    asked.add_argument("--kills", type=int, default=500)
    asked.add_argument("--seed", type=int, default=20260514)
    asked.add_argument("--only", nargs="*", default=list(TARGETS), choices=list(TARGETS), metavar="TARGET")
    asked.add_argument("--out", type=Path, default=Path("build/fuzz"))
    options = asked.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    place, faults, peak = Path(tempfile.mkdtemp(prefix="fuzz-")), [], 0
    with Driver() as driver:
        base = make_base(driver, place)
        settle_log(base)
        if options.kills:
            killing = Killing(driver, base, place / "bench", place)
            tally = kill_often(killing, options.kills, options.seed)
            say(f"kills {tally.kills} ({len(tally.by_verb)} verbs), lost rows {tally.lost_rows},")
            say(f"lost or doubled verdicts {tally.lost_or_doubled_verdicts}, tracebacks {tally.tracebacks}")
            disks, steps, small = full_disks(killing)
            say(f"full disks {steps} sizes and {small} small disks, wrong {len(disks)}")
            writers = two_writers(killing, options.seed)
            say(f"two writers {len(EVERY)} pairs, {AT_ONCE} times each, wrong {len(writers)}")
            faults += tally.faults + disks + writers
        peak = driver.peak_kb
    cases = 0
    for name in options.only:
        own, found, most = fuzz(name, 60 * options.minutes, base, options.out.resolve() / name)
        cases, peak = cases + own, max(peak, most)
        say(f"fuzzed {name}: {own} cases, {len(found)} faults, peak {most // 1024} MB")
        faults += [f"{name}: {fault} (file {file})" for fault, file in found.items()]
    shutil.rmtree(place)
    say(f"cases {cases}, faults {len(faults)}, peak memory {peak // 1024} MB")
    for fault in faults:
        say("  " + fault)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
