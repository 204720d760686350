"""Whether a change that was tried has brought a brewer back with the crew: by fresh brews, and by equivalence alone.

Brews that stood out come nearer by themselves, so the next ones being nearer says nothing. Only pairs brewed after the
change count, each a brew beside the mean of the others of that session; pairs of one session are averaged first.

*Back* means that the interval of the difference lies within ± the smallest difference that matters (two one-sided
tests, Schuirmann 1987, doi:10.1007/BF01068419), *still off* that it lies beyond. Looking after each brew would find
either in time whatever is true, so it is judged after `LOOKS` pairs only, each look at an equal share of the risk
(Bonferroni), and the first look that says something stands. In all, somebody who is off by the smallest difference or
more is called back with `RISK` at most, and somebody within it still off with `RISK` at most; for pairs that are
independent and normal.

What the change itself did is another question: it wants the same person with and without it.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from math import inf, isfinite, sqrt
from statistics import fmean

import numpy as np
from scipy import special

from brewbar.words import gettext as _
from brewbar.words import ngettext
from calibration.coaching.signature import Quantity
from calibration.coaching.wording import NAMES, amount
from calibration.statistics.paired import Difference, Sameness, paired
from calibration.statistics.pieces import gauss_legendre

LOOKS = (6, 12, 24, 48)
RISK = 0.05
POWER = 0.9


@dataclass(frozen=True, slots=True)
class FreshPair:
    """session: what both brewed in, such as the business day; at: when the person's was brewed; own: its value;
    others: the mean of the others there."""

    session: Hashable
    at: datetime | date
    own: float
    others: float


class Standing(StrEnum):
    BACK = "back"
    STILL_OFF = "still-off"
    TOO_FEW = "too-few"
    UNSETTLED = "unsettled"
    """The last look has passed, and both remain likely."""


@dataclass(frozen=True, slots=True)
class FollowedUp:
    """standing; n: fresh pairs, one for each session; left_out: brews from before the change; look: after how many
    pairs it was judged last, None before the first; judged: what was found there; more: pairs until it is judged
    again, None once it stands; likely_more: pairs until a brewer who is back is called so nine times in ten, None if
    that is not known or no look will do; says: in a sentence or two."""

    standing: Standing
    n: int
    left_out: int
    look: int | None
    judged: Difference | None
    more: int | None
    likely_more: int | None
    says: str


def follow_up(
    quantity: Quantity,
    pairs: Iterable[FreshPair],
    changed_at: datetime | date,
    smallest: float,
    pair_sd: float | None = None,
    risk: float = RISK,
) -> FollowedUp:
    """smallest: ± what does not matter; pair_sd: of one pair's difference as the crew's brews have it, to foresee how
    many more are needed; without it, from six pairs on, their own."""
    if not 0 < smallest < inf:
        raise ValueError(_("The smallest difference that matters must be above 0."))
    if not 0 < risk < 0.5:
        raise ValueError(_("The chance of a false alarm lies between 0 and 0.5, such as 0.05."))
    everything = sorted(pairs, key=lambda one: one.at)
    fresh = [one for one in everything if one.at > changed_at]
    own, others = _by_session(fresh)
    share = risk / len(LOOKS)
    judged, look, standing = None, None, Standing.TOO_FEW
    for look_at in LOOKS:
        if look_at > len(own) or standing is not Standing.TOO_FEW:
            break
        look, judged = look_at, paired(own[:look_at], others[:look_at], smallest, 1 - share)
        standing = {
            Sameness.SAME: Standing.BACK,
            Sameness.DIFFERENT: Standing.STILL_OFF,
            Sameness.TOO_EARLY: Standing.UNSETTLED if look_at == LOOKS[-1] else Standing.TOO_FEW,
        }[judged.word]
    more, likely_more = None, None
    if standing is Standing.TOO_FEW:
        more = next(one for one in LOOKS if one > len(own)) - len(own)
        likely = _likely_look(len(own), smallest, pair_sd or (judged.sd if judged else None), share)
        likely_more = likely - len(own) if likely is not None else None
    left_out = len(everything) - len(fresh)
    says = _says(quantity, standing, len(own), smallest, judged, more, likely_more)
    return FollowedUp(standing, len(own), left_out, look, judged, more, likely_more, says)


def _by_session(fresh: Sequence[FreshPair]) -> tuple[list[float], list[float]]:
    """The mean of each session, in the order in which they began."""
    sessions: dict[Hashable, list[FreshPair]] = {}
    for one in fresh:
        sessions.setdefault(one.session, []).append(one)
    return (
        [fmean(one.own for one in brews) for brews in sessions.values()],
        [fmean(one.others for one in brews) for brews in sessions.values()],
    )


def chance_to_confirm(n: int, smallest: float, sd: float, risk: float, true_difference: float = 0.0) -> float:
    """That n pairs show a difference to lie within ± smallest: P(|D̄| ≤ m − t·S/√n), over the chances of S."""
    if n < 2 or not (isfinite(sd) and sd > 0):
        return 0.0
    df, root = n - 1, sqrt(n)
    t = float(special.stdtrit(df, 1 - risk))
    # in units of σ: S²·df ~ χ²(df), and beyond the last S that fits no difference is narrow enough
    low = sqrt(float(special.chdtri(df, 1 - 1e-14)) / df)
    high = min(sqrt(float(special.chdtri(df, 1e-14)) / df), smallest * root / (t * sd))
    if high <= low:
        return 0.0
    nodes, weights = gauss_legendre(200)
    s = (low + high) / 2 + (high - low) / 2 * nodes
    half = df / 2
    log_density = (
        np.log(2.0) + half * np.log(half) - special.gammaln(half) + (df - 1) * np.log(s) - half * s * s
    )
    room, away = smallest * root / sd - t * s, true_difference * root / sd
    within = special.ndtr(room - away) - special.ndtr(-room - away)
    return float((high - low) / 2 * weights @ (np.exp(log_density) * within))


def _likely_look(n: int, smallest: float, sd: float | None, share: float) -> int | None:
    if sd is None or sd <= 0:
        return None
    return next(
        (look for look in LOOKS if look > n and chance_to_confirm(look, smallest, sd, share) >= POWER), None
    )


def _says(
    quantity: Quantity,
    standing: Standing,
    n: int,
    smallest: float,
    judged: Difference | None,
    more: int | None,
    likely_more: int | None,
) -> str:
    words = {
        "what": _(NAMES[quantity]),
        "smallest": amount(quantity, smallest),
        "pairs": ngettext("%d fresh pair", "%d fresh pairs", judged.n if judged else n)
        % (judged.n if judged else n),
    }
    if standing is Standing.BACK:
        return (
            _(
                "Back with the crew: over %(pairs)s the %(what)s lies within ±%(smallest)s of the others. Whether the "
                "change did that, these brews cannot say."
            )
            % words
        )
    if standing is Standing.STILL_OFF:
        return (
            _(
                "Still off: over %(pairs)s the %(what)s lies over %(smallest)s from the others. Try another change."
            )
            % words
        )
    if standing is Standing.UNSETTLED:
        return (
            _(
                "Not settled by %(pairs)s: the %(what)s lies near %(smallest)s from the others, inside or outside."
            )
            % words
        )
    words["fresh"] = ngettext("%d fresh pair", "%d fresh pairs", n) % n
    words["more"] = ngettext("%d more pair", "%d more pairs", more or 0) % (more or 0)
    says = _("Too few yet, with %(fresh)s: it is judged after %(more)s.") % words
    if likely_more is not None and more is not None and likely_more > more:
        words["likely"] = ngettext("%d more pair", "%d more pairs", likely_more) % likely_more
        says += " " + _("A brewer who is back is likely to be told so after %(likely)s.") % words
    return says
