"""The life of a signal: raised, looked at, replied to, explained, closed, opened again, withdrawn.

Every step is a note that stays, and one line of the record of changes. The record names nobody whom a signal is
about, since owners read it too.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from brewbar import dates
from brewbar.crew.access import Member
from brewbar.crew.models import Change, User
from brewbar.crew.record import note
from calibration.models import Signal, SignalNote
from calibration.models.signals import SignalRows

State, What = Signal.State, SignalNote.What

STEPS: dict[str, tuple[frozenset[str], str | None]] = {
    What.RAISED: (frozenset({State.OPEN}), State.OPEN),
    What.LOOKED: (frozenset({State.OPEN}), State.LOOKED),
    What.REPLIED: (frozenset({State.OPEN, State.LOOKED, State.EXPLAINED}), None),
    What.EXPLAINED: (frozenset({State.OPEN, State.LOOKED, State.EXPLAINED}), State.EXPLAINED),
    What.CLOSED: (frozenset({State.EXPLAINED}), State.CLOSED),
    What.REOPENED: (frozenset({State.EXPLAINED, State.CLOSED}), State.OPEN),
    What.WITHDRAWN: (frozenset({State.OPEN, State.LOOKED}), State.WITHDRAWN),
}
"""Each step, from which states it can be taken, and to which it leads; None leaves it where it is."""
OF_A_HEAD = (What.LOOKED, What.EXPLAINED, What.CLOSED, What.REOPENED, What.REPLIED)


class NotNow(Exception):
    """The step can't be taken (any more). Its text is the sentence to show."""


def seen_by(member: Member) -> SignalRows:
    """With every row that a page shows."""
    return Signal.objects.for_member(member).select_related(
        "cafe", "person", "recipe", "refractometer", "reading"
    )


def steps_for(member: Member, signal: Signal) -> list[str]:
    """What ``member``, who may see the signal, can do with it now."""
    own = OF_A_HEAD if member.is_head else (What.REPLIED,)
    return [what for what in own if signal.state in STEPS[what][0]]


def take(
    signal: Signal,
    what: str,
    by: User,
    now: datetime,
    *,
    cause: str = "",
    says: str = "",
    action: str = "",
    restarts_baseline: bool = False,
) -> SignalNote:
    """Take one step. Raises NotNow if somebody was faster."""
    with transaction.atomic():
        row = (
            Signal.objects.select_for_update(of=("self",))
            .select_related("cafe__company", "person")
            .get(pk=signal.pk)
        )
        if row.state not in STEPS[what][0]:
            raise NotNow(
                _("This signal is %(state)s by now: somebody was faster.")
                % {"state": row.get_state_display()}
            )
        if what == What.REOPENED and _lives_again(row):
            raise NotNow(_("The same thing has been signalled again since: look at the newer signal."))
        if what == What.EXPLAINED and not cause:
            raise NotNow(_("Say what the cause was."))
        return stepped(
            row, what, by, now, cause=cause, says=says, action=action, restarts_baseline=restarts_baseline
        )


def _lives_again(signal: Signal) -> bool:
    return bool(Signal.objects.live().filter(cafe=signal.cafe, key=signal.key).exclude(pk=signal.pk).exists())


def stepped(signal: Signal, what: str, by: User | None, at: datetime, **said: Any) -> SignalNote:
    """Write a step down: its note, the state it leads to, and the record. Inside a transaction."""
    before, state = signal.get_state_display(), STEPS[what][1]
    made = SignalNote.objects.create(signal=signal, at=at, by=by, what=what, **said)
    if state is not None and (state != signal.state or state == State.EXPLAINED):
        signal.state, signal.state_at = state, at
        signal.save(update_fields=["state", "state_at"])
    is_new, is_own = what == What.RAISED, by is not None and by.pk == signal.person_id
    note(
        company=signal.cafe.company,
        cafe=signal.cafe,
        about=Change.About.READING,
        what=_("signal: %(step)s") % {"step": made.get_what_display()},
        subject=subject(signal),
        row=signal,
        at=at,
        by=None if is_own else by,
        by_name=_("whom it is about") if is_own else "" if by else "brewbar",
        before={} if is_new else {_("state"): str(before)},
        after={_("state"): str(signal.get_state_display()), **_cause_and_deed(made)},
    )
    return made


def _cause_and_deed(made: SignalNote) -> dict[str, str]:
    said = {_("cause"): str(made.get_cause_display()) if made.cause else ""}
    if made.restarts_baseline:
        said[_("baseline")] = _("starts anew")
    return {name: text for name, text in said.items() if text}


def subject(signal: Signal) -> str:
    """What a list calls a signal without naming anybody."""
    return _("%(what)s, %(day)s") % {
        "what": signal.get_measure_display(),
        "day": dates.day(signal.day, year=True),
    }
