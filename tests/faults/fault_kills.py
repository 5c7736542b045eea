"""Kill a verb, let the next person go on, and compare the workshop with one where nobody was killed."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from dataclasses import dataclass, field

from fault_server import copied, removed
from fault_shop import content, different, looked_at
from fault_verbs import VERBS, backups_of, clear_beside

ROWS = (
    *("readings", "held", "sheets", "plans", "said", "unread", "mappings"),
    *("taken_back", "months", "pieces", "people"),
)
TOLD = ("verdicts", "signals", "told", "status")
TRACEBACK = "Traceback (most recent call last)"


@dataclass
class Tally:
    """What a series of kills came to; each fault is a sentence."""

    kills: int = 0
    missed: int = 0  # the verb was done before its kill
    lost_rows: int = 0
    lost_or_doubled_verdicts: int = 0
    tracebacks: int = 0
    faults: list[str] = field(default_factory=list)
    by_verb: Counter = field(default_factory=Counter)


@dataclass
class Unkilled:
    """A verb on a workshop where nothing goes wrong: before it, after it, and how long it took."""

    start: object
    end: object
    before: dict
    after: dict
    seconds: float
    steps: int


class Killing:
    """Kills in one base workshop; `folder` takes the copies that are harmed.

    `twin` kills in the same workshop kept otherwise: how it stands before a verb is asked there only.
    """

    def __init__(self, driver, shop, bench, folder, twin=None):
        self.driver, self.shop, self.bench, self.folder, self.twin = driver, shop, bench, folder, twin
        self._unkilled: dict[str, Unkilled] = {}

    def unkilled(self, verb):
        """Return how the verb goes when it is left alone; asked once."""
        if verb.name not in self._unkilled:
            self._unkilled[verb.name] = self._left_alone(verb)
        return self._unkilled[verb.name]

    def _left_alone(self, verb):
        start = copied(self.shop, self.folder / f"start {verb.name}")
        for words in verb.first:
            done = self.driver.run(*verb.typed(start, self.bench, words))
            assert done.code == 0, done.err
        verb.by_hand(start)
        before = self.twin.unkilled(verb).before if self.twin else self._before(verb, start)
        shop = copied(start, self.folder / f"after {verb.name}")
        done = self.driver.run(*verb.typed(shop, self.bench))
        assert done.code == verb.code, f"{verb}: {done.err or done.out}"
        assert verb.whole(shop, done=True) == []
        clear_beside(shop)
        after = looked_at(self.driver, shop)
        assert before == {} or different(before, after) or not verb.keeps, f"{verb} changes nothing"
        return Unkilled(start, shop, before, after, done.seconds, done.steps)

    def _before(self, verb, start):
        asked = copied(start, self.folder / f"before {verb.name}")
        before = {} if verb.opens else looked_at(self.driver, asked)
        removed(asked)
        return before

    def forget(self, verb):
        """Remove the workshops of a verb that nobody asks for any more."""
        known = self._unkilled.pop(verb.name)
        removed(known.start)
        removed(known.end)

    def kill(self, verb, chance, tally):
        """Kill the verb once at an instant drawn at random and enter what became of it."""
        usual = self.unkilled(verb)
        shop = copied(usual.start, self.folder / "harmed")
        # half of the kills fall by the clock, half between two statements, where the clock seldom falls
        by_clock = chance.random() < 0.5
        instant = chance.uniform(0.0, usual.seconds) if by_clock else chance.randint(1, usual.steps)
        how = {"kill_after": instant} if by_clock else {"kill_at": instant}
        words = verb.typed(shop, self.bench)
        run = self.driver.run(*words, **how)
        tally.kills += run.killed
        if not run.killed:
            tally.missed += 1
            usual.seconds = min(usual.seconds, run.seconds)  # the first time may have been a slow one
        tally.by_verb[verb.name] += run.killed
        told = f"{verb}, killed " + (f"after {instant:.3f} s" if by_clock else f"before step {instant}")
        tally.faults += [f"{told}: {fault}" for fault in verb.whole(shop, done=not run.killed)]
        self._go_on(verb, shop, usual, tally, told)
        tally.faults += [f"{told}, said again: {fault}" for fault in verb.whole(shop, done=True)]
        self._restore(shop, tally, told)
        clear_beside(shop)
        removed(shop)

    def _restore(self, shop, tally, told):
        """Bring back every backup that looks whole, the one of before a kill too."""
        for backup in sorted(backups_of(shop).glob("backup-*")):
            back = self.folder / "brought back"
            run = self.driver.run("restore", str(backup), str(back))
            wrong = different(content(shop), content(back)) if run.code == 0 else [run.err[-300:]]
            if wrong:
                tally.faults.append(f"{told}: {backup.name} brought back: {', '.join(wrong)}")
            shutil.rmtree(back, ignore_errors=True)

    def _go_on(self, verb, shop, usual, tally, told):
        """Do what the next person does: look, say it again, look again."""
        found = looked_at(self.driver, shop)
        whole = [state for state in (usual.before, usual.after) if state and not _apart(state, found)]
        if not whole and not verb.opens:
            nearest = min((_apart(state, found) for state in (usual.before, usual.after)), key=len)
            tally.faults.append(f"{told}: half of it was kept; {', '.join(nearest)} differ")
            tally.lost_or_doubled_verdicts += any(name in TOLD for name in nearest)
        again = self.driver.run(*verb.typed(shop, self.bench))
        tally.tracebacks += TRACEBACK in again.err
        if again.code not in (0, 1, 2) or TRACEBACK in again.err:
            tally.faults.append(f"{told}: said again it ended with {again.code}: {again.err[-300:]}")
        end = looked_at(self.driver, shop)
        wrong = different(usual.after, end)
        tally.lost_rows += any(name in ROWS for name in wrong)
        tally.lost_or_doubled_verdicts += any(name in TOLD for name in wrong)
        if wrong:
            tally.faults.append(f"{told}: said again, {', '.join(wrong)} differ from an unkilled run")
        verified = self.driver.run("verify", "--workshop", str(shop))
        if verified.code:
            tally.faults.append(f"{told}: verify says {verified.out[:300]}{verified.err[:300]}")


def _apart(state, found):
    """Name what differs; a sheet's file may lie there before its rows do, since it is written first."""
    wrong = different(state, found)
    if "files" in wrong and set(state["files"]) <= set(found["files"]):
        wrong.remove("files")
    return wrong


def kill_often(killing, kills, seed, tally=None):
    """Kill the verbs in turn until so many kills hit, each drawn from the seed."""
    chance, tally = random.Random(seed), tally or Tally()
    for number in range(kills * 3):
        if tally.kills >= kills:
            break
        killing.kill(VERBS[number % len(VERBS)], chance, tally)
    return tally
