"""What a command that failed says was stored, held against what the store holds."""

from __future__ import annotations

import re

from fault_kills import ROWS, TOLD, TRACEBACK
from fault_shop import content, different

NOTHING, WAITING, JUDGED = "nothing was stored", "stored, not yet judged", "stored and judged"
CLAIMS = {
    NOTHING: re.compile(r"nothing (of it |new )?was (stored|changed|kept|written)", re.I),
    WAITING: re.compile(r"not (yet )?(been )?judged", re.I),
    # of a person who left nothing is judged
    JUDGED: re.compile(r"(is|are|was|were) stored and judged|has left and the name is erased", re.I),
}
MACHINE_AT_FAULT = 3
WELL = (0, 1)
"""Done, also where a sheet of several was refused."""


def truth(shop, before, after):
    """Return which of the three is so, by what the store holds; None where half of it is kept.

    `before` and `after` are contents of a workshop where nothing went wrong.
    """
    found = content(shop)
    own = [name for name in (*ROWS, *TOLD) if name in found]
    if not _wrong(found, before, own):
        return NOTHING
    if not _wrong(found, after, own):
        return JUDGED
    return None if _wrong(found, after, [name for name in ROWS if name in found]) else WAITING


def _wrong(found, state, names):
    return [name for name in different(found, state | found | {n: state[n] for n in names}) if name in names]


def faults_of(run, shop, before, after):
    """Return a sentence for each thing that is wrong with how a command failed for want of room or a lock."""
    so = truth(shop, before, after)
    if so is None:
        return ["half of it is kept"]
    if run.code in WELL:
        return [] if so == JUDGED else [f"it ended well, but {so}"]
    claimed = [name for name, words in CLAIMS.items() if words.search(run.err)]
    if so == JUDGED and all(before[name] == after[name] for name in TOLD if name in before and name in after):
        so = WAITING if claimed == [WAITING] else so  # no verdict hangs on it, so both are true
    found = []
    if TRACEBACK in run.err:
        found.append(f"a traceback: {run.err[-300:]}")
    if run.code != MACHINE_AT_FAULT:
        found.append(f"exit code {run.code}")
    if claimed != [so]:
        found.append(f"it says {' and '.join(claimed) or 'nothing'} where {so}: {run.err.strip()[-300:]}")
    return found
