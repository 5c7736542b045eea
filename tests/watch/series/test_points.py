from datetime import date

import pytest

from qc.watch import series_points


def clearance_rows(serial, bore=14.05, stocking=13.90, day=None, stations=("mouth", "crook"), **more):
    rows = []
    for leg in ("upper", "lower"):
        for station in stations:
            base = {
                "serial": serial,
                "model": "tenor",
                "stage": "slide",
                "leg": leg,
                "station": station,
                **more,
            }
            if day:
                base["day"] = day
            rows.append({**base, "characteristic": "outer_bore", "value": bore, "gauge": "BG-1"})
            rows.append(
                {
                    **base,
                    "characteristic": "inner_od",
                    "surface": "stocking",
                    "value": stocking,
                    "gauge": "MIC-1",
                }
            )
    return rows


def clearance(plan, frame):
    stage = plan.stage("slide")
    return series_points(frame, plan, stage, stage.characteristics[0], "all")


def test_clearance_is_bore_less_stocking_in_micrometres(small_plan, readings):
    found = clearance(small_plan, readings(clearance_rows("S-1", day=date(2026, 3, 2))))
    assert [p.value for p in found.points] == pytest.approx([150.0])
    assert found.points[0].gauge == "BG-1 + MIC-1"
    assert not found.centered


def test_a_clearance_is_whose_who_read_either_of_its_diameters(small_plan, readings):
    """Two people, one batch: the words of both readings, each once."""
    rows = clearance_rows("S-1", day=date(2026, 3, 2), batch="B-1")
    for row in rows:
        row["person"] = "AB" if row["characteristic"] == "inner_od" else "CD"
    (point,) = clearance(small_plan, readings(rows)).points
    assert (point.person, point.batch, point.tool) == ("AB + CD", "B-1", "")


def test_body_readings_take_no_part(small_plan, readings):
    rows = clearance_rows("S-1", day=date(2026, 3, 2))
    body = {**rows[1], "surface": "body", "value": 13.80}
    assert clearance(small_plan, readings([*rows, body])).points[0].value == pytest.approx(150.0)


def test_clearance_read_as_such_joins_the_series(small_plan, readings):
    day = date(2026, 3, 2)
    rows = [
        {
            "serial": "S-2",
            "model": "tenor",
            "stage": "slide",
            "characteristic": "clearance_read",
            "leg": leg,
            "station": station,
            "value": 140.0,
            "day": day,
        }
        for leg in ("upper", "lower")
        for station in ("mouth", "crook")
    ]
    found = clearance(small_plan, readings(clearance_rows("S-1", day=day) + rows))
    assert {p.serial: round(p.value) for p in found.points} == {"S-1": 150, "S-2": 140}


def test_a_piece_read_again_later_keeps_its_first_figure(small_plan, readings):
    rows = clearance_rows("S-1", day=date(2026, 3, 2))
    rows += [
        {**r, "value": 14.09} for r in clearance_rows("S-1", day=date(2026, 3, 9)) if r["gauge"] == "BG-1"
    ]
    plain = [r for r in rows if r["characteristic"] == "outer_bore"]
    stage = small_plan.stage("slide")
    direct = stage.characteristics[0].model_copy(update={"derive": None, "id": "outer_bore"})
    found = series_points(readings(plain), small_plan, stage, direct, "all")
    assert [p.value for p in found.points] == pytest.approx([14.05])


def test_too_few_stations_give_no_point(small_plan, readings):
    day = date(2026, 3, 2)
    rows = clearance_rows("S-1", day=day) + clearance_rows("S-2", day=day)
    rows += clearance_rows("S-3", day=day, stations=("mouth",))[:2]
    found = clearance(small_plan, readings(rows))
    assert [p.serial for p in found.points] == ["S-1", "S-2"]
    assert found.left_out == ("S-3",)


def test_family_and_model_choose_the_pieces(small_plan, readings):
    stage = small_plan.stage("slide")
    force = stage.characteristics[1]
    rows = [
        {"serial": f"S-{n}", "model": model, "stage": "slide", "characteristic": "force", "value": 1.0 + n}
        for n, model in enumerate(["tenor", "alto", "tenor"])
    ]
    frame = readings(rows)
    assert [p.serial for p in series_points(frame, small_plan, stage, force, "tenor").points] == [
        "S-0",
        "S-2",
    ]
    assert [p.serial for p in series_points(frame, small_plan, stage, force, "alto").points] == ["S-1"]


def test_unlike_targets_are_taken_off(small_plan, readings):
    from qc.plan import DatedLimits

    stage = small_plan.stage("slide")
    limits = (DatedLimits(models=("tenor",), target=10.0), DatedLimits(models=("alto",), target=4.0))
    force = stage.characteristics[1].model_copy(update={"pool": "all", "limits": limits})
    rows = [
        {"serial": "S-0", "model": "tenor", "stage": "slide", "characteristic": "force", "value": 11.0},
        {"serial": "S-1", "model": "alto", "stage": "slide", "characteristic": "force", "value": 3.5},
    ]
    found = series_points(readings(rows), small_plan, stage, force, "all")
    assert found.centered
    assert [p.value for p in found.points] == pytest.approx([1.0, -0.5])
    assert [p.measured for p in found.points] == pytest.approx([11.0, 3.5])


def test_nominal_change_keeps_its_past(small_plan, readings):
    from qc.plan import DatedLimits

    stage = small_plan.stage("slide")
    limits = (DatedLimits(target=10.0), DatedLimits(target=12.0, since=date(2026, 2, 1)))
    force = stage.characteristics[1].model_copy(update={"limits": limits})
    rows = [
        {
            "serial": f"S-{n}",
            "model": "tenor",
            "stage": "slide",
            "characteristic": "force",
            "value": v,
            "day": day,
        }
        for n, (v, day) in enumerate([(10.5, date(2026, 1, 20)), (12.5, date(2026, 2, 10))])
    ]
    found = series_points(readings(rows), small_plan, stage, force, "tenor")
    assert [p.value for p in found.points] == pytest.approx([0.5, 0.5])


def test_counts_add_up_over_areas_and_know_their_surface(small_plan, readings):
    stage = small_plan.stage("lacquer")
    rows = [
        {"serial": s, "model": m, "stage": "lacquer", "characteristic": "defects", "area": area, "value": v}
        | {"day": date(2026, 3, 2)}
        for s, m, area, v in [
            ("S-1", "tenor", "flare", 2.0),
            ("S-1", "tenor", "slide", 1.0),
            ("S-2", "alto", "flare", 0.0),
            ("S-2", "alto", "slide", 4.0),
        ]
    ]
    found = series_points(readings(rows), small_plan, stage, stage.characteristics[0], "all")
    assert [(p.serial, p.value, p.size) for p in found.points] == [("S-1", 3.0, 1.0), ("S-2", 4.0, 0.7)]


def test_pass_fail_counts_faults_of_units_tested(small_plan, readings):
    stage = small_plan.stage("lacquer")
    rows = [
        {
            "serial": "S-1",
            "model": "tenor",
            "stage": "lacquer",
            "characteristic": "good",
            "value": v,
            "repeat": n,
        }
        | {"day": date(2026, 3, 2)}
        for n, v in enumerate([0.0, 1.0, 0.0], start=1)
    ]
    point = series_points(readings(rows), small_plan, stage, stage.characteristics[1], "all").points[0]
    assert (point.value, point.size) == (1.0, 3.0)


def test_nothing_measured_gives_an_empty_series(small_plan, readings):
    assert clearance(small_plan, readings([])).points == ()
