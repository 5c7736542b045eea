"""A row that was checked before anybody decided comes to the same, and only as long as nothing came in."""

import shutil

import pytest

from qc.jobs.board import tasks
from qc.jobs.rows import CheckedAhead, Decision, check_next, settle_rows, settling
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from sample_measurements import folder as sample_folder

FORCE = sorted((sample_folder() / "sheets").rglob("slide-force*.csv"))


@pytest.fixture(scope="module")
def forces(tmp_path_factory):
    """The folder of a workshop with the sample's forces and four rows held as ten times the usual."""
    folder = tmp_path_factory.mktemp("forces")
    (folder / "plan.yaml").write_bytes((sample_folder() / "plan.yaml").read_bytes())
    workshop = open_workshop(folder)
    upload(workshop, [(path.name, path.read_bytes()) for path in FORCE], who="IS")
    lines = ["Card,Slide force card,,,", "Gauge,SB-1,,,", ",,,,", "Date,Serial,Model,Person,Slide force [N]"]
    lines += [f"{workshop.today},QH-{1214 + n},tenor,FN,{5 + n / 10:.2f}" for n in range(4)]
    upload(workshop, [("far.csv", "\n".join(lines).encode())], who="IS")
    workshop.store.close()
    return folder


@pytest.fixture
def shop(forces, tmp_path):
    """A copy of it, to write into."""
    workshop = open_workshop(shutil.copytree(forces, tmp_path / "shop"))
    yield workshop
    workshop.store.close()


def own(shop):
    """Return the numbers of the four rows; others are held on the sample's own sheets."""
    return [row.id for row in shop.store.held() if row.file == "far.csv"]


def never(*_):
    raise AssertionError("it was checked once more")


def test_the_following_row_is_settled_by_what_was_found_ahead(shop, monkeypatch):
    numbers = own(shop)
    assert len(numbers) == 4
    ahead = CheckedAhead()
    assert check_next(shop, numbers[3], ahead) == (numbers[2],)
    entries = shop.store.pulse()
    with monkeypatch.context() as patch:
        patch.setattr(settling, "_check_again", never)
        (done,) = settle_rows(shop, [numbers[2]], Decision.PROPOSAL, who="IS", ahead=ahead).rows
    assert done.state == "accepted" and shop.store.pulse() > entries
    (plain,) = settle_rows(shop, [numbers[1]], Decision.PROPOSAL, who="IS").rows
    told = done.sentence.replace(f"Row {numbers[2]}", f"Row {numbers[1]}").replace("QH-1216", "QH-1215")
    assert plain.sentence == told.replace("5.20", "5.10").replace("0.52", "0.51")
    found = shop.store.readings(serials=["QH-1215", "QH-1216"]).sort("serial")
    assert found["value"].to_list() == [0.51, 0.52]
    assert shop.store.verify() == []


def test_what_was_found_before_something_came_in_is_not_used(shop, monkeypatch):
    numbers = own(shop)
    ahead = CheckedAhead()
    assert check_next(shop, numbers[3], ahead) == (numbers[2],)
    assert ahead.of(shop, numbers[2], Decision.PROPOSAL) is not None
    assert ahead.of(shop, numbers[2], Decision.AS_TYPED) is None
    settle_rows(shop, [numbers[0]], Decision.DROP, who="IS")
    assert ahead.of(shop, numbers[2], Decision.PROPOSAL) is None
    asked = []
    check = settling._check_again
    monkeypatch.setattr(settling, "_check_again", lambda *what: asked.append(1) or check(*what))
    settle_rows(shop, [numbers[2]], Decision.PROPOSAL, who="IS", ahead=ahead)
    assert asked == [1]


def test_another_value_is_checked_as_it_is_typed(shop, monkeypatch):
    numbers = own(shop)
    ahead = CheckedAhead()
    check_next(shop, numbers[3], ahead)
    changes = {"value": "1.1"}
    (done,) = settle_rows(shop, [numbers[2]], Decision.BY_HAND, changes, who="IS", ahead=ahead).rows
    assert done.state == "accepted"
    assert shop.store.readings(serials=["QH-1216"])["value"].to_list() == [1.1]


def test_the_next_row_with_a_mend_comes_first_and_nothing_is_checked_while_somebody_waits(shop):
    lines = ["Card,Slide force card,,,", "Gauge,SB-1,,,", ",,,,", "Date,Serial,Model,Person,Slide force [N]"]
    lines += [f"{shop.today},QH-1450,tenor,FN,6.10", f"{shop.today},QH-1452,tenor,FN,1.05"]
    lines += [f"{shop.today},QH-1454,tenor,FN,7.10"]
    upload(shop, [("mixed.csv", "\n".join(lines).encode())], who="IS")
    numbers = {row.as_typed()["serial"]: row.id for row in shop.store.held() if row.file == "mixed.csv"}
    assert len(numbers) == 3 and not shop.store.held(ids=[numbers["QH-1452"]])[0].proposal
    ahead = CheckedAhead()
    assert check_next(shop, numbers["QH-1454"], ahead) == (numbers["QH-1450"], numbers["QH-1452"])
    assert ahead.of(shop, numbers["QH-1450"], Decision.PROPOSAL) is not None
    assert ahead.of(shop, numbers["QH-1452"], Decision.AS_TYPED) is not None
    somebody = iter([False, True])
    last = numbers["QH-1454"]
    assert check_next(shop, last, CheckedAhead(), waits=lambda: next(somebody)) == (numbers["QH-1450"],)


def test_after_the_last_row_of_the_list_its_first_follows_and_then_none(shop):
    numbers = own(shop)
    every = [row.id for row in shop.store.held()]
    assert check_next(shop, min(every), CheckedAhead()) == (numbers[3],)
    settle_rows(shop, every, Decision.DROP, who="IS")
    assert check_next(shop, numbers[0], CheckedAhead()) == ()


def test_the_worker_checks_ahead_and_a_fault_of_the_data_is_nobodys(shop, tmp_path):
    numbers = own(shop)
    tasks.check_next_row(shop.folder, None, str(numbers[3]), lambda: False)
    assert tasks._AHEAD.of(shop, numbers[2], Decision.PROPOSAL) is not None
    tasks.check_next_row(tmp_path / "nowhere", None, str(numbers[3]), lambda: False)
