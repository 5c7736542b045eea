"""What the tests of one piece share."""

import shutil
from pathlib import Path

import pytest

PLAN = Path(__file__).parents[3] / "sample_measurements" / "plan.yaml"


@pytest.fixture
def bare(tmp_path):
    """Return the folder of a workshop that has nothing but the plan of the sample."""
    shop = tmp_path / "shop"
    shop.mkdir()
    shutil.copyfile(PLAN, shop / "plan.yaml")
    return shop
