"""A disk that is full at every size: by a limit on files, and by a small disk where one may be mounted."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
from contextlib import contextmanager

from fault_sentences import faults_of
from fault_server import copied
from fault_shop import content, different, looked_at
from fault_verbs import clear_beside

PAGE = 4096  # of the database
LIKELY = 64 * PAGE  # what a verb needs that closes its store, whose log is gone afterwards


def settle_log(shop):
    """Write the log of a store into its database, so that a limit on files falls on what is new."""
    with sqlite3.connect(shop / "qc.db") as conn:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    conn.close()


def _size(file):
    return file.stat().st_size if file.exists() else 0


class FullDisk:
    """Runs one verb on a disk with less and less room."""

    def __init__(self, killing, verb):
        self.killing, self.verb = killing, verb
        self.start = killing.unkilled(verb).start
        settle_log(self.start)
        done = copied(self.start, killing.folder / f"roomy {verb}")
        self.before = content(done)
        killing.driver.run(*self._typed(done))
        self.after = content(done)
        size = _size(done / "qc.db-wal")
        # what is left to the next command, or the board's worker, is done by whoever looks
        self.end = {n: rows for n, rows in looked_at(killing.driver, done).items() if n != "status"}
        self.need = size or LIKELY
        clear_beside(done)

    def _typed(self, shop):
        return self.verb.typed(shop, self.killing.bench)

    def limited_to(self, size):
        """Run the verb where no file may grow beyond `size` bytes; return what is wrong afterwards."""
        shop = copied(self.start, self.killing.folder / "full")
        try:
            run = self.killing.driver.run(*self._typed(shop), file_limit=size)
            return [f"{self.verb}, {size} bytes: {x}" for x in (*self._judged(run, shop), *self._later(shop))]
        finally:
            clear_beside(shop)
            shutil.rmtree(shop)

    def _judged(self, run, shop):
        beside = self.verb.whole(shop, done=False)
        if self.verb.opens and run.code == 0 and "Not judged since" in run.out:
            return beside  # who only looks is told that what is shown is that of before
        return [*faults_of(run, shop, self.before, self.after), *beside]

    def _later(self, shop):
        """Make room, say it again, and return what is wrong then."""
        looked_at(self.killing.driver, shop)
        self.killing.driver.run(*self._typed(shop))
        looked_at(self.killing.driver, shop)
        wrong = different(content(shop), self.end)
        beside = [f"with room again {fault}" for fault in self.verb.whole(shop, done=True)]
        found = beside + [f"with room again {', '.join(wrong)} differ"] if wrong else []
        verified = self.killing.driver.run("verify", "--workshop", str(shop))
        return found + ([f"verify: {verified.out[-300:]}{verified.err[-300:]}"] if verified.code else [])

    def on_small_disk(self, spare):
        """Run the verb on a disk of its own with `spare` bytes left; None where no disk may be mounted."""
        folder = self.killing.folder / "small disk"
        folder.mkdir(exist_ok=True)
        used = sum(f.stat().st_size + 2 * PAGE for f in self.start.rglob("*"))
        with _mounted(folder, used + spare) as mounted:
            if not mounted:
                return None
            shop = copied(self.start, folder / "shop")
            run = self.killing.driver.run(*self._typed(shop))
            found = self._judged(run, shop)
            moved = copied(shop, self.killing.folder / "roomy again")
        found += self._later(moved)
        shutil.rmtree(moved)
        return [f"{self.verb}, disk with {spare} bytes left: {one}" for one in found]


@contextmanager
def _mounted(folder, size):
    words = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    mounted = subprocess.run(words, capture_output=True, check=False).returncode == 0
    try:
        yield mounted
    finally:
        if mounted:
            subprocess.run(["umount", str(folder)], check=True)
