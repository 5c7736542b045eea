"""What hangs is ended; what merely waits for a processor on a busy machine is not taken for it."""

import signal

import pytest
from fault_driver import waited_s


@pytest.mark.slow
def test_a_command_that_hangs_is_ended(driver):
    run = driver.run("--version", before="hang", longest=1.0)
    assert run.killed and run.code == -signal.SIGKILL


def test_waiting_for_a_processor_is_left_out_of_those_that_a_command_started_too(tmp_path):
    def laid(pid, waited_ns, children=""):
        place = tmp_path / str(pid) / "task" / str(pid)
        place.mkdir(parents=True, exist_ok=True)
        (tmp_path / str(pid) / "schedstat").write_text(f"5000000000 {waited_ns} 7\n")
        (place / "children").write_text(children)

    laid(7, 3_000_000_000, "8 ")
    laid(8, 1_500_000_000, "9")
    laid(9, 500_000_000)
    known = {}
    assert waited_s(7, known, tmp_path) == 5.0
    # the reader has ended: what it waited stays waited
    laid(7, 4_000_000_000)
    assert waited_s(7, known, tmp_path) == 6.0
    assert waited_s(10, {}, tmp_path) == 0.0
