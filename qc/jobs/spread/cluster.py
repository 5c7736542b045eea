"""The workers of a cluster as hands: parts are sent to them, and what they came to is taken back in order.

A part goes to one worker. When that worker dies, the scheduler gives the part to another one; a part is a
pure function of what it is given, so it does not matter how often it was begun.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from qc.errors import MachineError, UsageError
from qc.jobs.spread.hands import Done, Hands, Part, in_turn
from qc.stats.change import program_fingerprint

if TYPE_CHECKING:
    from distributed import Client, Future

PATIENCE_S = 20.0
"""Chosen: a scheduler that is there answers at once, and its workers come within seconds of it."""
AHEAD = 2
"""Parts that wait for each thread of a worker beside the one it does; chosen: no thread waits for a part."""
COMPUTING = ("numpy", "scipy", "polars")
"""Packages that the figures come out of: the same version gives the same bits."""


def hands_of(address: str | None) -> AbstractContextManager[Hands]:
    """Return those who work: the cluster at an address, or this process where there is none."""
    return nullcontext(in_turn) if address is None else on_cluster(address)


@contextmanager
def on_cluster(address: str) -> Iterator[Hands]:
    """Let the workers of a scheduler do the parts of a work.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://192.0.2.10:8786``.

    Yields
    ------
    Hands
        Parts and results must be picklable.

    Raises
    ------
    UsageError
        The packages for it are not installed, or this is no address.
    MachineError
        Nobody answers there, no worker is at work, or a worker computes with another program than this one.
    """
    client = _joined(address)
    try:
        _check_program(client, address)
        yield _Cluster(client, address)
    finally:
        with suppress(OSError, TimeoutError):  # a scheduler that went away needs no goodbye
            client.close()


def computing_with() -> dict[str, str]:
    """Return what decides which figures come out: the program's statistics and what they compute with."""
    return {"qc": program_fingerprint()} | {name: version(name) for name in COMPUTING}


class _Cluster:
    def __init__(self, client: Client, address: str) -> None:
        self._client, self._address = client, address

    def __call__(self, work: Callable[[Part], Done], parts: Iterable[Part]) -> Iterator[Done]:
        """Keep the workers busy, and no more than that: a long list of parts never lies in memory."""
        waiting: deque[Future] = deque()
        try:
            for part in parts:
                waiting.append(self._client.submit(work, part, pure=False))
                while len(waiting) > self._threads() * (1 + AHEAD):
                    yield self._taken(waiting.popleft())
            while waiting:
                yield self._taken(waiting.popleft())
        finally:
            for future in waiting:
                future.cancel()

    def _threads(self) -> int:
        """Count the threads that are at work now: workers come and go."""
        threads: dict[str, int] = self._client.nthreads()
        return max(1, sum(threads.values()))

    def _taken(self, future: Future) -> Any:
        """Wait for one part and let go of it; an error that a person can act on comes back as itself."""
        from distributed import CancelledError, KilledWorker

        try:
            found = future.result()
        except KilledWorker as error:
            raise MachineError(
                f"{self._address}: a part of the work killed {error.allowed_failures + 1} workers one after "
                "the other, mostly because their memory ran out. Start workers with more memory, or fewer "
                "threads each."
            ) from error
        except (CancelledError, OSError) as error:
            raise _gone(self._address) from error
        future.release()
        return found


def _joined(address: str) -> Client:
    """Go to the scheduler, and wait until a worker is there."""
    try:
        from distributed import Client
    except ImportError as error:
        raise UsageError(
            "--cluster needs the packages dask and distributed, which are not installed here: install "
            "slide-brass-qc with its extra 'cluster'."
        ) from error
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except ValueError as error:
        raise UsageError(
            f"--cluster {address}: this is no address ({error}). It looks like tcp://NAME:8786."
        ) from error
    except (TimeoutError, OSError) as error:
        raise MachineError(
            f"{address}: no scheduler answers there. Start one with `dask scheduler`, and workers with "
            "`dask worker ADDRESS`, or leave --cluster out: the answer is the same."
        ) from error
    try:
        client.wait_for_workers(1, timeout=PATIENCE_S)
    except TimeoutError as error:
        client.close()
        raise MachineError(
            f"{address}: the scheduler is there, but no worker came within {PATIENCE_S:.0f} seconds. Start "
            f"one with `dask worker {address}`."
        ) from error
    return client


def _check_program(client: Client, address: str) -> None:
    """Refuse workers whose figures could differ in the last digit."""
    own = computing_with()
    try:
        found = client.run(computing_with)
    except ImportError as error:
        raise MachineError(
            f"{address}: a worker does not have this program ({error}). Install the same version of "
            "slide-brass-qc there, and start the worker from that environment."
        ) from error
    for worker, theirs in found.items():
        other = [f"{name} {theirs[name]} (here {own[name]})" for name in own if theirs[name] != own[name]]
        if other:
            raise MachineError(
                f"{worker}: this worker computes with {', '.join(other)}. Install there what is installed "
                "here, so that both come to the same figures."
            )


def _gone(address: str) -> MachineError:
    return MachineError(f"{address}: the scheduler went away. Start it anew and give the command again.")
