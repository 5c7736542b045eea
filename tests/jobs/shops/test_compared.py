"""One figure in several workshops: the figures by hand, who takes no part; a board that looks on."""

import json
from datetime import date, timedelta

import numpy as np
import pytest

from qc.jobs.errors import JobError
from qc.jobs.shops import ShopGroup, compare_shops
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.stats import between_groups

PLAN = """
workshop: {{name: {name}, time_zone: UTC, lead: ML, false_signals_per_month: 0.5}}
models: [{{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}}]
people: [{{code: ML}}]
gauges: [{{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.01}}]
cards:
  - {{id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise, spots]}}
stages:
  - id: bow
    name: Bow
    characteristics:
      - {{id: rise, name: Rise, unit: mm, pool: all, limits: [{{target: 50, lower: 40, upper: 60}}]}}
      - {{id: spots, name: Spots, unit: count, kind: count, pool: all}}
"""
SHOPS = {"alder": (50.0, 24), "birch": (50.2, 24), "cedar": (53.0, 24), "dogwood": (50.0, 6)}
FIRST = date(2026, 3, 2)
LAST = FIRST + timedelta(days=23)
FIGURE = "bow/rise"


def draws(name):
    mean, pieces = SHOPS[name]
    return np.round(np.random.default_rng(sum(map(ord, name))).normal(mean, 0.8, pieces), 2)


def make(place):
    place.mkdir()
    for name in SHOPS:
        plan = PLAN.format(name=name.title())
        workshop = open_workshop(place / name, as_of=FIRST, create=True, writes=True, first_plan=plan)
        workshop.store.close()
        rows = ["serial,model,date,person,gauge,rise,spots"]
        for at, value in enumerate(draws(name)):
            rows.append(f"{name[0]}-{at:02d},alto,{FIRST + timedelta(days=at)},ML,HG-1,{value:.2f},{at % 3}")
        workshop = open_workshop(place / name, as_of=LAST, writes=True)
        upload(workshop, [("bow.csv", "\n".join(rows).encode())], who="ML")
        workshop.store.close()
    (place / "elm").mkdir()
    (place / "elm" / "plan.yaml").write_text("workshop: {", "utf-8")


@pytest.fixture(scope="module")
def group(made_once):
    """Three workshops that make one model, one with few pieces, one whose plan cannot be read."""
    return made_once("compared shops", make)


def test_the_figures_are_those_of_random_effects_on_each_shops_pieces(group):
    found = compare_shops(group, FIGURE, as_of=LAST)
    (alto,) = found.models
    own = [draws(name) for name in ("alder", "birch", "cedar")]
    shops = {one.folder: one for one in alto.shops}
    assert [shops[name].mean for name in ("alder", "birch", "cedar")] == pytest.approx(
        [x.mean() for x in own]
    )
    errors = [shops[name].standard_error for name in ("alder", "birch", "cedar")]
    for error, values in zip(
        errors, own, strict=True
    ):  # pieces that hang together count as fewer, never more
        assert error >= values.std(ddof=1) / len(values) ** 0.5 * 0.999
    expected = between_groups([x.mean() for x in own], errors)
    assert alto.mean == pytest.approx(expected.mean) and alto.between == pytest.approx(expected.between)
    assert shops["cedar"].interval == pytest.approx(expected.groups[2].interval)
    assert alto.shops[0].folder == "cedar" and shops["cedar"].differs and shops["cedar"].deviation > 1.0
    assert {one.target for one in alto.shops} == {50.0} and {one.pieces for one in alto.shops} == {24}


def test_who_takes_no_part_is_named_with_the_reason(group):
    left = compare_shops(group, FIGURE, as_of=LAST).left_out
    assert any(text.startswith("elm could not be asked: ") and "plan.yaml" in text for text in left)
    (few,) = [text for text in left if text.startswith("dogwood")]
    assert (
        few == "dogwood takes no part with Alto: its present state has 6 pieces of this model; 10 are needed."
    )


def test_the_command_says_it_in_words_and_as_json(group, command):
    words = ("status", "--group", group, "--compare", FIGURE, "--as-of", LAST)
    said = command(*words)
    assert said.exit_code == 0, said.stderr
    assert said.stdout.startswith(f"Bow: Rise, compared between the workshops in {group}")
    assert "Alto: 3 workshops, mean 51" in said.stdout
    assert "Cedar is 1" in said.stdout and "mm above the mean of the 3 workshops." in said.stdout
    assert "Of so few workshops little can be said about that." in said.stdout
    told = json.loads(command(*words, "--model", "alto", "--json").stdout)
    assert told == compare_shops(group, FIGURE, as_of=LAST).to_dict()


@pytest.mark.parametrize(
    "figure, model, said",
    [
        ("bow/rice", "", r"Did you mean bow/rise\? There are 2 figures: bow/rise, bow/spots"),
        (FIGURE, "tenor", "There is 1 model: alto"),
        ("bow/spots", "", "it is counted and not measured"),
    ],
)
def test_what_cannot_be_compared_says_what_to_do(group, figure, model, said):
    with pytest.raises(JobError, match=said):
        compare_shops(group, figure, model=model, as_of=LAST)


def test_options_that_make_no_sense_are_refused(group, command):
    for words in (["--compare", FIGURE], ["--group", group, "--model", "alto"]):
        refused = command("status", *words)
        assert refused.exit_code == 2 and "--compare goes with --group" in refused.stderr


def test_a_board_looks_on_and_writes_nothing(group):
    """What waits in a workshop is said and stays waiting: judging is that workshop's own."""
    workshop = open_workshop(group / "alder", as_of=LAST, writes=True)
    before = workshop.store.head(), workshop.store.pulse()
    over = ShopGroup(group, LAST)
    found = over.standing()
    assert [one.folder for one in found.workshops][0] == "elm" and found.faults
    alder = next(one for one in found.workshops if one.folder == "alder")
    assert (alder.last_hand_in, alder.series, alder.to_hold, alder.not_judged) == (LAST, 2, 0, "")
    assert over.figures() == (("bow/rise", "Bow: Rise"), ("bow/spots", "Bow: Spots"))
    assert over.compared(FIGURE) == compare_shops(group, FIGURE, as_of=LAST)
    assert "counted and not measured" in over.compared("bow/spots")
    assert (workshop.store.head(), workshop.store.pulse()) == before
    workshop.store.close()
    with pytest.raises(JobError, match="Name the folder in which"):
        ShopGroup(group / "alder")
