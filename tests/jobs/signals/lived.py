"""A workshop lived through hand-in by hand-in: what becomes of its signals and pieces held."""

from collections import Counter
from datetime import date

from qc.jobs.judging import load_verdicts, signals_of_day
from qc.jobs.pieces import hold_list
from qc.jobs.signals import say_of_signal
from qc.jobs.upload import upload
from qc.jobs.workshop import open_workshop
from qc.sayings import OPEN_STATES, Saying, What


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

    def close(self, day, signal_id, **said):
        """Close a signal, and look."""
        workshop = open_workshop(self.folder, as_of=date.fromisoformat(day), writes=True)
        try:
            found = say_of_signal(workshop, signal_id, Saying(What.CLOSED, **said))
            self.look(workshop)
            return found
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
