import pytest

from qc.jobs.errors import JobError
from qc.jobs.new import new_workshop
from qc.jobs.workshop import open_workshop
from qc.plan import check_plan


def test_a_new_workshop_is_ready_to_edit_and_to_open(tmp_path):
    made = new_workshop(tmp_path / "shop")
    assert made.plan_file == tmp_path / "shop" / "plan.yaml"
    assert check_plan(made.plan_file) == []
    assert {p.name for p in made.folder.iterdir()} == {"plan.yaml", "qc.db", "sheets", "reports"}
    workshop = open_workshop(made.folder)
    assert workshop.store.readings().is_empty()
    assert workshop.store.verify() == []
    workshop.store.close()


def test_what_it_says(tmp_path):
    made = new_workshop(tmp_path / "shop")
    assert made.to_dict() == {"folder": str(tmp_path / "shop"), "plan": str(tmp_path / "shop" / "plan.yaml")}
    text = made.to_text()
    assert text.splitlines()[0] == f"Made the workshop {tmp_path / 'shop'}."
    assert "qc plan check" in text and "qc upload" in text


def test_an_empty_folder_will_do(tmp_path):
    assert new_workshop(tmp_path).folder == tmp_path


def test_a_workshop_is_never_written_over(tmp_path):
    made = new_workshop(tmp_path / "shop")
    made.plan_file.write_text("mine", "utf-8")
    with pytest.raises(JobError, match="already; nothing was changed"):
        new_workshop(tmp_path / "shop")
    assert made.plan_file.read_text("utf-8") == "mine"


@pytest.mark.parametrize("kind", ["folder", "file"])
def test_what_is_there_is_left_alone(tmp_path, kind):
    place = tmp_path / "place"
    if kind == "folder":
        place.mkdir()
        (place / "letter.txt").write_text("x")
    else:
        place.write_text("x")
    with pytest.raises(JobError, match="is not empty"):
        new_workshop(place)
    assert not (tmp_path / "place" / "plan.yaml").exists()
