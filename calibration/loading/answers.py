"""What was signalled in the ten weeks, and what the head baristas made of it week by week."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from brewbar.crew.models import Cafe, User
from calibration import signal_life, signals, trying
from calibration.loading.made import Made
from calibration.models import Reading, Signal, SignalNote
from calibration.scenario.answers import Raised, answer
from calibration.scenario.cast import head_of

MONDAY_MORNING = time(9, 40)
WEEK = timedelta(days=7)
LOOKED_FROM = timedelta(days=28)
"""In the weeks before, the crew only brewed."""
NEWEST = 3
"""So many brews back something may have gone wrong that still shows."""
What = SignalNote.What


class Answers(Made):
    def answers(self) -> None:
        self.key_of = {row: key for rows in self.made.values() for key, row in rows.items()}
        for key, cafe in self.made[Cafe].items():
            head = self.made[User][head_of(key)]
            since = self.scenario.first_day + LOOKED_FROM
            for monday in self._mondays():
                signals.catch_up(cafe, since, monday - timedelta(days=1))
                at = datetime.combine(monday, MONDAY_MORNING, cafe.zone)
                if at <= self.now:
                    self._sit_down(cafe, head, at)
                since = monday
            signals.catch_up(cafe, since)

    def _mondays(self) -> Iterator[date]:
        day = self.scenario.first_day + LOOKED_FROM + WEEK
        day -= timedelta(days=day.weekday())
        while day <= self.scenario.today:
            yield day
            day += WEEK

    def _sit_down(self, cafe: Cafe, head: User, at: datetime) -> None:
        is_last = at.date() + WEEK > self.scenario.today
        rows = Signal.objects.filter(cafe=cafe, state__in=(Signal.State.OPEN, Signal.State.LOOKED))
        for signal in rows.select_related("person").order_by("day", "pk"):
            if signal.state == Signal.State.OPEN:
                signal_life.take(signal, What.LOOKED, head, at)
            if not is_last or signal.question == Signal.Question.INSTRUMENT:
                self._answer(signal, head, at)

    def _answer(self, signal: Signal, head: User, at: datetime) -> None:
        found = answer(self.scenario, self._raised(signal))
        if found.reply and signal.person:
            signal_life.take(
                signal, What.REPLIED, signal.person, at + timedelta(minutes=20), says=found.reply
            )
        said = {"cause": found.cause, "says": found.says, "action": found.action}
        at += timedelta(minutes=35)
        signal_life.take(signal, What.EXPLAINED, head, at, **said, restarts_baseline=found.restarts_baseline)
        if found.closed:
            signal_life.take(signal, What.CLOSED, head, at + timedelta(minutes=1))
        else:
            self._try(signal, found.cause, head, at + timedelta(minutes=2))

    def _try(self, signal: Signal, code: str, head: User, at: datetime) -> None:
        """What brewbar advises for that cause, if it advises anything."""
        advice = trying.advice_on(signal)
        if first := next((one for one in advice.causes if one.code == code), None) if advice else None:
            trying.start(signal, first.key, head, at)

    def _raised(self, signal: Signal) -> Raised:
        readings = self.made[Reading]
        of_pk = {readings[key].pk: key for key in readings}
        brews = [of_pk[pk] for pk in signal.evidence.get("readings", [])][-NEWEST:]
        return Raised(
            question=signal.question,
            person=self.key_of[signal.person] if signal.person else None,
            side=signal.side,
            day=signal.day,
            brews=tuple(brews),
            batch=self.key_of[readings[brews[-1]].roast_batch] if brews else None,
        )
