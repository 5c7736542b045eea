"""No signal leaves unanswered, and no piece held for one is let go, evening by evening."""

from collections import Counter
from datetime import date, timedelta

import numpy as np

from qc.jobs.judging import load_verdicts, signals_of_day
from qc.jobs.pieces import hold_list
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.sayings import OPEN_STATES

PLAN = """
workshop: {name: Thistle Yard Brass, time_zone: UTC, lead: ML, false_signals_per_month: 2}
models: [{id: alto, name: Alto, family: alto, pedal_midi: 34, length_mm: 2931.6}]
people: [{code: ML}, {code: FT}]
causes: [jig, unknown]
gauges: [{id: HG-1, name: Height gauge, gauge_class: height, unit: mm, resolution: 0.01}]
cards: [{id: bow, title: Bow card, source: bench, stage: bow, characteristics: [rise, width]}]
stages:
  - id: bow
    name: Bow
    characteristics:
      - {id: rise, name: Rise, unit: mm, pool: all, limits: [{target: 50, lower: 42, upper: 58}]}
      - {id: width, name: Width, unit: mm, pool: all, limits: [{target: 80, lower: 72, upper: 88}]}
"""
FIRST = date(2026, 3, 2)
PIECES, EACH = 72, 9
SEED = 1  # the first in which an open signal waits on though its readings no longer show it
BATCHES = ("K-1", "K-2", "K-3")


class Lived:
    """Evening by evening, the faults found: a signal that left unanswered, a piece that was let go."""

    def __init__(self, folder):
        self.folder, self.faults, self.counts = folder, [], Counter()
        self._open, self._held, self._joined = {}, {}, set()

    def hand_in(self, day, sheets):
        """Take in the sheets of a day, and look at what is told in the evening."""
        workshop = open_workshop(self.folder, as_of=date.fromisoformat(day), writes=True)
        try:
            upload(workshop, [(sheet.name, sheet.read_bytes()) for sheet in sheets])
            self.look(workshop)
        finally:
            workshop.store.close()

    def look(self, workshop):
        """Compare signals and pieces held with those of the evenings before."""
        signals = signals_of_day(workshop, load_verdicts(workshop))
        by_id = {own: one for one in signals for own in (one.id, *one.before)}
        self.counts["evenings"] += 1
        self._look_at_signals(workshop, signals, by_id)
        self._look_at_pieces(workshop, by_id)

    def _look_at_signals(self, workshop, signals, by_id):
        for own, first in self._open.items():
            now = by_id.get(own)
            answered = now is not None and now.state not in OPEN_STATES
            if not answered and (now is None or not now.stands):
                if now is not None and now.back_of:
                    self.counts["ways back"] += 1
                    continue  # another one says that it is over since
                put_right = now is not None and self._put_right(workshop, now.found.raised_serial)
                self.counts["put right"] += put_right
                if not put_right:
                    self.faults.append(f"{workshop.today}: signal {own}, open since {first}, is gone")
        for one in signals:
            if one.state in OPEN_STATES and one.stands:
                for own in (one.id, *one.before):
                    self._open.setdefault(own, workshop.today)
            self._joined |= {(each.id, one.id) for each in one.joined}
            self.counts["evenings a signal waited"] += one.waits
        self.counts["signals"], self.counts["joined"] = len(self._open), len({a for a, _ in self._joined})

    def _look_at_pieces(self, workshop, by_id):
        rows = [row for row in hold_list(workshop, judge=False).rows if row.why == "signal"]
        now = {(own, row.serial) for row in rows for names in row.rests_on for own in names}
        for key in self._held.keys() - now:
            own, serial = key
            signal = by_id.get(own)
            if signal is None or signal.state not in OPEN_STATES or not signal.stands:
                continue  # answered, or put right
            if not self._read_again(workshop, serial):
                self.faults.append(f"{workshop.today}: {serial} was let go by signal {own}")
        for key in now:
            self._held.setdefault(key, workshop.today)
        self.counts["most pieces held"] = max(self.counts["most pieces held"], len({s for _, s in now}))

    def _put_right(self, workshop, serial):
        return bool({*workshop.store.history(serials=[serial])["state"]} - {"stands"})

    def _read_again(self, workshop, serial):
        days = workshop.store.history(serials=[serial])["day"]
        return self._put_right(workshop, serial) or days.n_unique() > 1


def invented(folder, seed):
    """Sheets of a workshop by day: a die that mixes two batches, a jig put right by itself, a wide week."""
    draw = np.random.default_rng(seed)
    rise, width = 50 + draw.standard_normal(PIECES), 80 + draw.standard_normal(PIECES)
    batch = ["K-1" if n < 40 else BATCHES[1 + int(draw.integers(2))] for n in range(PIECES)]
    rise += [-3.5 * (one == "K-2") for one in batch]
    begin = int(draw.integers(20, 30))
    width[begin : begin + 7] += 4.0
    width[50:60] *= 1 + 0.02 * draw.standard_normal(10)
    folder.mkdir()
    days = []
    for number in range(0, PIECES, EACH):
        day = FIRST + timedelta(days=number // 3)
        rows = ["serial,model,date,person,gauge,batch,rise,width"]
        rows += [
            f"B-{n:03d},alto,{day},FT,HG-1,{batch[n]},{rise[n]:.2f},{width[n]:.2f}"
            for n in range(number, number + EACH)
        ]
        file = folder / f"bow-{day}.csv"
        file.write_text("\n".join(rows))
        days.append((day.isoformat(), [file]))
    return days


def test_no_signal_leaves_unanswered_and_no_piece_is_let_go(tmp_path):
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "plan.yaml").write_text(PLAN)
    lived = Lived(shop)
    for day, sheets in invented(tmp_path / "sheets", SEED):
        lived.hand_in(day, sheets)
    assert lived.faults == []
    assert (
        lived.counts["signals"]
        and lived.counts["evenings a signal waited"]
        and lived.counts["most pieces held"]
    )
