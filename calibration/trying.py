"""What to try because of a signal, and whether it held: by brews after the change alone.

`calibration.coaching` knows the trade; here its questions are answered from the database, and what is tried is kept.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from statistics import fmean

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar.crew.access import Member
from brewbar.crew.models import Change, User
from brewbar.crew.record import note
from calibration import check_plans, coaching, signal_life, signal_words
from calibration.coaching import Advice, Code, FollowedUp, FreshPair, Quantity, Spread, Standing
from calibration.models import FollowUp, Reading, Signal
from calibration.signal_charts import Charts
from calibration.signal_context import context_of
from calibration.signal_rows import Material, gather
from calibration.signal_signs import OF_MEASURE, VALUES, Brews, Value, apart_from_earlier, brews_of, signs_of

NOT_TRIED = (Code.CHANCE, Code.INSTRUMENT)
"""Fresh brews answer neither: the one wants patience, the other a check standard."""
OUTCOMES = {Standing.BACK: "mended", Standing.STILL_OFF: "still"}


ENDED = "ended"


class NotTried(Exception):
    """It cannot be tried or ended (any more). Its text is the sentence to show."""


@dataclass(frozen=True)
class Tried:
    """Something that was or is being tried, and how it stands; standing is None once it has ended."""

    follow_up: FollowUp
    signal: Signal
    standing: FollowedUp | None

    @property
    def says(self) -> str:
        if self.standing is None:
            return ""
        return (
            self.standing.says
            if self.signal.person_id
            else _of_days(self.signal, self.standing, self.smallest)
        )

    @property
    def smallest(self) -> str:
        return signal_words.size(self.signal, self.follow_up.smallest)

    @property
    def between(self) -> str:
        """The interval that is held against ± the smallest difference."""
        judged = self.standing.judged if self.standing else None
        if judged is None or judged.equivalence is None:
            return ""
        words = {
            "limits": signal_words.limits(self.signal, judged.equivalence.low, judged.equivalence.high),
            "smallest": self.smallest,
        }
        return _("The difference lies from %(limits)s; within ±%(smallest)s counts as back.") % words

    @property
    def outcome(self) -> str:
        return outcome_of(self.follow_up)


def _of_days(signal: Signal, standing: FollowedUp, smallest: str) -> str:
    words = {
        "days": ngettext("%(n)d fresh day", "%(n)d fresh days", standing.n) % {"n": standing.n},
        "more": ngettext("%(n)d more day", "%(n)d more days", standing.more or 0) % {"n": standing.more or 0},
        "smallest": smallest,
    }
    match standing.standing:
        case Standing.BACK:
            said = _(
                "Back: over %(days)s it lies within ±%(smallest)s of what it was before it moved. Whether the change "
                "did that, these brews cannot say."
            )
        case Standing.STILL_OFF:
            said = _(
                "Still off: over %(days)s it lies over %(smallest)s from what it was. Try another change."
            )
        case Standing.UNSETTLED:
            said = _(
                "Not settled by %(days)s: it lies near %(smallest)s from what it was, inside or outside."
            )
        case _:
            said = _("Too few yet, with %(days)s: it is judged after %(more)s.")
    return said % words


def advice_on(signal: Signal) -> Advice | None:
    """What may be behind it and what to try first; None where no brews stand behind it."""
    if signal.question == Signal.Question.INSTRUMENT:
        return None
    brews = brews_of(signal)
    if not brews.own:
        return None
    material = gather(signal.cafe, check_plans.of(signal.cafe), brews.own[-1].version.recipe_id, signal.day)
    return coaching.advise(signs_of(brews, _smallest(material)), context_of(brews), _spreads(material))


def _smallest(material: Material) -> dict[Quantity, float]:
    return {
        quantity: value
        for measure, quantity in OF_MEASURE.items()
        if (value := material.smallest[measure]) is not None
    }


def _spreads(material: Material) -> dict[Quantity, Spread]:
    found = {}
    for measure, quantity in OF_MEASURE.items():
        sd, smallest = Charts(material.of(measure)).spreads.brew, material.smallest[measure]
        if sd and smallest:
            found[quantity] = Spread(sd, smallest)
    return found


def start(signal: Signal, key: str, by: User, now: datetime) -> FollowUp:
    """Try the change that is advised for the cause ``key``. Raises NotTried."""
    advice = advice_on(signal)
    cause = next((one for one in advice.causes if one.key == key), None) if advice else None
    smallest = signal.evidence.get("smallest")
    if cause is None or cause.code in NOT_TRIED or not smallest:
        raise NotTried(_("What was advised has changed meanwhile: look at it again."))
    try:
        with transaction.atomic():
            row = (
                Signal.objects.select_for_update(of=("self",))
                .select_related("cafe__company")
                .get(pk=signal.pk)
            )
            if not Signal.objects.live().filter(pk=row.pk).exists():
                raise NotTried(_("This signal is %(state)s by now.") % {"state": row.get_state_display()})
            made = FollowUp.objects.create(
                signal=row,
                cause=cause.code.value,
                change=cause.change[:300],
                smallest=smallest,
                started_at=now,
                started_by=by,
            )
            _noted(made, _("signal: a change is tried"), by)
    except IntegrityError as error:
        raise NotTried(_("Another change is being tried already: one at a time.")) from error
    return made


def steps_for(member: Member, signal: Signal) -> list[str]:
    """Whether ``member`` can end a trial now."""
    runs = member.is_head and signal.follow_ups.filter(ended_at=None).exists()
    return [ENDED] if runs else []


def end(signal: Signal, by: User, now: datetime, says: str = "") -> FollowUp:
    """End the trial with what its fresh brews say; where they do not say yet, it is stopped. Raises NotTried."""
    with transaction.atomic():
        rows = FollowUp.objects.select_for_update(of=("self",)).filter(signal=signal, ended_at=None)
        row = rows.select_related("signal__cafe__company", "signal__recipe").first()
        if row is None:
            raise NotTried(_("This was ended already."))
        row.outcome = OUTCOMES.get(standing_of(row, row.signal).standing, "stopped")
        row.ended_at, row.ended_by, row.note = now, by, says
        row.save(update_fields=["outcome", "ended_at", "ended_by", "note"])
        _noted(row, _("signal: a trial ended"), by)
    return row


def _noted(follow_up: FollowUp, what: str, by: User) -> None:
    signal = follow_up.signal
    outcome = {_("outcome"): outcome_of(follow_up)} if follow_up.outcome else {}
    note(
        company=signal.cafe.company,
        cafe=signal.cafe,
        about=Change.About.READING,
        what=what,
        subject=signal_life.subject(signal),
        row=signal,
        at=follow_up.ended_at or follow_up.started_at,
        by=by,
        after={_("cause"): follow_up.get_cause_display(), **outcome},
    )


def outcome_of(follow_up: FollowUp) -> str:
    words = {"mended": _("mended"), "still": _("still off"), "stopped": _("stopped before it could be told")}
    return words.get(follow_up.outcome, _("under way"))


def tried(signal: Signal) -> list[Tried]:
    """All that was tried, the newest first; its fresh brews are looked at while it runs."""
    rows: Iterable[FollowUp] = signal.follow_ups.select_related("started_by", "ended_by").order_by(
        "-started_at"
    )
    return [Tried(row, signal, None if row.ended_at else standing_of(row, signal)) for row in rows]


def standing_of(follow_up: FollowUp, signal: Signal) -> FollowedUp:
    quantity = OF_MEASURE[Signal.Measure(signal.measure)]
    brews = brews_of(signal)
    pairs = _beside(brews, VALUES[quantity]) if signal.person_id else _by_day(brews, VALUES[quantity])
    return coaching.follow_up(quantity, pairs, follow_up.started_at, follow_up.smallest)


def _beside(brews: Brews, value: Value) -> Iterable[FreshPair]:
    """Each brew of the person beside the others of its version and day."""
    others: dict[tuple[date, int], list[float]] = {}
    for reading in brews.everything:
        one = value(reading)
        if one is not None and reading.barista_id != brews.signal.person_id:
            others.setdefault((reading.business_day, reading.version_id), []).append(one)
    for reading in brews.everything:
        one, beside = value(reading), others.get((reading.business_day, reading.version_id))
        if one is not None and beside and reading.barista_id == brews.signal.person_id:
            yield FreshPair(reading.business_day, reading.brewed_at, one, fmean(beside))


def _by_day(brews: Brews, value: Value) -> Iterable[FreshPair]:
    """Each day beside what each person brewed before it moved."""
    last: dict[date, Reading] = {reading.business_day: reading for reading in brews.everything}
    for day, above in apart_from_earlier(brews, value):
        yield FreshPair(day, last[day].brewed_at, above, 0.0)
