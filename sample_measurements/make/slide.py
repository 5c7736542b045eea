"""The slide and valve benches: slide workbooks with a tab an instrument, slide force, valve cards."""

from __future__ import annotations

from sample_measurements.make import scenario
from sample_measurements.make.flow import Flow, Piece
from sample_measurements.make.groups import by_fortnight, by_month
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Habit, Sheet, Tab, figure

SLIDE_BENCH = Habit(date_cells=True)
LEGS, STATIONS, DIRECTIONS = ("upper", "lower"), ("mouth", "middle", "crook"), ("0", "90")
HEADER = ["Leg", "Station", "Direction", "Surface", "Inner OD [mm]", "Outer bore [mm]"]


def slide_cards(flow: Flow, bores: dict[str, float], seed: int) -> list[Sheet]:
    """Return the slide workbooks, one a fortnight with a tab for each instrument."""
    noise = Noise(seed, "slide")
    sheets = []
    for day, pieces in by_fortnight(flow.at("slide"), lambda piece: piece.days["slide"]):
        tabs = [_slide_tab(piece, flow, bores, noise) for piece in pieces]
        sheets.append(Sheet(f"slide/slide-cards_{day}.xlsx", tabs, SLIDE_BENCH))
    return sheets


def _slide_tab(piece: Piece, flow: Flow, bores: dict[str, float], noise: Noise) -> Tab:
    person = noise.pick(scenario.CREW["slide"])
    day = piece.days["slide"]
    head = [
        ("Card", "Slide card"),
        ("Serial", piece.serial),
        ("Model", piece.model),
        ("Date", day.isoformat()),
        ("Person", person),
        ("Room C", figure(20.5 + noise.normal(0.9), 1)),
        ("Micrometer", "MIC-2"),
        ("Bore gauge", scenario.UNZEROED_GAUGE),
    ]
    tab = Tab(piece.serial, head, HEADER)
    target = scenario.TUBE_SIZES[scenario.TUBE_MODEL[piece.model]][1] - scenario.STOCKING_GAP_MM
    stocking = target + noise.normal(scenario.STOCKING_PIECE_SD_MM)
    wrong_zero = scenario.UNZEROED_MM if day >= flow.gauge_day else 0.0
    for leg, tube in zip(LEGS, piece.tubes, strict=True):
        inner = stocking + noise.normal(scenario.STOCKING_LEG_SD_MM)
        for station in STATIONS:
            for direction in DIRECTIONS:
                od = inner + noise.normal(scenario.SLIDE_READING_SD_MM)
                bore = bores[tube.serial] + scenario.BORE_STATION_MM[station] + wrong_zero
                bore += noise.normal(scenario.SLIDE_READING_SD_MM)
                tab.add(piece.serial, leg, station, direction, "stocking", figure(od, 3), figure(bore, 3))
        if person == "JU":  # writes the body down as well
            body = inner - scenario.BODY_BELOW_STOCKING_MM + noise.normal(0.004)
            tab.add(piece.serial, leg, "middle", "0", "body", figure(body, 3), "")
    return tab


def rack_card(flow: Flow, seed: int) -> Sheet:
    """Return the card of the loose tenor tubes that wait in the rack, inners and outers each by itself."""
    noise = Noise(seed, "rack")
    person = noise.pick(scenario.CREW["slide"])
    day = max(day for day in flow.days if day < flow.gauge_day)  # the bore gauge was still on its ring
    head = [
        ("Card", "Slide card"),
        ("Model", scenario.RACK_MODEL),
        ("Date", day.isoformat()),
        ("Person", person),
        ("Micrometer", "MIC-2"),
        ("Bore gauge", scenario.UNZEROED_GAUGE),
    ]
    tab = Tab("", head, ["Serial", *HEADER])
    bore = scenario.TUBE_SIZES[scenario.RACK_MODEL][1]
    sizes = {"inner": bore - scenario.STOCKING_GAP_MM, "outer": bore}
    for side, serials in scenario.RACK_SERIALS.items():
        for serial in serials:
            whole = sizes[side] + noise.normal(scenario.RACK_PIECE_SD_MM)
            for leg in LEGS:
                own = whole + noise.normal(scenario.STOCKING_LEG_SD_MM)
                for station in STATIONS:
                    for direction in DIRECTIONS:
                        read = figure(own + noise.normal(scenario.SLIDE_READING_SD_MM), 3)
                        cells = ("stocking", read, "") if side == "inner" else ("", "", read)
                        tab.add(serial, serial, leg, station, direction, *cells)
    return Sheet(f"slide/rack_{day.isoformat()}.csv", [tab])


def force_cards(flow: Flow, seed: int) -> list[Sheet]:
    """Return the slide force cards, a sheet a month."""
    noise = Noise(seed, "force")
    sheets = []
    for month, pieces in by_month(flow.at("slide"), lambda piece: piece.days["slide"]):
        head = [("Card", "Slide force card"), ("Gauge", "SB-1")]
        tab = Tab("", head, ["Date", "Serial", "Model", "Person", "Slide force [N]"])
        for piece in pieces:
            value = scenario.FORCE_MEDIAN * noise.ratio(scenario.FORCE_SPREAD)
            # the step of the spring balance in `plan.yaml`
            value = round(value / 0.05) * 0.05
            person = noise.pick(scenario.CREW["slide"])
            day = piece.days["slide"].isoformat()
            tab.add(
                piece.serial, day, piece.serial, piece.model, person, figure(value, 2, short=person == "FN")
            )
        sheets.append(Sheet(f"slide/slide-force_{month}.csv", [tab]))
    return sheets


def valve_cards(flow: Flow, seed: int) -> list[Sheet]:
    """Return the valve cards, a sheet a month; beside each valve stands the mandrel of its F wrap."""
    noise = Noise(seed, "valves")
    header = [
        "Date",
        "Serial",
        "Model",
        "Person",
        "Mandrel",
        "Valve",
        "Valve play [um]",
        "Valve leak [cm3/min]",
    ]
    sheets = []
    with_valves = [piece for piece in flow.at("valves") if piece.model in scenario.VALVES]
    for month, pieces in by_month(with_valves, lambda piece: piece.days["valves"]):
        head = [("Card", "Valve card"), ("Indicator", "IN-1"), ("Leak rig", "LR-2")]
        tab = Tab("", head, header)
        for piece in pieces:
            person = noise.pick(scenario.CREW["valves"])
            mean = scenario.PLAY_UM + noise.normal(scenario.PLAY_PIECE_SD_UM)
            leak = scenario.VALVE_LEAK_MEDIAN * noise.ratio(scenario.VALVE_LEAK_SPREAD)
            for valve in scenario.VALVES[piece.model]:
                play = mean + noise.normal(scenario.PLAY_READING_SD_UM)
                own_leak = leak * noise.ratio(1.08)
                day = piece.days["valves"].isoformat()
                cells = (day, piece.serial, piece.model, person, piece.mandrel, valve)
                tab.add(piece.serial, *cells, figure(play, 0), figure(own_leak, 1))
        sheets.append(Sheet(f"valves/valve-card_{month}.csv", [tab], Habit(separator="\t")))
    return sheets
