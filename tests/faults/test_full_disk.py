"""A disk that is full at any size: all or nothing is kept, what is said of it is true, and room mends it.

No file may grow beyond a limit, which stands for the full disk. ``make fuzz`` takes every page.
"""

import shutil

import pytest
from fault_disk import FullDisk
from fault_sentences import WAITING, faults_of, truth
from fault_shop import content, copied, looked_at
from fault_verbs import BY_NAME

STEPS = 4


@pytest.fixture(scope="module", params=["upload one", "mend one", "close", "freeze"])
def disk(request, killing):
    return FullDisk(killing, BY_NAME[request.param])


@pytest.mark.slow
@pytest.mark.parametrize("step", range(STEPS))
def test_room_for_a_part_of_it(disk, step):
    assert disk.limited_to(disk.need * step // STEPS) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", ["upload one", "mend one"])
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
