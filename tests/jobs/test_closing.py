"""Closing in every way, through the command, day by day: what the good and the bad pieces after it bring."""

import json
import shutil
import sqlite3
from contextlib import redirect_stderr, redirect_stdout
from datetime import date, timedelta
from io import StringIO
from types import SimpleNamespace

import numpy as np
import pytest

from qc.cli.main import main

PLAN = """
workshop: {name: Alder Row Brass, time_zone: UTC, lead: ML, false_signals_per_month: 0.5}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [jig, unknown]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.1}]
cards: [{id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise]}]
stages:
  - id: bow
    name: Bow
    cautions: ["A bow under the press can spring: goggles, hands clear, as the local rules ask."]
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{lower: 46, upper: 54}],
         reaction: [Look at the jig.]}
"""
CAUSE = ("--cause", "jig", "--action", "jig shimmed")


class Shop:
    """An invented workshop that bends bows: 30 as they should be, then six that rise too far."""

    def __init__(self, command, folder):
        self.command, self.folder = command, folder / "shop"
        self.draw, self.made, self.day = np.random.default_rng(1313), 0, date(2026, 3, 2)

    def begin(self):
        self.folder.mkdir()
        (self.folder / "plan.yaml").write_text(PLAN)
        for _ in range(6):
            self.measure(50.0, 5)
        for _ in range(3):
            self.measure(56.0, 2)
        return self

    def ask(self, *words, code=0):
        words = (*words, "--workshop", self.folder, "--as-of", self.day)
        found = self.command(*words, *(["--json"] if not code else []))
        assert found.exit_code == code, found.output
        return json.loads(found.stdout) if not code else found.stderr

    def measure(self, level, pieces, day=None):
        """Hand in a day's card; returns its receipt."""
        self.day = day or self.day + timedelta(days=1)
        rows = ["serial,model,date,person,gauge,rise"]
        for _ in range(pieces):
            self.made += 1
            rows.append(f"A-{self.made:03d},alto,{self.day},FT,HG-1,{level + self.draw.normal():.1f}")
        sheet = self.folder.parent / f"{self.made}.csv"
        sheet.write_text("\n".join(rows))
        return self.ask("upload", sheet, "--who", "FT")

    def signal(self):
        return self.ask("signals", "show", self.ask("signals", "--all")["signals"][0]["id"])

    def close(self, *words, code=0):
        return self.ask("signals", "close", self.signal()["id"], *words, "--who", "ML", code=code)

    def whole(self):
        return self.command("verify", "--workshop", self.folder).exit_code == 0

    def series(self):
        return self.ask("status")["series"][0]


def run_aside(*words):
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = main([str(word) for word in words])
    return SimpleNamespace(exit_code=code, stdout=out.getvalue(), output=out.getvalue() + err.getvalue())


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """The workshop before anything was closed, made once."""
    return Shop(run_aside, tmp_path_factory.mktemp("bows")).begin()


@pytest.fixture
def bows(command, begun, tmp_path):
    own = Shop(command, tmp_path)
    shutil.copytree(begun.folder, own.folder)
    own.made, own.day = begun.made, begun.day
    return own


def life(signal):
    return [event["what"] for event in signal["events"]]


def test_mended_then_good(bows):
    before = bows.signal()
    closed = bows.close(*CAUSE, "--outcome", "mended")
    assert (closed["id"], closed["state"], closed["outcome"]) == (before["id"], "closed", "mended")
    assert bows.series()["behaviour"] == "steady"
    for _ in range(2):
        bows.measure(50.0, 5)
        assert bows.ask("signals")["signals"] == []
    now = bows.signal()
    assert now["mend"].endswith("the mend is borne out by 10 pieces.") and life(now) == ["closed"]
    assert now["sentence"] == before["sentence"]
    series = bows.series()
    assert (series["behaviour"], series["open_signals"]) == ("steady", 0)
    assert series["ppk"] is not None, "the state before and the pieces since are one state"
    assert bows.whole() and bows.ask("rejudge")["changed"] == []


def test_mended_then_still_bad_opens_the_same_signal_anew(bows):
    before = bows.signal()
    bows.close(*CAUSE, "--outcome", "mended")
    receipt = bows.measure(56.0, 2)
    now = bows.signal()
    assert (now["id"], now["state"], life(now)) == (before["id"], "open", ["closed", "reopened"])
    assert now["events"][1]["who"] == "program" and "Open again: closed as mended" in now["because"]
    assert [s["id"] for s in receipt["sheets"][0]["signals"]] == [before["id"]]
    assert [s["id"] for s in bows.measure(56.0, 2)["sheets"][0]["signals"]] == []
    assert bows.series()["behaviour"] == "drifting" and bows.series()["open_signals"] == 1
    assert [s["id"] for s in bows.ask("signals", "--all")["signals"]] == [before["id"]]
    first = [piece["serial"] for piece in now["made_under"]][0]
    assert first == before["start_serial"], "the pieces of the first time are still to be dealt with"
    bows.close(*CAUSE, "--outcome", "mended")
    bows.measure(50.0, 10)
    now = bows.signal()
    assert (now["state"], life(now)) == ("closed", ["closed", "reopened", "closed"])
    assert now["mend"].endswith("borne out by 10 pieces.") and bows.series()["behaviour"] == "steady"
    assert bows.whole() and bows.ask("rejudge")["changed"] == []


def test_pieces_in_work_are_passed_over_where_the_first_after_the_mend_is_named(bows):
    named = f"A-{bows.made + 4:03d}"
    closed = bows.close(*CAUSE, "--outcome", "mended", "--from", named)
    assert closed["from"] == named
    bows.measure(56.0, 3)
    assert bows.signal()["state"] == "closed"
    bows.measure(50.0, 10)
    now = bows.signal()
    assert life(now) == ["closed"] and now["mend"].endswith("borne out by 10 pieces.")
    assert bows.series()["behaviour"] == "steady"
    assert [p["serial"] for p in now["made_under"]][-1] == f"A-{int(named[2:]) - 1:03d}"


def test_a_mend_waits_for_the_piece_that_was_named_and_says_so(bows):
    """A serial that nobody ever began was named: nothing was told again, and nothing said why."""
    named = f"A-{bows.made + 4:03d}"
    bows.close(*CAUSE, "--outcome", "mended", "--from", named)
    bows.measure(56.0, 2)
    assert bows.signal()["mend"].startswith(f"Mended from {named} on, of which there is no reading here yet")
    bows.measure(50.0, 4)
    assert "no reading" not in bows.signal()["mend"]


def test_the_sentence_it_was_closed_by_is_the_one_of_before_the_mend(bows):
    before = bows.signal()
    bows.measure(50.0, 2)
    assert bows.signal()["sentence"] != before["sentence"], "the good pieces are in what is told now"
    bows.close(*CAUSE, "--outcome", "mended", "--from", f"A-{bows.made - 1:03d}")
    assert bows.signal()["sentence"] == before["sentence"]


def test_pieces_of_the_same_day_count_from_the_closing_on(bows):
    bows.close(*CAUSE, "--outcome", "mended")
    bows.measure(56.0, 2, day=bows.day)
    assert life(bows.signal()) == ["closed", "reopened"]


def test_stays_takes_the_new_level_and_keeps_it_listed_while_it_breaks_the_limits(bows):
    before = bows.signal()
    since = before["start_day"]
    closed = bows.close(*CAUSE, "--outcome", "stays")
    assert closed["limits_not_kept_since"] == since
    bows.measure(56.0, 10)
    (listed,) = bows.ask("signals")["signals"]
    assert (listed["id"], listed["state"], listed["limits_not_kept_since"]) == (before["id"], "closed", since)
    assert listed["sentence"] == before["sentence"] and listed["now"]["sentence"] != before["sentence"]
    series = bows.series()
    assert (series["behaviour"], series["limits_not_kept_since"]) == ("steady", since)
    text = bows.command("signals", "--workshop", bows.folder, "--as-of", bows.day).stdout
    assert "limits not kept since 9 Mar" in text and "Worked out anew since" in text


def test_false_leaves_the_series_to_be_judged_as_it_is(bows):
    closed = bows.close("--false")
    assert (closed["state"], closed["outcome"]) == ("closed-false", "false")
    bows.measure(56.0, 4)
    assert bows.signal()["state"] == "closed-false" and bows.ask("signals")["signals"] == []
    assert bows.series()["behaviour"] == "steady"


def test_a_person_who_reopens_a_mended_signal_takes_the_mend_back(bows):
    bows.close(*CAUSE, "--outcome", "mended")
    again = bows.ask("signals", "reopen", bows.signal()["id"], "--who", "ML")
    assert again["state"] == "open" and again["mend"] is None
    assert bows.series()["behaviour"] == "drifting"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--cause", "jig"), ("--action", "--outcome")),
        (("--cause", "jig", "--action", "shimmed"), ("--action", "--outcome")),
        (("--cause", "jig", "--outcome", "mended"), ("--action", "--outcome")),
        (("--cause", "jig", "--action", " ", "--outcome", "mended"), ("--action", "--outcome")),
        (("--cause", "jig", "--action", "shimmed", "--outcome", "gone"), ("mended", "stays")),
        (("--false", "--outcome", "stays"), ("--outcome",)),
        ((*CAUSE, "--outcome", "stays", "--from", "A-040"), ("--from", "mended")),
        ((), ("--cause", "--false")),
    ],
)
def test_what_lacks_is_named_and_nothing_is_stored(bows, words, told):
    refused = bows.close(*words, code=2)
    assert all(name in refused for name in told)
    assert life(bows.signal()) == []


def test_a_first_piece_from_before_the_change_is_refused(bows):
    start = bows.signal()["start_serial"]
    for early in ("A-005", start):
        refused = bows.close(*CAUSE, "--outcome", "mended", "--from", early, code=1)
        assert early in refused and "first piece made after the mend" in refused
    assert bows.signal()["state"] == "open"


def test_pieces_and_steps_are_ticked_off_with_who_and_when(bows):
    signal = bows.signal()
    made = signal["made_under"]
    assert [p["serial"] for p in made] == ["A-031", "A-032", "A-033", "A-034", "A-035", "A-036"]
    assert "beyond the limit" in made[0]["to_do"] and made[0]["done"] is None
    by = (signal["id"], "--who", "FT")
    done = bows.ask("signals", "tick", *by, "--piece", "A-032", "--text", "bent back")
    assert done["made_under"][1]["done"]["text"] == "bent back"
    assert done["made_under"][1]["done"]["who"] == "FT"
    assert signal["next_step"] == "Re-measure A-036, then check the gauge's zero."
    assert signal["steps"] == [  # what the finding asks for is the first two of them
        "Re-measure A-036.",
        "Check the zero of HG-1 on its master.",
        "Check serial and unit on the card.",
        "Look at the jig.",
    ]
    ticked = bows.ask("signals", "tick", *by, "--step", "2")["ticked"]
    assert [(t["step"], t["who"]) for t in ticked] == [(signal["steps"][1], "FT")]
    bows.measure(56.0, 2)
    assert len(bows.signal()["ticked"]) == 1, "a step once done stays done though a newer piece came"
    assert "A-001" in bows.ask("signals", "tick", *by, "--piece", "A-001", code=1)
    assert "steps 1 to" in bows.ask("signals", "tick", *by, "--step", "9", code=1)
    for neither in ((), ("--step", "1", "--piece", "A-032")):
        assert "--step" in bows.ask("signals", "tick", *by, *neither, code=2)
    assert bows.whole()


def test_all_pieces_made_under_it_are_ticked_off_at_once(bows):
    by = (bows.signal()["id"], "--who", "FT")
    bows.ask("signals", "tick", *by, "--piece", "A-032", "--text", "bent back")
    done = bows.ask("signals", "tick", *by, "--every-piece", "--text", "inside, may go")
    texts = [piece["done"]["text"] for piece in done["made_under"]]
    assert texts == ["inside, may go", "bent back", *["inside, may go"] * 4], (
        "what was ticked stays as it was"
    )
    assert "is left to tick off" in bows.ask("signals", "tick", *by, "--every-piece", code=1)
    nobody = bows.ask("signals", "tick", by[0], "--every-piece", "--who", "XX", code=1)
    assert "XX" in nobody and len(bows.signal()["events"]) == 6
    assert "--step" in bows.ask("signals", "tick", *by, "--every-piece", "--step", "1", code=2)
    assert bows.whole()


def test_a_tick_set_by_mistake_is_taken_back_and_both_stay_in_its_life(bows):
    by = (bows.signal()["id"], "--who", "FT")
    bows.ask("signals", "tick", *by, "--piece", "A-032", "--text", "bent back")
    bows.ask("signals", "tick", *by, "--step", "2")
    lead = (by[0], "--who", "ML")
    undone = bows.ask("signals", "untick", *lead, "--piece", "A-032", "--text", "it was A-033")
    assert undone["made_under"][1]["done"] is None
    assert bows.ask("signals", "untick", *lead, "--step", "2")["ticked"] == []
    life = [(e["what"], e["who"], e.get("piece")) for e in bows.signal()["events"]]
    assert life == [
        ("piece-done", "FT", "A-032"),
        ("step-done", "FT", None),
        ("piece-undone", "ML", "A-032"),
        ("step-undone", "ML", None),
    ]
    assert "no tick to take back" in bows.ask("signals", "untick", *by, "--piece", "A-032", code=1)
    assert "no tick to take back" in bows.ask("signals", "untick", *by, "--step", "2", code=1)
    assert "at signal 1, so" in bows.ask("signals", "untick", *by, "--step", "2", code=1), "by its number"
    shop = ("--workshop", bows.folder, "--as-of", bows.day)
    said = bows.command("signals", "tick", *by, "--step", "1", *shop).stdout
    assert said.startswith("Ticked by FT at signal 1: step 1. ")
    said = bows.command("signals", "untick", *by, "--step", "1", *shop).stdout
    assert said.startswith("Tick taken back by FT at signal 1: step 1. ")
    again = bows.ask("signals", "tick", *by, "--step", "2")
    assert [t["who"] for t in again["ticked"]] == ["FT"]
    assert "--step" in bows.ask("signals", "untick", *by, code=2)
    assert bows.whole()


def test_a_finding_has_an_owner_an_age_and_a_day(bows):
    told = bows.signal()
    raised = date.fromisoformat(told["raised_day"])
    assert (told["owner"], told["age_days"]) == (None, (bows.day - raised).days)
    assert told["due"] == (raised + timedelta(days=7)).isoformat()
    assert bows.ask("signals", "take", told["id"], "--who", "FT")["owner"] == "FT"
    closed = bows.close("--false")
    assert (closed["owner"], closed["due"]) == (None, None)


def test_what_had_been_said_is_only_what_people_were_told(bows):
    told_until = bows.day
    bows.close(*CAUSE, "--outcome", "mended")
    for _ in range(3):
        bows.measure(56.0, 2)
    said = bows.signal()["told"]
    days = [row["day"] for row in said]
    assert len(days) == len(set(days)) and max(days) > str(told_until)
    assert all("Open again" in row["because"] for row in said if row["day"] > str(told_until))


def test_a_signal_told_later_is_named_with_its_day_and_says_when_it_is_overdue(bows):
    own = bows.signal()
    first = min(row["day"] for row in own["told"])
    early = bows.command("signals", "show", own["id"], "--known", "2026-03-05", "--workshop", bows.folder)
    assert early.exit_code == 1 and "was not known here on 5 Mar 2026: it was first told on" in early.stderr
    assert f"--known {first}" in early.stderr
    assert own["overdue"] is False
    bows.day += timedelta(days=12)
    assert bows.signal()["overdue"] is True
    text = bows.command("signals", "show", own["id"], "--workshop", bows.folder, "--as-of", bows.day).stdout
    assert "overdue: it was to be closed by" in text


def test_a_change_closed_as_false_says_what_the_figures_rest_on(bows):
    start = bows.signal()["start_serial"]
    bows.close("--false")
    text = bows.command("status", "--workshop", bows.folder, "--as-of", bows.day).stdout
    assert f"the change since {start}" in text and "rest on the pieces since" in text


def test_a_signal_that_is_over_stands_so_on_the_page_of_its_piece(bows):
    for _ in range(3):
        bows.measure(50.0, 5)
    own = bows.signal()
    assert own["over"] and own["due"] is None and not own["overdue"]
    piece = bows.ask("piece", own["raised_serial"])
    (row,) = [signal for signal in piece["signals"] if signal["id"] == own["id"]]
    assert row["over"] and row["standing"] == "over by itself"


def held(bows):
    return {row["serial"]: row for row in bows.ask("hold")["pieces"] if row["why"] == "signal"}


def test_a_mend_lets_no_piece_go_that_is_in_the_house(bows):
    """Ticked off, measured again after the mend, or released: nothing else lets it go."""
    before = held(bows)
    assert len(before) == 6
    closed = bows.close(*CAUSE, "--outcome", "mended")
    assert closed["to_tick"] == sorted(before)
    assert held(bows).keys() == before.keys()
    own = held(bows)["A-031"]
    assert own["because"].startswith(f"made under signal {closed['number']}, closed as mended on ")
    assert own["next_step"].startswith("Measure it again, or tick it off: qc signals tick")

    bows.ask("signals", "tick", closed["id"], "--piece", "A-031", "--who", "ML")
    bows.ask("hold", "release", "A-032", "--who", "ML", "--why", "seen by the lead")
    bows.measure(50.0, 2)
    sheet = bows.folder.parent / "again.csv"
    sheet.write_text(f"serial,model,date,person,gauge,rise\nA-033,alto,{bows.day},FT,HG-1,52.0\n")
    bows.ask("upload", sheet, "--who", "FT")
    left = {serial for serial, row in held(bows).items() if not row["released"]}
    assert left == {"A-034", "A-035", "A-036"}
    words = ("signals", "show", closed["id"], "--workshop", bows.folder, "--as-of", bows.day)
    text = bows.command(*words).stdout
    assert "3 pieces made under it are in the house" in text and "A-034, A-035, A-036" in text
    assert bows.whole()


@pytest.mark.parametrize("words", [("--false",), (*CAUSE, "--outcome", "stays")], ids=["false", "stays"])
def test_answered_otherwise_it_holds_nothing(bows, words):
    closed = bows.close(*words)
    assert held(bows) == {} and "to_tick" not in closed


def signals_of(bows, serial):
    return bows.ask("piece", serial)["signals"]


def test_a_piece_says_that_it_was_made_under_a_mended_signal_and_what_became_of_it(bows):
    """Of the first time, too, where it opened anew and everything was ticked off or measured since."""
    bows.close(*CAUSE, "--outcome", "mended")
    bows.measure(56.0, 2)
    closed = bows.close(*CAUSE, "--outcome", "mended")
    (own,) = signals_of(bows, "A-031")
    told = "A-031 was made under it. ML closed it as mended on 12 Mar (jig): jig shimmed. "
    assert own["id"] == closed["id"] and own["became"] == f"{told}A-031: not dealt with since."
    bows.ask("signals", "tick", closed["id"], "--piece", "A-031", "--who", "ML", "--text", "bent anew")
    bows.ask("hold", "release", "A-032", "--who", "ML", "--why", "seen by the lead")
    bows.measure(50.0, 2)
    sheet = bows.folder.parent / "again.csv"
    sheet.write_text(f"serial,model,date,person,gauge,rise\nA-033,alto,{bows.day},FT,HG-1,52.0\n")
    bows.ask("upload", sheet, "--who", "FT")
    became = {
        serial: signals_of(bows, serial)[0]["became"] for serial in ("A-031", "A-032", "A-033", "A-037")
    }
    assert became["A-031"] == f"{told}A-031: ticked off by ML on 12 Mar: bent anew."
    assert became["A-032"].endswith("A-032: released by ML on 12 Mar: seen by the lead.")
    assert became["A-033"].endswith("A-033: measured again on 13 Mar.")
    assert became["A-037"].endswith("A-037: not dealt with since.")
    assert signals_of(bows, "A-030") == signals_of(bows, "A-039") == []
    text = bows.command("piece", "A-031", "--workshop", bows.folder, "--as-of", bows.day).stdout
    assert "Signals:\n- 1 (closed, cause mended): Bow: Rise: " in text and became["A-031"] in text


def test_a_value_typed_by_hand_is_asked_about_as_it_was_typed(bows):
    """The question about a mend names the value of the mend; the card's own words stay on record."""
    sheet = bows.folder.parent / "slip.csv"
    sheet.write_text(f"serial,model,date,person,gauge,rise\nA-040,alto,{bows.day},FT,HG-1,5.2\n")
    bows.ask("upload", sheet, "--who", "FT")
    [row] = [one["row"] for one in bows.ask("held", "list")["held"]]
    words = ("--who", "FT", "--workshop", bows.folder, "--as-of", bows.day)
    told = bows.command("held", "mend", row, "--set", "value=75", *words)
    assert told.exit_code == 1 and "A-040 reads 75 mm where about 50.2 is usual" in told.output
    assert bows.command("held", "mend", row, "--set", "value=52", *words).exit_code == 0
    with sqlite3.connect(bows.folder / "qc.db") as base:
        [kept] = base.execute("select value, text from reading order by id desc limit 1").fetchall()
    base.close()
    assert kept == (52.0, "5.2")


def test_a_value_typed_twice_is_confirmed(bows):
    """An odd value typed by hand is asked about once; typed again it comes in, told as confirmed."""
    words = ("--who", "FT", "--workshop", bows.folder, "--as-of", bows.day)
    sheet = bows.folder.parent / "twice.csv"
    sheet.write_text(f"serial,model,date,person,gauge,rise\nA-041,alto,{bows.day},FT,HG-1,5.1\n")
    bows.ask("upload", sheet, "--who", "FT")
    [row] = [one["row"] for one in bows.ask("held", "list")["held"]]

    def typed(value, who="FT"):
        return bows.command("held", "mend", row, "--set", f"value={value}", "--who", who, *words[2:])

    first = typed("76")
    assert first.exit_code == 1
    assert "Type it once more to confirm it, or type another value." in first.output
    other = typed("77")  # another value is another question
    assert other.exit_code == 1 and "reads 77 mm" in other.output
    again = typed("76,0")  # the same figure, written otherwise
    assert again.exit_code == 0, again.output
    assert "is accepted: 5.1 becomes 76, typed twice to confirm it." in again.output
    assert bows.ask("held", "list")["held"] == []
    with sqlite3.connect(bows.folder / "qc.db") as base:
        kept = base.execute("select kind, who, note from entry where kind in ('asked', 'mend')").fetchall()
        value = base.execute("select value from reading order by id desc limit 1").fetchone()
    base.close()
    assert value == (76.0,)
    asked, mend = kept[-3:-1], kept[-1]
    assert [note for _, _, note in asked] == [
        f'held row {row}: {{"value": 76.0}} asked: far-from-usual',
        f'held row {row}: {{"value": 77.0}} asked: far-from-usual',
    ]
    assert mend[:2] == ("mend", "FT") and mend[2].endswith("typed twice to confirm it")
    assert bows.command("verify", "--workshop", bows.folder).exit_code == 0
