"""A small invented workshop that answers the board's questions: three series drift, one learns.

The rest is steady. Every name and figure is made up; random numbers are seeded: each run sees the same shop.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from qc.errors import QcError
from qc.jobs.board.gauge_views import BiasView, CheckView, GaugeView, MeasureView
from qc.jobs.board.views import (
    BudgetView,
    ChartMark,
    DecidedView,
    DecisionView,
    Due,
    EventRow,
    Forecast,
    HeldReason,
    HeldView,
    HoldList,
    HoldRow,
    InstrumentReading,
    InstrumentRow,
    InstrumentView,
    ModelView,
    Point,
    ReportView,
    SeriesKey,
    SeriesVerdict,
    SeriesView,
    SheetView,
    ShopView,
    SignalComment,
    SignalResult,
    SignalView,
    StageView,
    StretchResult,
    Suspect,
    TodayView,
    TouchedView,
    limits_words,
)
from qc.jobs.board.weighed import WorthRow, WorthView
from qc.jobs.in_hand import BenchDay, CardsIn, DayView, Holders, Share
from qc.jobs.losses import ReworkReport, UpstreamReport
from qc.jobs.pieces import PieceDecided
from qc.jobs.pieces.rows import Whereabouts
from qc.sayings import What
from qc.states import WORST_LIMITS
from qc.stats import RankAssociation
from qc.watch import (
    Earlier,
    GoesWith,
    NotPassed,
    PieceFigure,
    ReworkCause,
    ScreenedResult,
    StageYield,
    apply_rules,
    rule_offers,
    rules_price,
)

TODAY = date(2026, 11, 24)
MODELS = (
    ModelView("alto", "alto", "diamond"),
    ModelView("tenor-bass", "tenor-bass", "circle"),
    ModelView("bass", "bass", "square"),
)
WORTH = WorthView(
    6.5,
    ("", "hours a month", "told after", "every 2nd", "twice", "by others", "found", "advice"),
    (
        WorthRow(
            SeriesKey("slide", "clearance", "all"),
            "Slide: Clearance",
            ("Slide: Clearance", "4.0", "12 (11 to 13)", "24", "8", "10 %", "1 of 0.5", "measure twice"),
            "measure twice",
            "With each reading taken twice, it is told after 8.",
            False,
            (("Readings", "240 a month on 10 pieces"),),
        ),
        WorthRow(
            SeriesKey("draw", "od", "all"),
            "Draw: Tube OD",
            ("Draw: Tube OD", "2.5", "2", "4", "", "", "0 of 0.4", "keep"),
            "keep",
            "How far the gauge scatters is not known (no `spread` in the plan).",
            True,
            (("Readings", "80 a month on 40 pieces"),),
        ),
    ),
    "told after: pieces.",
    ("Bench time is 20 s where the plan gives no `reading_seconds`.",),
)
STAGES = (
    (
        "draw",
        "Draw",
        (("outer-bore", "Outer tube bore", "um", "all"), ("od", "Inner tube outside", "um", "all")),
    ),
    ("bell", "Bell", (("wall", "Bell wall, middle", "mm", "all"), ("mass", "Bell mass", "g", "all"))),
    ("joints", "Joints", (("leak", "Joint leak", "cm3/min", "all"),)),
    (
        "slide",
        "Slide",
        (
            ("clear-upper", "Clearance, upper leg", "um", "all"),
            ("clear-lower", "Clearance, lower leg", "um", "all"),
            ("force", "Pull", "N", "tenor"),
            ("force", "Pull", "N", "bass"),
        ),
    ),
    (
        "valves",
        "Valves",
        (("play", "Rotor play", "um", "all"), ("valve-leak", "Valve leak", "cm3/min", "all")),
    ),
    (
        "tuning",
        "Tuning",
        (
            ("f-wrap", "F wrap length", "mm", "tenor-bass"),
            ("main", "Main length", "mm", "tenor"),
            ("main", "Main length", "mm", "bass"),
            ("partial-6", "Sixth partial", "cent", "tenor"),
            ("scatter", "Scatter of notes", "cent", "all"),
        ),
    ),
    ("polish", "Polish", (("mass-off", "Mass taken off", "g", "all"),)),
    (
        "lacquer",
        "Lacquer",
        (("thickness", "Lacquer thickness", "um", "all"), ("runs", "Runs and specks", "count", "all")),
    ),
)
SHIFTED = {
    "tuning/f-wrap/tenor-bass": (1.7, 3.9, 22.9, 35, 46),
    "slide/clear-upper/all": (62.0, 5.0, 48.0, 40, 50),
}
BUDGET = BudgetView(31.0, 84, 0.0041)
FROZEN = DecisionView(What.FREEZE, "TQ-0400", "TQ-0420", "RA", date(2026, 11, 2), "after the new mandrel")
LEFT_OUT = DecisionView(What.LEAVE_OUT, "TQ-0425", "TQ-0426", "RA", date(2026, 11, 3), "bench was moved")
CAPABLE = {
    "tuning/f-wrap/tenor-bass": "no",
    "draw/outer-bore/all": "unproven",
    "joints/leak/all": "unproven",
    "slide/clear-upper/all": "unproven",
    "slide/force/bass": "unproven",
}


def _points(rng, mean, sd, later, start, count, wear=0.0):
    points = []
    day = TODAY - timedelta(days=2 * count)
    for i in range(count):
        model = MODELS[int(rng.integers(0, 3) > 1) + 1]
        level = mean if i < start else later
        value = float(rng.normal(level + wear * i, sd))
        points.append(
            Point(
                ordinal=i + 1,
                serial=f"TQ-{442 - count + 1 + i:04d}",
                day=day + timedelta(days=2 * i),
                model=model.id,
                value=value,
                measured=value + 900,
                readings=6,
                spread=sd / 2,
                person="KM" if i > count // 3 else "RA",
                gauge="G-03",
                tool="M-7" if i >= start else "M-6",
                tool_count=8 * i,
                air_c=21.4,
            )
        )
    return tuple(points)


def make_verdict(stage, stage_name, char, name, unit, family, seed):
    key = SeriesKey(stage, char, family)
    rng = np.random.default_rng(seed)
    centered = unit in {"mm", "cent"}
    mean, sd, later, start, count = SHIFTED.get(str(key), (1.2 if centered else 60.0, 3.0, None, 10**6, 64))
    points = _points(rng, mean, sd, later, start, count)
    behaviour, signals, forecast = "steady", (), None
    stretches = [StretchResult(1, count, float(np.mean([p.value for p in points])), sd, count, False)]
    if stage == "draw" and char == "outer-bore":
        points = _points(rng, 10.0, 1.0, 10.0, 0, 48, wear=0.14)
        behaviour, forecast = (
            "drifting",
            Forecast(
                "M-7",
                points[0].day,
                1.8,
                376,
                20.0,
                470,
                date(2026, 12, 3),
                "Die D-12 wears 1.8 µm in 100 draws; change it by draw 470, about Thursday 3 Dec.",
            ),
        )
        signals = (_signal(key, points, 24, "trend", "um", 6.0),)
        count = 48
        stretches = [_stretch(points, 1, 24, False), _stretch(points, 25, 48, True)]
    elif str(key) in SHIFTED:
        behaviour = "drifting"
        signals = (_signal(key, points, start, "shift", unit, later - mean),)
        stretches = [_stretch(points, 1, start, False), _stretch(points, start + 1, count, True)]
    elif stage == "polish":
        points, behaviour = points[:2], "learning"
        stretches = [_stretch(points, 1, 2, False)]
    capable = "" if behaviour == "learning" else CAPABLE.get(str(key), "proven")
    target = 0.0 if centered else 60.0
    half = 12.0 if centered else 20.0
    if stage == "draw":
        target, half = 10.0, 10.0
    return SeriesVerdict(
        key=key,
        stage_name=stage_name,
        name=name,
        unit=unit,
        kind="count" if unit == "count" else "measured",
        pieces=len(points),
        behaviour=behaviour,
        capable=capable,
        ppk=None if behaviour == "learning" else {"proven": 1.42, "unproven": 1.08, "no": -0.91}[capable],
        ppk_low=None if behaviour == "learning" else {"proven": 1.12, "unproven": 0.79, "no": -1.4}[capable],
        ppk_high=None
        if behaviour == "learning"
        else {"proven": 1.71, "unproven": 1.36, "no": -0.45}[capable],
        ppk_reason="Two pieces say nothing about a spread." if behaviour == "learning" else "",
        outside_share=0.99 if capable == "no" else 0.001,
        outside_low=0.95 if capable == "no" else 0.0,
        outside_high=1.0 if capable == "no" else 0.02,
        target=target,
        lower=target - half,
        upper=target + half,
        natural_lower=None if behaviour != "steady" else mean - 3 * sd,
        natural_upper=None if behaviour != "steady" else mean + 3 * sd,
        present=tuple(range(stretches[-1].first, stretches[-1].last + 1)),
        sd_between=sd,
        sd_within=sd / 2,
        centered=centered,
        points=points,
        stretches=tuple(stretches),
        signals=signals,
        forecast=forecast,
        notes=("The gauge reads in steps of 1 µm, coarse beside the spread.",) if stage == "slide" else (),
        worst={"drifting": 10.0, "steady": 0.1, "learning": 0.0}[behaviour]
        + (5.0 if char == "f-wrap" else 0.0),
    )


SENTENCES = {
    "tuning": (
        "F wraps on the tenor-bass family run 21 mm long since TQ-0432 (2 Nov).",
        "Coincides with bending mandrel M-7, fitted 1 Nov. 11 pieces since; "
        "person, filler and gauge did not change.",
        "Check M-7 against the master, hold 3 instruments before plating.",
    ),
    "draw": (
        "Outer tube bore has grown 6 µm since die D-12 passed 190 draws (7 Oct).",
        "Wears as expected, a little faster; change-by is draw 470, about Thursday 3 Dec.",
        "Book the die change for Wednesday.",
    ),
    "slide": (
        "Slide clearance, upper leg: 14 µm tighter since TQ-0433 (4 Nov).",
        "Coincides with bore gauge G-03 missing its morning check twice.",
        "Zero G-03 on the ring and re-measure TQ-0442.",
    ),
}


def _stretch(points, first, last, changed):
    values = [p.value for p in points if first <= p.ordinal <= last]
    sd = float(np.std(values, ddof=1)) if len(values) > 1 else None
    return StretchResult(first, last, float(np.mean(values)), sd, len(values), changed)


def _signal(key, points, start, kind, unit, size):
    sentence, because, step = SENTENCES[key.stage]
    first, raised = points[start], points[min(start + 3, len(points) - 1)]
    suspect = Suspect("tool", "M-7", "M-6", first.serial, first.day, "bending mandrel M-7, fitted 1 Nov", 3.0)
    return SignalResult(
        kind,
        "above" if size > 0 else "below",
        raised.ordinal,
        raised.serial,
        raised.day,
        first.ordinal,
        first.serial,
        first.day,
        first.ordinal - 2,
        first.ordinal + 1,
        size,
        size - 3,
        size + 3,
        size / 4,
        unit,
        0.001,
        len(points) - start,
        None,
        (suspect,),
        ("person", "gauge", "filler"),
        sentence,
        because,
        step,
    )


def decided(view):
    """The same series after a lead froze a settled state and left two pieces out."""
    apart = {"TQ-0425", "TQ-0426"}
    points = tuple(replace(p, left_out=p.serial in apart) for p in view.verdict.points)
    place = {p.serial: p.ordinal for p in points}
    verdict = replace(
        view.verdict, points=points, baseline_first=place["TQ-0400"], baseline_last=place["TQ-0420"]
    )
    return replace(view, verdict=verdict, decisions=(FROZEN, LEFT_OUT))


TOUCHED = (("TQ-0440", TODAY, "Slide", "still here"), ("TQ-0431", TODAY, "Slide", "left 3 Nov 2026"))
CHECKS = tuple(
    CheckView(TODAY - timedelta(days=n), value, abs(value) <= 0.004, "KM")
    for n, value in ((6, 0.001), (5, -0.002), (4, 0.0), (1, 0.007))
)
FORCE = SeriesKey("slide", "force", "tenor")
GAUGES = (
    GaugeView(
        "G-03",
        "bore gauge",
        0.001,
        "mm",
        "off",
        "Its last check on 23 Nov was off: +7.0 µm, outside ±4.0 µm.",
        0.004,
        True,
        date(2026, 6, 1),
        date(2027, 6, 1),
        TODAY,
        0,
        TODAY - timedelta(days=4),
        BiasView(0.007, None, None, 1, TODAY - timedelta(days=1), False),
        (MeasureView("Slide: Bore", "mm", 0.0041, 4.1, True, 400),),
        CHECKS,
    ),
    GaugeView(
        "B-09",
        "spring balance",
        0.5,
        "N",
        "in order",
        "Its calibration runs out in 200 days, on 12 Jun 2027.",
        None,
        False,
        date(2026, 6, 12),
        date(2027, 6, 12),
        None,
        0,
        None,
        None,
        (MeasureView("Slide: Pull", "N", 0.3, 0.6, False, 120, FORCE),),
    ),
    GaugeView(
        "R-01", "steel rule", 1.0, "mm", "overdue", "Its calibration ran out on 1 Nov.", None, False, None,
        date(2026, 11, 1), None, 0, None, None,
        (MeasureView("Draw: Length", "mm", None, None, None, 3),),
    ),
)  # fmt: skip


def to_hold(serial, um, why="limit", left=None, **more):
    """Return a piece to hold for its lacquer, thin at one spot."""
    figure = PieceFigure(
        serial, "bass", "lacquer", "thickness", "um", "flare, spot 2", um, 10.0, None, um >= 10, 0.6,
        um >= 10, "", TODAY,
    )  # fmt: skip
    where = Whereabouts(f"left {left}", left) if left else Whereabouts("Lacquer, 20 Nov 2026")
    because = f"{um:g} µm at flare, spot 2, under 10 µm" if why == "limit" else "signal s2: lacquer is thin."
    return HoldRow(
        serial, "lacquer", "thickness", "Lacquer: Lacquer thickness", "um", figure, why, because,
        "Measure it again.", ((f"{serial} {why}",),), where, **more,
    )  # fmt: skip


HOLD = (
    *(to_hold(f"TQ-04{n}", 8.4 + n / 100) for n in range(10, 19)),
    to_hold("TQ-0410", 8.5, "signal"),
    to_hold("TQ-0301", 9.1, left=date(2026, 10, 6)),
    to_hold("TQ-0302", 9.7, released=PieceDecided("RA", "measured again, 10.3", TODAY)),
)
HOLDERS = Holders(
    (Share("Slide card", 3, 2), Share("Lacquer card", 1)),
    (Share("Lacquer", 9),),
    (Share("", 2, 1), Share("RA", 1)),
)
NEAR = to_hold("TQ-0420", 10.2)

CAUSES = (
    ReworkCause("bent-slide", 4.5, 3, 0.75, 0.75),
    ReworkCause("", 1.5, 1, 0.25, 1.0),
)
YIELDS = (
    StageYield("slide", "Slide", 21, (NotPassed("TQ-0410", TODAY, "reworked: bent slide"),)),
    StageYield("lacquer", "Lacquer", 6, ()),
)
FORCE = Earlier("slide", "Slide", "force", "Force", "N", "measured", "running force", "higher", "lower")
VERDICT = Earlier(
    "final", "Play-test", "verdict", "Verdict", "fault", "pass-fail", "failures", "more", "fewer"
)
TOGETHER = GoesWith(
    FORCE,
    RankAssociation(0.5, (0.1, 0.7), 0.001, 60, 48.0),
    0.01,
    "Failures: more where the running force is higher (rank correlation 0.50).",
)
SCREENED = (
    ScreenedResult(VERDICT, 60, (FORCE,), (), (TOGETHER,)),
    ScreenedResult(FORCE, 9, (), (VERDICT,)),
)


class InventedBoard:
    """Answers every question of `BoardData` from memory."""

    waits = ""
    backup = ""
    answers = None  # what answers about remedies

    def __init__(self, quiet: bool = False) -> None:
        self.asked: list[date] = []  # past days that were asked for
        seed = 0
        every = []
        for stage, stage_name, chars in STAGES:
            for char, name, unit, family in chars:
                seed += 1
                every.append(make_verdict(stage, stage_name, char, name, unit, family, seed))
        self._quiet = quiet
        if quiet:
            every = [v for v in every if v.behaviour == "steady"]
        self._verdicts = tuple(sorted(every, key=lambda v: -v.worst))

    def shop(self):
        people = (("RA", "RA (R. Alder)"), ("KM", "KM (K. Moss)"))
        causes = ("mandrel", "worn-die", "unknown")
        return ShopView("Tern Quay Brassworks", TODAY, people, causes)

    def stages(self):
        found = []
        rank = {"no": 0, "unproven": 1, "proven": 2, "": 3}
        for stage, name, _ in STAGES:
            own = self.verdicts(stage)
            if not own:
                continue
            moved = sum(v.behaviour == "drifting" for v in own)
            learning = all(v.behaviour == "learning" for v in own)
            behaviour = "drifting" if moved else "learning" if learning else "steady"
            capable = min((v.capable for v in own), key=rank.__getitem__)
            found.append(
                StageView(
                    stage,
                    name,
                    behaviour,
                    capable,
                    len(own),
                    moved,
                    max(v.pieces for v in own),
                    min((limits_words(v) for v in own), key=WORST_LIMITS.index),
                )
            )
        return tuple(found)

    def known(self, day):
        self.asked.append(day)
        return self

    def then(self):
        return ("12 readings were handed in later.",)

    def today(self):
        drifting = tuple(v for v in self._verdicts if v.behaviour == "drifting")
        return TodayView(
            self.stages(),
            drifting,
            TODAY,
            11,
            13,
            ("Valve card", "Polishing card"),
            4,
            (Due("D-12", "die", date(2026, 12, 3), "D-12: change by draw 470."),) if drifting else (),
            (Due("G-03", "bore gauge", TODAY, "", gauge=True), Due("T-01", "tuner", TODAY, "")),
            14,
            len(self._verdicts),
            BUDGET,
            date(2026, 10, 12),
            holders=Holders() if self._quiet else HOLDERS,
        )

    def day(self):
        benches = (BenchDay("Slide card", "KM and RA", 3, 72, 2), BenchDay("Shipping list", "RA", 1, 0, 0))
        done = ("RA released TQ-0302: measured again, 10.3",)
        cards = CardsIn(TODAY, 11, ("Valve card", "Polishing card"))
        return DayView(cards, benches, ("Slide clearance has moved.",), done, ("TQ-0391",), ())

    def verdicts(self, stage=None):
        return tuple(v for v in self._verdicts if stage is None or v.key.stage == stage)

    def series(self, key):
        verdict = next((v for v in self._verdicts if v.key == key), None)
        if verdict is None:
            return None
        days = [p.day for p in verdict.points]
        marks = (
            ChartMark(10.0, days[1], "gauge", "G-05 calibrated"),
            ChartMark(17.0, days[1], "person", "K. Moss joins"),
            ChartMark(35.5, days[1], "tool", "mandrel M-7 fitted"),
        )
        return SeriesView(
            verdict,
            "How far the wrap is from its drawing; plus is long.",
            ("Compare M-7 with the master mandrel.", "Hold TQ-0439, TQ-0440 and TQ-0442 before plating."),
            ("Heat and acid when a wrap is made again.",),
            "",
            MODELS,
            marks,
            1.0,
            ("G-03",),
            notes=verdict.notes,
        )

    def not_judged(self):
        return self.waits

    def backup_due(self):
        return self.backup

    def budget(self):
        return BUDGET

    def rules(self):
        return rule_offers()

    def rules_price(self, chosen):
        return rules_price(chosen)

    def rules_on(self, key, chosen, limits):
        return apply_rules(next(v for v in self._verdicts if v.key == key), chosen, limits)

    def hold(self):
        return HoldList((), (), TODAY) if self._quiet else HoldList(HOLD, (NEAR,), TODAY)

    def remedies(self):
        return self.answers

    def worth(self):
        return WorthView(0.0, (), (), "", ()) if self._quiet else WORTH

    def worth_asked(self, key, see, within, limit):
        return f"{key}: {see} within {within}, limit {limit}; see `spread`."

    def rework(self, first=None, last=None):
        causes = () if self._quiet else CAUSES
        return ReworkReport(first or TODAY, last or TODAY, causes, YIELDS, 50.0, "EUR")

    def upstream(self):
        return UpstreamReport(TODAY, SCREENED)

    def gauges(self):
        return GAUGES

    def gauge_touched(self, gauge):
        return (
            TouchedView("gauge G-03 touched 2 pieces; 1 left the shop.", TOUCHED) if gauge == "G-03" else None
        )

    def signals(self):
        return tuple(
            SignalView(
                f"s{i}",
                v,
                s,
                "open" if i else "in-hand",
                (SignalComment("2026-11-20 09:10", "RA", What.IN_HAND, "M-7 is on the surface plate."),)
                if not i
                else (),
            )
            for i, (v, s) in enumerate((v, s) for v in self._verdicts for s in v.signals)
        )

    def signal(self, signal_id):
        return next((s for s in self.signals() if s.id == signal_id), None)

    def touched(self, signal_id):
        if signal_id != "s0":
            return None
        gone = {True: "left 3 Nov 2026", False: "still here"}
        rows = tuple((f"TQ-{n:04d}", TODAY, "Slide", gone[n < 410]) for n in range(400, 420))
        return TouchedView("tool M-7 touched 20 pieces; 10 left the shop.", rows)

    def instruments(self, wanted="", limit=60):
        points = {p.serial: p for p in self._verdicts[0].points}
        rows = [
            InstrumentRow(s, p.model, p.day, "on the bench")
            for s, p in sorted(points.items(), reverse=True)
            if wanted.lower() in s.lower()
        ]
        return tuple(rows[:limit])

    def instrument(self, serial):
        charted = tuple((v, p) for v in self._verdicts for p in v.points if p.serial == serial)
        if not charted:
            return None
        reading = InstrumentReading(
            TODAY,
            "slide",
            "Slide",
            "Inner tube outside",
            "upper leg, mouth, 0°",
            13.852,
            "mm",
            "13,852",
            "KM",
            "G-02",
            "",
            "slide_0442.xlsx",
            9,
        )
        return InstrumentView(
            serial,
            "tenor-bass",
            "on the bench",
            (reading,),
            (EventRow(TODAY, "play-test: pass, by RA"),),
            (("inner-upper", "T-1181"),),
            (),
            charted,
        )

    def nearest(self, serial):
        return ("TQ-0442",)

    def leaving(self, serial, due):
        return f"{due} may hold: 24 of the 40 of its like that stood there as long were so quick from here."

    def also(self, kind, name):
        return self.touched("s0") if name == "M-7" else None

    def showing(self):
        return self.shown_sheets

    def sheets(self):
        return (SheetView("ab" * 32, "slide_0442.xlsx", "Slide card", "24 Nov 2026, 17:02", "KM", 9120, 1),)

    def held_among(self, rows):
        return len(self.held()), tuple(row for row in self.held() if row.id in rows)

    def held(self):
        reasons = (
            HeldReason(
                "decimal-slip", "13852 mm is a thousand times the nominal 13.850.", "Read it as 13.852 mm."
            ),
            HeldReason("gauge-not-zeroed", "G-03 had no morning check that day."),
        )
        return (
            HeldView(
                "1",
                "slide_0442.xlsx",
                "F9",
                "13852",
                reasons,
                "value 13.852",
                "TQ-0442",
                "Inner tube outside",
                (("value", "13852"), ("serial", "TQ-0442")),
            ),
            HeldView(
                "2",
                "lacquer_0440.csv",
                "line 12, Thickness",
                "8,o",
                reasons[1:],
                "",
                "TQ-0440",
                "Thickness",
                (("value", "8,o"), ("serial", "TQ-0440"), ("unit", "um")),
                doubt=False,
            ),
        )

    def mapping_faults(self, mapping):
        return ("Lk does not say what it means.",) if '"Lk": ""' in mapping else ()

    def decided(self):
        return (DecidedView("7", "TQ-0441, Thickness", "80", "dropped", "KM", date(2026, 11, 23)),)

    def bench(self):
        return InventedBench()

    def cards(self):
        return (("bell-card", "Bell card"),)

    def hold_tags(self, serial=""):
        waiting = {row.serial for row in self.hold().waiting}
        return b"%PDF-1.7" if (serial in waiting if serial else waiting) else None

    def blank_card(self, card, ending):
        return {"pdf": b"%PDF-1.7", "xlsx": b"PK"}.get(ending) if card == "bell-card" else None

    def month(self):
        return {
            "month": "2026-11",
            "headline": "4 instruments shipped; 1 of 3 series has moved, in lacquer. 2 pieces to hold.",
            "shipped_total": 4,
            "shipped_beside": "October 9",
            "rolled": "81 % (52 to 97 %)",
            "rework_total": "2.5 h",
            "hold_total": 2,
            "reactions": [{}],
            "before": "October",
            "year_ago": "November 2025",
            "yields": [
                {
                    "stage": "Slide",
                    "share": "90 % (55 to 100 %)",
                    "of": "9 of 10",
                    "before": "100 % of 8",
                    "year_ago": "—",
                }
            ],
            "decisions": ["Order a die."],
        }

    def month_page(self):
        return "<!doctype html><title>the month so far</title>"

    def reports(self):
        return (ReportView("2026-10", ()),)


STUDY = {
    "file": "bore study.csv",
    "value": "bore",
    "study": {
        "design": "crossed",
        "parts": 8,
        "persons": 3,
        "repeats": 2,
        "anova": [],
        "reads": [],
        "advice": "64 % of the gauge's variance is that persons read at different levels.",
        "sd": {
            "repeatability": 3.0,
            "person": 4.0,
            "person_part": 0.0,
            "gauge": 5.0,
            "part": 12.0,
            "total": 13.0,
        },
        "intervals": {"repeatability": [4.0, 16.0], "gauge": [16.0, 64.0], "share_of_variation": [0.3, 0.6]},
        "share_of_variation": 0.385,
        "share_of_tolerance": None,
        "categories": 3,
        "confidence": 0.95,
        "good_for": [],
        "pooled": True,
        "verdict": "Not good for charting: it tells 3 groups of parts apart.",
        "warnings": ["person_part is pooled into repeatability (--keep-interaction keeps it)"],
        "guard_band": {"possible": True, "accept": [10.0, None]},
    },
}


HEARD = {
    "file": "notes.wav",
    "problem": "",
    "heard": [
        {"where": "partial 2, position 1", "note": "", "cents": 6.04, "refused": ""},
        {"where": "partial 3, position 1", "note": "", "cents": None, "refused": "too short: hold it"},
    ],
    "steps": [
        "Main length about 10 mm short (7 to 12): pull the tuning slide out 4 mm, re-test; 5 mm in all",
        "Warm the instrument",
    ],
    "summary": ["Spread of the notes 6.0 cents now, 1.0 after the work"],
    "cautions": ["One sitting only, or give the usual spread with --sitting-sd", "Local rules decide."],
}
"""What a recording answers, as the worker gives it."""


class InventedBench:
    """A bench without a single card; `tests/dashboard/bench` has one over a workshop."""

    def cards(self):
        return ()

    def card(self, card_id):
        return None

    def pieces(self):
        return ()

    def serial(self, typed):
        return ""

    def piece(self, card_id, serial, model=""):
        raise QcError("The plan has no such card.")

    def outcome(self, entry):
        return None


class InventedDesk:
    """Takes everything at once and answers with a fixed receipt."""

    def __init__(self) -> None:
        self.taken = []
        self.mended = []
        self.put = []
        self.shown = []
        self.said = []
        self.decided = []
        self.pieces = []
        self.studied = []
        self.heard = []
        self.written = []
        self.undone = []
        self.corrected = []
        self.entered = []
        self.asked_to_judge = False
        self.quick = False  # whether what is decided has ended before the request has

    def submit(self, files, who):
        self.taken.append(([(name, stream.read()) for name, stream in files], who))
        return f"t{len(self.taken)}"

    def submit_mapped(self, files, mapping, who):
        self.taken.append(([(name, stream.read()) for name, stream in files], mapping, who))
        return f"t{len(self.taken)}"

    def enter(self, sent, who):
        self.entered.append((dict(sent), who))
        return f"s{len(self.entered)}"

    def decide(self, rows, decision, changes, who):
        self.mended.append((list(rows), decision, dict(changes), who))
        return f"m{len(self.mended)}"

    def undo(self, rows, who, why):
        self.undone.append((list(rows), who, why))
        return f"m{len(self.undone)}"

    def show_layout(self, sheet, layout, who):
        self.shown.append((sheet, layout, who))
        return f"s{len(self.shown)}"

    def put_away(self, sheet, who, why):
        self.put.append((sheet, who, why))
        return f"s{len(self.put)}"

    def correct(self, reading, changes, who, why, sure):
        self.corrected.append((reading, dict(changes), who, why, sure))
        return f"s{len(self.corrected)}"

    def say(self, signal_id, saying):
        self.said.append((signal_id, saying))
        return f"s{len(self.said)}"

    def decide_series(self, series, saying):
        self.decided.append((series, saying))
        return f"s{len(self.decided)}"

    def decide_piece(self, serial, what, figure, who, why):
        self.pieces.append((serial, what, figure, who, why))
        return f"s{len(self.pieces)}"

    def write_month(self, month, who):
        self.written.append(month)
        return f"s{len(self.written)}"

    def study_gauge(self, file, question, who):
        self.studied.append(((file[0], file[1].read()), dict(question)))
        return f"g{len(self.studied)}"

    def hear(self, file, serial, who):
        self.heard.append(((file[0], file[1].read()), serial))
        return f"h{len(self.heard)}"

    def ended(self, ticket, seconds):
        return self.quick

    def progress(self, ticket):
        if not ticket:
            return None
        if ticket[0] == "g":
            return {"state": "done", "done": 1, "of": 1, "message": "", "receipt": STUDY}
        if ticket[0] == "h":
            return {"state": "done", "done": 1, "of": 1, "message": "", "receipt": HEARD}
        if ticket[0] == "s":
            said = {"sentence": "The signal is now closed.", "reasons": []}
            return {"state": "done", "done": 1, "of": 1, "message": "", "receipt": said}
        if ticket[0] not in "tm":
            return None
        receipt = {
            "sheet": "ab" * 32,
            "file": "x.csv",
            "rows": 3,
            "accepted": 2,
            "held": 1,
            "already_known": 0,
            "reasons": {"decimal-slip": 1},
            "signals": [],
        }
        return {"state": "done", "done": 1, "of": 1, "message": "", "receipt": {"sheets": [receipt]}}

    def warm(self):
        return None

    def judge(self):
        self.asked_to_judge = True

    def close(self):
        return None
