"""A scheduler and two workers on the loopback, each a process of its own."""

import json
import subprocess
import sys
import time
from dataclasses import dataclass, field

import pytest

START_S = 60.0


@dataclass
class Cluster:
    """A scheduler with workers that can be killed."""

    address: str
    file: str
    workers: list = field(default_factory=list)

    def add_worker(self):
        """Start one more worker, of one thread and without a nanny: a killed one stays dead."""
        words = ["--scheduler-file", self.file, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
        self.workers.append(_started("distributed.cli.dask_worker", *words, "--host", "127.0.0.1"))


def _started(module, *words):
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    return subprocess.Popen([sys.executable, "-m", module, *words], **quiet)


@pytest.fixture
def scheduler(tmp_path):
    """Start a scheduler without workers."""
    file = tmp_path / "scheduler.json"
    words = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(file)]
    process = _started("distributed.cli.dask_scheduler", *words)
    end = time.monotonic() + START_S
    while not (file.exists() and file.read_text("utf-8").rstrip().endswith("}")):
        assert process.poll() is None, "the scheduler ended"
        assert time.monotonic() < end, "the scheduler did not start"
        time.sleep(0.05)
    cluster = Cluster(json.loads(file.read_text("utf-8"))["address"], str(file))
    yield cluster
    for one in (*cluster.workers, process):
        one.kill()
        one.wait()


@pytest.fixture
def cluster(scheduler):
    """Start a scheduler and two workers."""
    scheduler.add_worker()
    scheduler.add_worker()
    return scheduler
