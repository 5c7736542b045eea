"""The long run of ``make fuzz`` begins: nothing else would tell, before somebody has two hours for it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def run(*words):
    # as the Makefile starts it: nothing but the program itself says where its modules lie
    own = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    return subprocess.run(
        [sys.executable, *map(str, words)], env=own, capture_output=True, text=True, check=False
    )


@pytest.mark.slow
def test_the_long_run_and_the_run_of_one_reader_begin(killing, tmp_path):
    begun = run(HERE / "fuzz.py", "--help")
    assert begun.returncode == 0 and "--kills" in begun.stdout, begun.stderr
    one = run(HERE / "fault_fuzz.py", "tuning sheet", 0, killing.shop, tmp_path)
    assert one.returncode == 0, one.stderr
