"""Make ``workshop_before.zip``: a small workshop as the program of its day kept it, for newer ones to open.

It is made once, by the real commands; what it answered then lies beside it in ``before/``. Made anew it
would prove nothing about workshops that exist, so ``take.py`` leaves it alone.
``python tests/golden/make_before.py`` makes one.
"""

import importlib.util
import shutil
import sqlite3
import sys
import tempfile
import zipfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))


def main():
    """Make the workshop, ask it, pack it."""
    spec = importlib.util.spec_from_file_location("golden_taking", HERE / "taking.py")
    taking = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(taking)
    taking.BEFORE.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as room:
        folder = Path(room) / "shop"
        folder.mkdir()
        shutil.copyfile(taking.sheet_folder().parent / "plan.yaml", folder / "plan.yaml")
        for words in taking.cases.BEFORE_MADE:
            answer = taking.call([*words, "--json"], {"demo": folder}, as_json=True)
            print(answer["code"], words[:3], answer["err"])
            if answer["code"]:
                raise SystemExit(f"{words} failed: {answer}")
        with sqlite3.connect(folder / "qc.db") as base:
            base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        base.close()
        with zipfile.ZipFile(
            HERE / "workshop_before.zip", "w", zipfile.ZIP_DEFLATED, compresslevel=9
        ) as packed:
            for path in sorted(folder.rglob("*")):
                if path.is_file() and not path.name.startswith("qc.db-"):
                    packed.write(path, path.relative_to(folder))
        for name, answer in taking.ask_before(Path(room) / "asked"):
            (taking.BEFORE / f"{name}.json").write_text(taking.dumps(taking.settled(answer)) + "\n", "utf-8")


if __name__ == "__main__":
    main()
