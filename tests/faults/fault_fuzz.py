"""Fuzzes one target for some time, led by coverage where that fuzzer is installed, and keeps what it finds.

    python fault_fuzz.py TARGET SECONDS BASE_WORKSHOP FOLDER

Each find goes into FOLDER under the hash of its bytes, once for each fault; FOLDER/tally.json counts. The
fuzzer is `atheris` (Linux, the extra ``fuzz``); without it bytes are changed at random, blind to coverage.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import resource
import sys
import time
from pathlib import Path

sys.path[:0] = [str(place) for place in Path(__file__).resolve().parents[:3]]
os.environ.setdefault("POLARS_MAX_THREADS", "1")
LONGEST = 20_000  # bytes of one input
MOST_MB = 3_000
SLOW_S = 60.0
"""More processor time than one input may take, that of its readers included; on a machine with other work the
clock says nothing."""
HANGS_S = 1_200  # of the clock: what waits for ever


def _used_s():
    """Return the processor time of this process and of those that it started and that have ended [s]."""
    return sum(os.times()[:4])


class Fuzzing:
    """One target, its desk and what was found."""

    def __init__(self, name, seconds, base, out):
        from fault_desk import Desk
        from fault_targets import TARGETS

        self.target, self.out, self.end = TARGETS[name], out, time.monotonic() + seconds
        out.mkdir(parents=True, exist_ok=True)
        self.desk = Desk(base, out)
        self.cases, self.found, self.written = 0, {}, 0.0

    def once(self, data):
        """Try some bytes; a find is kept, and the next one is tried."""
        from fault_desk import FaultFound

        self.cases += 1
        (self.out / "last").write_bytes(data)  # what ended this process, should it end here
        begun = _used_s()
        try:
            self.desk.ask(self.target, data)
        except FaultFound as fault:
            self._keep(str(fault), data)
        if _used_s() - begun > SLOW_S:
            self._keep(f"it took more than {SLOW_S:.0f} s of processor time", data)
        if time.monotonic() > self.written + 1:
            self.tell()

    def _keep(self, fault, data):
        if fault not in self.found:
            digest = hashlib.sha256(data).hexdigest()[:16]
            self.found[fault] = digest
            (self.out / f"found-{digest}").write_bytes(data)

    def tell(self):
        """Write down how far it came."""
        self.written = time.monotonic()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        told = {"cases": self.cases, "found": self.found, "peak_kb": peak}
        (self.out / "tally.json").write_text(json.dumps(told), "utf-8")


def led_by_coverage(fuzzing, atheris):
    """Let the fuzzer choose the bytes by the lines they reach."""
    corpus = fuzzing.out / "corpus"
    corpus.mkdir(exist_ok=True)
    for number, seed in enumerate(fuzzing.target.seeds()):
        (corpus / f"seed-{number}").write_bytes(seed[:LONGEST])
    left = max(1, int(fuzzing.end - time.monotonic()))
    options = {
        "max_total_time": left,
        "timeout": HANGS_S,
        "rss_limit_mb": MOST_MB,
        "max_len": LONGEST,
        "verbosity": 0,
    }
    words = [f"-{name}={value}" for name, value in options.items()]
    atheris.Setup([sys.argv[0], str(corpus), f"-artifact_prefix={fuzzing.out}/ended-", *words], fuzzing.once)
    atheris.Fuzz()


def blind(fuzzing, seed=20260514):
    """Change, cut, double and mix bytes at random until the time is over."""
    chance, seeds = random.Random(seed), fuzzing.target.seeds()
    while time.monotonic() < fuzzing.end:
        data = bytearray(chance.choice(seeds)[:LONGEST])
        for _ in range(chance.randint(1, 6)):
            at, kind = chance.randint(0, len(data)), chance.randrange(4)
            if kind == 0:
                data[at : at + chance.randint(0, 8)] = chance.randbytes(chance.randint(0, 8))
            elif kind == 1:
                del data[at : at + chance.randint(1, 40)]
            elif kind == 2:
                data[at:at] = data[at : at + chance.randint(1, 80)]
            else:
                other = chance.choice(seeds)
                begin = chance.randint(0, len(other))
                data[at:at] = other[begin : begin + chance.randint(1, 80)]
        fuzzing.once(bytes(data))


def main():
    """Fuzz as the words of the command line say."""
    name, seconds, base, out = sys.argv[1], float(sys.argv[2]), Path(sys.argv[3]), Path(sys.argv[4])
    try:
        import atheris
    except ModuleNotFoundError:
        atheris = None
    if atheris is None:
        fuzzing = Fuzzing(name, seconds, base, out)
        blind(fuzzing)
        fuzzing.tell()
        return
    with atheris.instrument_imports(include=["qc", "dashboard"]):
        import qc.cli.main
        import qc.jobs.history
        import qc.jobs.plans
        import qc.jobs.questions.studies
        import qc.jobs.remedies.tuning
        import qc.jobs.rows.settling
        import qc.jobs.upload
        import qc.jobs.verify  # noqa: F401
    led_by_coverage(Fuzzing(name, seconds, base, out), atheris)


if __name__ == "__main__":
    main()
