"""A disk that is full at any size: all or nothing is kept, what is said of it is true, and room mends it.

No file may grow beyond a limit, which stands for the full disk. ``make fuzz`` takes every page.
"""

import shutil

import pytest
from fault_disk import FullDisk, settle_log
from fault_kills import TRACEBACK
from fault_sentences import WAITING, faults_of, truth
from fault_server import copied
from fault_shop import content, different, looked_at
from fault_verbs import BY_NAME, back_of, backups_of, clear_beside, out_of

STEPS = 4


KEPT = "upload one that nobody can read with one that is read"
DISKS = (
    *("upload one", KEPT, "upload with a mapping", "mend one", "close", "freeze"),
    *("a person leaves", "save a plan on the board"),
)


@pytest.fixture(scope="module", params=DISKS)
def disk(request, killing):
    return FullDisk(killing, BY_NAME[request.param])


@pytest.mark.slow
@pytest.mark.parametrize("step", range(STEPS))
def test_room_for_a_part_of_it(disk, step):
    assert disk.limited_to(disk.need * step // STEPS) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", ["upload one", KEPT, "upload with a mapping", "mend one"])
def test_a_disk_that_is_full_after_the_rows(killing, name):
    usual, verb = killing.unkilled(BY_NAME[name]), BY_NAME[name]
    shop = copied(usual.start, killing.folder / "full after")
    before = content(shop)
    run = killing.driver.run(*verb.typed(shop, killing.bench), before="disk full after the rows")
    assert truth(shop, before, usual.after) == WAITING
    assert faults_of(run, shop, before, usual.after) == []
    end = looked_at(killing.driver, shop)
    shutil.rmtree(shop)
    assert end == usual.after


NOT_MADE = {
    "backup": "No backup was made.",
    "restore": "Nothing was brought back.",
    "month": "None of its files was written",
    "export": "No table was written",
}
"""What is said where there is no room for what a verb makes beside the store."""


def made_by(name, shop):
    """Return what a verb has made, half or whole: files in their places, and whatever else lies there."""
    places = {"backup": [backups_of(shop)], "month": [shop / "reports"], "export": [out_of(shop)]}
    back = back_of(shop)
    tops = places.get(name, [back, *shop.parent.glob(f".{back.name}-*")])
    return sorted(path for top in tops for path in top.rglob("*") if path.is_file())


@pytest.mark.slow
@pytest.mark.parametrize("name", NOT_MADE)
def test_what_is_made_beside_the_store_is_whole_or_not_there(killing, name):
    """No room at all, half of the largest file, and one byte less than each of the three largest.

    So each file of a month is once the first that finds no room. Whether it goes with room again is asked
    after the first of these sizes, the middle one and the last; what is left behind is looked for after all.
    """
    verb, usual = BY_NAME[name], killing.unkilled(BY_NAME[name])
    roomy = copied(usual.start, killing.folder / "roomy beside")
    settle_log(roomy)
    assert killing.driver.run(*verb.typed(roomy, killing.bench)).code == 0
    made = sorted({path.stat().st_size for path in made_by(name, roomy)})[-3:]
    clear_beside(roomy)
    shutil.rmtree(roomy)
    wrong = []
    sizes = sorted({0, made[-1] // 2, *(size - 1 for size in made)})
    for size in sizes:
        shop = copied(usual.start, killing.folder / "full beside")
        settle_log(shop)
        before = content(shop)
        run = killing.driver.run(*verb.typed(shop, killing.bench), file_limit=size)
        left = made_by(name, shop)
        wrong += [f"{size}: {words}" for words in _not_so(run, NOT_MADE[name], left) if words]
        if size in {sizes[0], sizes[len(sizes) // 2], sizes[-1]}:
            again = killing.driver.run(*verb.typed(shop, killing.bench))
            wrong += [f"{size}, with room again: {again.err}"] * (again.code != 0)
            wrong += [f"{size}: {fault}" for fault in verb.whole(shop, done=True)]
        wrong += [f"{size}: rows were changed"] * (content(shop) != before)
        clear_beside(shop)
        shutil.rmtree(shop)
    assert wrong == []


def _not_so(run, sentence, left):
    """Say what is wrong with a verb that had no room: what it made, its exit code, its words."""
    yield f"left {[path.name for path in left]}" if left else ""
    yield f"exit code {run.code}" if run.code != 3 else ""
    yield (
        f"it says {run.err[-300:]!r}"
        if sentence not in run.err and "othing was stored" not in run.err
        else ""
    )
    yield "a traceback" if TRACEBACK in run.err else ""


@pytest.mark.slow
@pytest.mark.parametrize("name", ["open an old store", "open a store of 0001", "open a store of 0003"])
def test_no_room_to_carry_a_store_of_an_earlier_program_over(killing, name):
    """It is carried over or as it was, whatever room there is; the next command with room finds it whole."""
    verb, usual = BY_NAME[name], killing.unkilled(BY_NAME[name])
    roomy = (usual.end / "qc.db").stat().st_size
    wrong, starved = [], 0
    for part in range(5):
        shop = copied(usual.start, killing.folder / "full old")
        settle_log(shop)
        run = killing.driver.run(*verb.typed(shop, killing.bench), file_limit=roomy * part // 4)
        starved += run.code == 3
        wrong += [f"{part}: exit code {run.code}, {run.err[-300:]}"] * (run.code not in (0, 3))
        wrong += [f"{part}: a traceback"] * (TRACEBACK in run.err)
        end = looked_at(killing.driver, shop)
        wrong += [f"{part}: with room again {', '.join(different(end, usual.after))} differ"] * (
            end != usual.after
        )
        shutil.rmtree(shop)
    assert wrong == []
    assert starved
