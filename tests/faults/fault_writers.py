"""Two people write at once: what is kept is what one after the other would have left."""

from __future__ import annotations

import random

from fault_driver import Plan
from fault_kills import TRACEBACK
from fault_server import copied, removed
from fault_shop import different, looked_at
from fault_verbs import BY_NAME

PAIRS = [
    ("upload one", "upload one"),
    ("upload one", "upload many"),
    ("upload one", "mend one"),
    ("upload one", "rejudge"),
    ("upload many", "close"),
    ("mend one", "mend one"),
    ("mend a range", "mend a range"),
    ("mend a range", "set a range aside"),
    ("take", "close"),
    ("close", "close"),
    ("close", "close as false"),
    ("comment", "close"),
    ("reopen", "reopen"),
    ("freeze", "freeze"),
    ("freeze", "leave out"),
    ("undo freeze", "undo freeze"),
    ("change the plan", "upload one"),
    ("save a plan on the board", "save a plan on the board"),
    ("a card of the bench", "a card of the bench"),
    ("open an old store", "open an old store"),
]
"""The second of a pair works in the state that the first one needs."""

NOT_BESIDE_ITSELF = {"read a sheet that waits", "restore"}
"""Said twice at once both are told that a sheet is read, and it is; a restore makes its place only once."""

EVERY = [
    *PAIRS,
    *((name, name) for name in BY_NAME if (name, name) not in PAIRS and name not in NOT_BESIDE_ITSELF),
]
"""These, and every other verb beside itself: for the long run."""


class Pair:
    """Two verbs in one workshop."""

    def __init__(self, killing, one, other):
        self.killing, self.verbs = killing, (BY_NAME[one], BY_NAME[other])
        usual = killing.unkilled(self.verbs[0])
        self.start = usual.start
        codes, found = self._in_turn((1,), usual.end)
        self.serial = [(codes, found)]
        # a verb said twice ends alike whoever was first: only the codes change hands
        self.serial.append((codes[::-1], found) if one == other else self._in_turn((1, 0), usual.start))

    def _typed(self, shop):
        return [verb.typed(shop, self.killing.bench) for verb in self.verbs]

    def _in_turn(self, order, start):
        """Run the verbs in this order; one that is left out was done before, and ended as it does."""
        shop = copied(start, self.killing.folder / f"in turn {order}")
        typed = self._typed(shop)
        codes = {0: self.verbs[0].code} | {
            number: self.killing.driver.run(*typed[number]).code for number in order
        }
        found = looked_at(self.killing.driver, shop)
        removed(shop)
        return [codes[0], codes[1]], found

    def at_once(self, chance: random.Random):
        """Run both at the same time, one of them a little later; return what is wrong afterwards."""
        shop = copied(self.start, self.killing.folder / "at once")
        waits = [0.0, chance.uniform(0.0, self.killing.unkilled(self.verbs[0]).seconds)]
        chance.shuffle(waits)
        plans = [Plan(words, wait=wait) for words, wait in zip(self._typed(shop), waits, strict=True)]
        runs = self.killing.driver.together(*plans)
        end = looked_at(self.killing.driver, shop)
        verified = self.killing.driver.run("verify", "--workshop", str(shop))
        removed(shop)
        found = [f"a traceback: {run.err[-300:]}" for run in runs if TRACEBACK in run.err]
        codes = [run.code for run in runs]
        # told in between is told as it was in between; verify holds what was told last against the verdicts
        ends = [
            (kept, [name for name in different(state, end) if name != "told"]) for kept, state in self.serial
        ]
        if not any(kept == codes and not wrong for kept, wrong in ends):
            said = "; ".join(run.err.strip()[-200:] for run in runs)
            found.append(f"it ended with {codes} where one after the other gives {ends} ({said})")
        if verified.code:
            found.append(f"verify: {verified.out[-300:]}")
        return [f"{self.verbs[0]} and {self.verbs[1]}, {waits}: {one}" for one in found]
