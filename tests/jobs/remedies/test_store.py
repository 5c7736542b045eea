"""Remedies straight from the workshop's store, on the invented sample workshop with its planted troubles."""

import json
from pathlib import Path

import pytest
import yaml

from sample_measurements.make.scenario import RACK_SERIALS

PLANTED = yaml.safe_load(
    (Path(__file__).parents[3] / "sample_measurements" / "planted.yaml").read_text("utf-8")
)["changes"]


def planted(series):
    return next(change for change in PLANTED if change["series"].startswith(series))


def test_the_planted_long_wrap_is_found_on_one_instrument(answer, demo_folder):
    change = planted("tuning/wrap_f")
    result = answer("tune", "--serial", change["first_serial"], "--workshop", demo_folder)
    wrap = next(length for length in result["lengths"] if length["part"] == "valve:F")
    assert wrap["action"] == "remove"
    assert wrap["interval_mm"][0] < change["size"] < wrap["interval_mm"][1]
    assert result["order_of_work"][0].startswith("F wrap about")


def test_the_wearing_die_is_the_first_to_change(run, answer, demo_folder):
    change = planted("draw/tube_od/tenor")
    tools = answer("wear", "--workshop", demo_folder)["tools"]
    die = next(tool for tool in tools if tool["tool"] == change["suspect"]["name"])
    assert die["slope"] > 0 and die["limit"] is not None
    assert die["change_by_count"] > change["count_now"]
    assert run("wear", "--workshop", demo_folder)[1].startswith(f"{die['tool']}: change by draw")


def test_removed_tools_are_not_forecast(answer, demo_folder):
    names = {
        tool["tool"] for tool in answer("wear", "--value", "tube_od", "--workshop", demo_folder)["tools"]
    }
    assert "D-22" not in names and "D-21" not in names and names


def test_thin_lacquer_of_a_planted_instrument(answer, demo_folder):
    serial = planted("lacquer/thickness")["first_serial"]
    result = answer("coat", "--serial", serial, "--workshop", demo_folder)
    assert {area["area"] for area in result["areas"]} == {"flare", "stem", "slide"}
    assert not any(area["house_80_20"] for area in result["areas"])


def test_tubes_already_in_slides_are_no_rack(answer, demo_folder):
    found = answer("pair", "--workshop", demo_folder)
    tubes = {one[side] for one in found["pairs"] for side in ("inner", "outer")}
    tubes |= {*found["left"]["inner"], *found["left"]["outer"]}
    assert tubes == {*RACK_SERIALS["inner"], *RACK_SERIALS["outer"]}


@pytest.mark.parametrize("words", [("tune", "--serial", "NOPE-1"), ("coat", "--serial", "NOPE-1")])
def test_unknown_piece(fault, demo_folder, words):
    assert "the store holds no readings" in fault(*words, "--workshop", demo_folder)


def test_unknown_figure_and_no_workshop(fault, demo_folder, tmp_path):
    assert "it has: tube_od" in fault("wear", "--value", "nope", "--workshop", demo_folder, code=2)
    assert "no workshop" in fault("wear", "--workshop", tmp_path / "none")


def test_model_of_the_workshops_plan(answer, demo_folder, write):
    notes = write(
        "n.csv", "partial,position,valve,cents\n2,1,,0\n4,1,,0\n2,1,F+D,-12\n4,1,F+D,-12\n2,1,F,0\n4,1,F,0\n"
    )
    words = ("tune", notes, "--model", "bass", "--workshop", demo_folder, "--reading-sd", 1)
    lengths = {length["part"]: length for length in answer(*words)["lengths"]}
    assert lengths["valve:D"]["action"] == "remove"
    assert lengths["valve:F"]["action"] == lengths["main"]["action"] == "none"


def test_unknown_model(fault, demo_folder, write):
    notes = write("n.csv", "partial,position,cents\n2,1,0\n")
    assert "it has: alto" in fault("tune", notes, "--model", "flute", "--workshop", demo_folder, code=2)


def test_a_rack_of_loose_tubes_in_the_store(demo_folder, monkeypatch, answer):
    """Loose tubes of a store: those measured on one side only; the others are left alone."""
    import polars as pl

    from qc.jobs.remedies import source

    shop = source._open(demo_folder)
    rows = shop.store.readings(characteristics=["inner_od", "outer_bore"])
    serials = rows["serial"].unique(maintain_order=True).to_list()[:3]
    loose = rows.filter(pl.col("serial").is_in(serials)).with_columns(
        pl.when(pl.col("characteristic") == "inner_od")
        .then(pl.concat_str(pl.lit("I-"), "serial"))
        .otherwise(pl.concat_str(pl.lit("O-"), "serial"))
        .alias("serial")
    )
    monkeypatch.setattr(type(shop.store), "readings", lambda self, **_: pl.concat([rows.head(0), loose]))
    result = answer("pair", "--workshop", demo_folder)
    assert {pair["inner"][:2] for pair in result["pairs"]} == {"I-"}
    assert {pair["outer"][:2] for pair in result["pairs"]} == {"O-"}
    assert len(result["pairs"]) == 3
    assert json.dumps(result)
