"""What was known on a day: against the same workshop lived through hand-in by hand-in, asked each evening."""

import json
import shutil
from contextlib import redirect_stderr, redirect_stdout
from datetime import date, timedelta
from io import StringIO
from types import SimpleNamespace

import numpy as np
import pytest

from qc import clock
from qc.cli.main import main
from qc.errors import UsageError
from qc.jobs.pieces import hold_list
from qc.jobs.signals import list_signals
from qc.jobs.status import status
from qc.jobs.then import known
from qc.jobs.upload import upload
from qc.jobs.whole_piece import piece_record
from qc.jobs.workshop import open_workshop
from qc.store import KnownThen, hash_of

PLAN = """
workshop: {name: Fern Weir Brass, time_zone: Pacific/Auckland, lead: ML, false_signals_per_month: 0.5}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [jig, unknown]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.1}]
cards:
  - {id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise, width]}
  - {id: lacquer, title: Lacquer card, source: bench, stage: lacquer, characteristics: [spots]}
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{lower: 46, upper: 54}]}
      - {id: width, name: Width, unit: mm, pool: all, limits: [{lower: 77, upper: 83}]}
  - id: lacquer
    name: Lacquer
    characteristics:
      - {id: spots, name: Spots, unit: count, kind: count, pool: all}
"""
FIRST = date(2026, 2, 26)
DAYS = 26


def run(*words):
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = main([str(word) for word in words])
    return SimpleNamespace(exit_code=code, stdout=out.getvalue(), stderr=err.getvalue())


class Lived:
    """An invented workshop, its days one after the other, and what it answered on each evening.

    On day 11 bows begin to rise; a card of day 4 comes on day 17; on day 16 a signal is closed, on day 20 the
    limits are changed, and on day 22 a reading is corrected.
    """

    def __init__(self, folder):
        self.folder, self.draw, self.day = folder / "shop", np.random.default_rng(71), FIRST
        self.status, self.signals, self.hold, self.piece, self.also, self.made = {}, {}, {}, {}, {}, 0

    def ask(self, *words, code=0):
        words = (*words, "--workshop", self.folder, "--as-of", self.day)
        found = run(*words, "--json")
        assert found.exit_code == code, found.stderr
        return json.loads(found.stdout)

    def live(self):
        assert run("new", self.folder, "--as-of", self.day).exit_code == 0
        (self.folder / "plan.yaml").write_text(PLAN)
        late = []
        for number in range(DAYS):
            self.day = FIRST + timedelta(days=number)
            if number % 7 not in (5, 6):  # a working day
                bows, spots = self.cards(56.0 if number >= 11 else 50.0)
                if number == 4:
                    late = [spots]
                self.ask("upload", bows, *([] if number == 4 else [spots]), "--who", "FT")
            if number == 16:
                own = self.ask("signals")["signals"][0]["id"]
                words = ("--cause", "jig", "--action", "shimmed", "--outcome", "stays", "--who", "ML")
                self.ask("signals", "close", own, *words)
            if number == 17:
                self.ask("upload", *late, "--who", "FT")
            if number == 20:
                (self.folder / "plan.yaml").write_text(PLAN.replace("upper: 83", "upper: 80.6"))
            if number == 22:
                self.ask("correct", "B-003/rise", "--set", "value=50.9", "--who", "ML", "--why", "misread")
            self.status[self.day] = self.ask("status")
            self.signals[self.day] = self.ask("signals", "--all")
            self.hold[self.day] = self.ask("hold")
            self.piece[self.day] = self.ask("piece", "B-003")
            self.also[self.day] = self.ask("also", "--gauge", "HG-1")
        return self

    def cards(self, level):
        bows, spots = ["serial,model,date,person,gauge,rise,width"], ["serial,model,date,person,spots"]
        for _ in range(3):
            self.made += 1
            serial = f"B-{self.made:03d}"
            rise, width = level + self.draw.normal(), 80 + 0.4 * self.draw.normal()
            bows.append(f"{serial},alto,{self.day},FT,HG-1,{rise:.1f},{width:.1f}")
            spots.append(f"{serial},alto,{self.day},FT,{self.draw.poisson(2)}")
        found = []
        for name, rows in (("bow", bows), ("lacquer", spots)):
            found.append(self.folder.parent / f"{name}-{self.day}.csv")
            found[-1].write_text("\n".join(rows))
        return found


@pytest.fixture(scope="module")
def lived(tmp_path_factory):
    return Lived(tmp_path_factory.mktemp("known")).live()


def test_a_day_to_come_is_refused(shop):
    with pytest.raises(UsageError, match="is still to come"):
        known(shop, date(2099, 1, 1))


@pytest.mark.parametrize("day", [date.min, date(1899, 12, 31), date.max])
def test_a_day_of_no_workshop_is_refused(shop, day):
    with pytest.raises(UsageError, match="is a day of no workshop: name one from 1900 to 2999"):
        open_workshop(shop.folder, as_of=day)
    with pytest.raises(UsageError, match="still to come|is a day of no workshop"):
        known(shop, day)


def test_every_day_is_answered_as_it_was_that_evening(lived):
    workshop = open_workshop(lived.folder, as_of=lived.day)
    told = set()
    for day, evening in lived.status.items():
        then = known(workshop, day)
        found, listed = status(then).to_dict(), list_signals(then, all_states=True).to_dict()
        held, piece = hold_list(then).to_dict(), piece_record(then, "B-003").to_dict()
        then.store.close()
        assert held == lived.hold[day] | {"known": day.isoformat()}, day
        assert piece | {"notes": []} == lived.piece[day] | {"known": day.isoformat()}, day
        assert found == evening | {"known": day.isoformat()}, day
        assert listed == lived.signals[day], day
        told |= {(one["behaviour"], one["capable"]) for one in found["series"]}
    workshop.store.close()
    assert len(told) > 3  # the days do differ: this test could fail


def test_the_command_asks_so_too_and_says_it(lived):
    day = FIRST + timedelta(days=12)
    words = ("--workshop", lived.folder, "--known", day)
    assert json.loads(run("status", *words, "--json").stdout) == {
        **lived.status[day],
        "known": day.isoformat(),
    }
    assert "as it was known that day" in run("status", *words).stdout
    assert json.loads(run("signals", *words, "--all", "--json").stdout) == lived.signals[day]
    assert json.loads(run("hold", *words, "--json").stdout) == lived.hold[day] | {"known": day.isoformat()}
    assert f"As it was known on {day.day} Mar 2026." in run("signals", *words).stdout
    touched = run("also", "--gauge", "HG-1", *words, "--json")
    assert json.loads(touched.stdout) == lived.also[day] | {"known": day.isoformat()}
    assert len(lived.also[day]["pieces"]) < len(lived.also[lived.day]["pieces"])
    assert f"As it was known on {day.day} Mar 2026." in run("also", "--gauge", "HG-1", *words).stdout


def test_what_readings_are_worth_is_told_as_it_was_known(lived):
    day = FIRST + timedelta(days=12)
    words = ("worth", "--characteristic", "spots", "--limit", "4", "--workshop", lived.folder)
    told = run(*words, "--known", day)
    assert told.stdout.startswith(f"As it was known on {day.day} Mar 2026. ")
    then = json.loads(run(*words, "--known", day, "--json").stdout)
    now = json.loads(run(*words, "--json").stdout)
    assert then["known"] == then["as_of"] == day.isoformat() and "known" not in now
    # the card of day 4 that was handed in on day 17 is among those of now alone
    assert then["asked"][0]["sentence"] != now["asked"][0]["sentence"]


def test_a_later_card_is_named_and_does_not_count(lived):
    workshop = open_workshop(lived.folder, as_of=lived.day)
    late = FIRST + timedelta(days=4)  # its card of spots came on day 17
    notes = " ".join(status(known(workshop, late)).notes)
    assert (
        f"3 readings measured by {late.day} Mar 2026 were handed in on 15 Mar 2026; not known here" in notes
    )
    workshop.store.close()


def test_before_the_first_sheet_nothing_was_known_and_it_says_so(lived):
    workshop = open_workshop(lived.folder, as_of=lived.day)
    before = known(workshop, FIRST - timedelta(days=400))
    found = status(before)
    assert found.series == () and found.accepted.readings == 0
    assert found.notes == ("Nothing was known here on 22 Jan 2025: no sheet had been handed in.",)
    assert before.plan.workshop.name != ""
    workshop.store.close()


def test_nothing_is_written_into_a_past_day(lived):
    workshop = open_workshop(lived.folder, as_of=lived.day)
    head = workshop.store.head()
    then = known(workshop, FIRST + timedelta(days=12))
    sheet = ("new.csv", b"serial,model,date,person,spots\nB-900,alto,2026-03-08,FT,3\n")
    with pytest.raises(KnownThen, match="nothing is written there"):
        upload(then, [sheet], who="FT")
    with pytest.raises(KnownThen, match="as it was known on 10 Mar 2026"):
        then.store.set_state("windows", {})
    assert workshop.store.head() == head
    workshop.store.close()


def test_judged_afresh_since_the_words_stand_as_they_were_told(lived, tmp_path):
    """Judging anew drops the verdicts of earlier days: they are judged from the readings of then."""
    copied = shutil.copytree(lived.folder, tmp_path / "shop")
    assert run("rejudge", "--workshop", copied, "--as-of", lived.day).exit_code == 0
    workshop = open_workshop(copied, as_of=lived.day)
    for number in (3, 12, 16, 21):
        day = FIRST + timedelta(days=number)
        then = known(workshop, day)
        assert status(then).to_dict() == {**lived.status[day], "known": day.isoformat()}
        for record in then.store.verdicts():
            (told,) = workshop.store.told([record.series], until=clock.end_of(day, "Pacific/Auckland"))
            assert hash_of(record.plain) == told.verdict  # points and all
    workshop.store.close()


def test_what_nobody_had_judged_is_judged_from_what_was_known(lived, tmp_path, monkeypatch):
    copied = shutil.copytree(lived.folder, tmp_path / "shop")
    evening = lived.day + timedelta(days=1)
    workshop = open_workshop(copied, as_of=evening, writes=True)
    rows = [f"B-{lived.made + 1 + n:03d},alto,{evening},FT,{3 + n % 2}" for n in range(4)]
    sheet = ("new.csv", "\n".join(["serial,model,date,person,spots", *rows]).encode())
    monkeypatch.setattr("qc.jobs.upload.catch_up", cut_off)
    with pytest.raises(KeyboardInterrupt):
        upload(workshop, [sheet], who="FT")
    found = status(known(workshop, evening))
    spots = next(one for one in found.to_dict()["series"] if one["characteristic"] == "spots")
    assert spots["pieces"] == lived.made + 4
    assert any("not judged by the end of the day: judged now" in note for note in found.notes)
    workshop.store.close()


def cut_off(*_):
    raise KeyboardInterrupt


def test_handing_in_on_an_earlier_day_takes_the_moment_of_the_newest_entry_and_says_so(lived, tmp_path):
    copied = shutil.copytree(lived.folder, tmp_path / "shop")
    sheet = tmp_path / "early.csv"
    sheet.write_text("serial,model,date,person,spots\nB-950,alto,2026-03-02,FT,2\n")
    found = run("upload", sheet, "--who", "FT", "--workshop", copied, "--as-of", "2026-03-02")
    assert found.exit_code == 0, found.stderr
    assert "2 Mar 2026 lies before the newest entry, of 23 Mar 2026" in found.stderr
    workshop = open_workshop(copied)
    moments = [entry.when for entry in workshop.store.entries()]
    assert moments == sorted(moments)
    assert clock.day_of(moments[-1], "Pacific/Auckland") == date(2026, 3, 23)
    workshop.store.close()


def test_a_workshop_is_founded_on_the_day_that_is_said(tmp_path):
    folder = tmp_path / "new"
    assert run("new", folder, "--as-of", "2024-05-14").exit_code == 0
    workshop = open_workshop(folder)
    assert workshop.store.begun().date() == date(2024, 5, 14)
    workshop.store.close()


def test_since_marks_each_change_on_its_day_once(lived):
    """Against the answers of the evenings themselves: the rise is new on the day it is told first."""
    told = {
        day: {one["characteristic"]: one for one in answer["series"]} for day, answer in lived.status.items()
    }
    days = [day for day in told if "rise" in told[day]]
    new = [day for day in days if told[day]["rise"]["since"] == "new"]
    assert new and told[new[0]]["rise"]["behaviour"] == "drifting"
    before = max(day for day in days if day < new[0])
    assert told[before]["rise"]["behaviour"] == "steady"
    assert all(told[day]["rise"]["since"] == "same" for day in days if day < new[0])
    words = ("--workshop", lived.folder, "--as-of", lived.day)
    answer = json.loads(run("status", *words, "--since", before, "--json").stdout)
    assert answer["compared_with"] == before.isoformat()
    (rise,) = [one for one in answer["series"] if one["characteristic"] == "rise"]
    assert rise["since"] == "new"
    text = run("status", *words, "--since", before).stdout
    assert f"Since {before.day} Mar 2026: " in text and " new" in text.splitlines()[0]


def test_a_piece_names_what_was_handed_in_later(lived, tmp_path):
    copied = shutil.copytree(lived.folder, tmp_path / "shop")
    words = ("--workshop", copied, "--as-of", lived.day + timedelta(days=1))
    found = run("piece", "B-013", "--known", "2026-03-08", *words, "--json")
    assert found.exit_code == 0, found.stderr
    answer = json.loads(found.stdout)
    assert answer["known"] == "2026-03-08"
    assert "handed in on 15 Mar 2026; not known here on 8 Mar 2026" in answer["notes"][0]
    assert [one["characteristic"] for one in answer["figures"] if one["value"] is not None] == [
        "rise",
        "width",
    ]
    sheet, new = tmp_path / "old.csv", f"B-{lived.made + 1:03d}"
    sheet.write_text(f"serial,model,date,person,spots\n{new},alto,{lived.day},FT,2\n")
    assert run("upload", sheet, "--who", "FT", *words).exit_code == 0
    found = run("piece", new, "--known", lived.day, *words)
    assert found.exit_code == 1
    assert f"Nothing was known of {new} here on 23 Mar 2026. It was handed in on 24 Mar" in found.stderr
    found = run("piece", new, "--known", "shipped", *words)
    assert (found.exit_code, "has not left" in found.stderr) == (1, True)
