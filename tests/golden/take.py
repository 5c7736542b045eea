"""Write the golden files anew: ``python tests/golden/take.py [NAME ...]``; look at the difference."""

import importlib.util
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))


def main(wanted):
    """Make the sample workshop in a folder of its own and write the files named, or all."""
    from qc.jobs.demo import make_demo

    spec = importlib.util.spec_from_file_location("golden_taking", HERE / "taking.py")
    taking = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(taking)
    taking.FILES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as room:
        make_demo(Path(room) / "demo")
        taker = taking.Taker(Path(room) / "demo", Path(room))
        names = wanted or taker.names()
        for name in names:
            start = time.perf_counter()
            text = taking.dumps(taking.settled(taker.take(name))) + "\n"
            (taking.FILES / f"{name}.json").write_text(text, "utf-8")
            print(f"{name}: {len(text)} characters, {time.perf_counter() - start:.1f} s")
    if not wanted:
        for path in taking.FILES.glob("*.json"):
            if path.stem not in names:
                path.unlink()


if __name__ == "__main__":
    main(sys.argv[1:])
