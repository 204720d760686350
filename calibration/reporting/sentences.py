"""The three sentences: is the cup consistent, did it change, what was done. Each only where there are data for it.

Consistent is the house's rule: 80 of 100 check brews or more inside their target. Too close to call is neither, so that
between yes and no there is partly.
"""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from brewbar import dates
from calibration.reporting import changed, signals_done, spreads, words
from calibration.reporting.moved import TDS, Against, Bar
from calibration.reporting.parts import Parts
from calibration.reporting.result import Sentence, Sure
from calibration.reporting.shares import Counted, Line
from calibration.statistics.differences import Difference
from calibration.statistics.usual_days import Step

CONSISTENT_FROM = 0.80
"""The house's rule: so many of the checks inside their target."""
OUTSIDE_FROM = 1 - CONSISTENT_FROM
FEWEST_BREWS, FEWEST_DAYS = 20, 5
"""Below these nothing is called consistent or not. Engineering estimate, no source."""
WIDEST = 0.5


def of(parts: Parts) -> tuple[Sentence, ...]:
    found = (consistent(parts), did_change(parts), done(parts))
    return tuple(sentence for sentence in found if sentence is not None)


# --- is the cup consistent?


def consistent(parts: Parts) -> Sentence | None:
    line = next((line for line in parts.shares.together.values() if line.now is not None), None)
    if line is None or line.now is None:
        return None
    now = line.now
    answer, sure = _answer(now)
    what = {
        "tds": _("surely had the strength their recipe asks for"),
        "ey": _("surely had the extraction yield their recipe asks for"),
        "time": _("surely took the time their recipe asks for"),
    }[line.key]
    if sure is Sure.CANNOT_SAY:
        says = _("%(answer)s. Of %(brews)s, %(inside)s %(what)s.") % {
            "answer": answer,
            "brews": words.brews(now.judged),
            "inside": words.number(now.inside),
            "what": what,
        }
        return Sentence("consistent", says, _few(now), sure)
    says = _("%(answer)s: of 100 check brews, about %(share)s %(what)s.") % {
        "answer": answer,
        "share": words.of_100(now.share.share),
        "what": what,
    }
    worst = _worst(parts, line.key, now)
    return Sentence("consistent", f"{says} {worst}".strip(), _how_sure(parts, now), sure)


def _answer(now: Counted) -> tuple[str, Sure]:
    inside, outside = now.share, now.outside_share
    too_few = now.judged < FEWEST_BREWS or now.days < FEWEST_DAYS
    if too_few or inside.crew.high - inside.crew.low > WIDEST:
        return _("Whether the cup is consistent cannot be said yet"), Sure.CANNOT_SAY
    if inside.crew.low >= CONSISTENT_FROM:
        return _("Yes, the cup is consistent"), Sure.SURE
    if outside.crew.low > OUTSIDE_FROM:
        return _("No, the cup is not consistent"), Sure.SURE
    if inside.share >= CONSISTENT_FROM:
        return _("Probably yes, the cup is consistent"), Sure.LIKELY
    if outside.share > OUTSIDE_FROM:
        return _("Probably not, the cup is not consistent"), Sure.LIKELY
    is_sure = inside.crew.high < CONSISTENT_FROM and outside.crew.high < OUTSIDE_FROM
    return _("The cup is only partly consistent"), Sure.SURE if is_sure else Sure.LIKELY


def _worst(parts: Parts, key: str, whole: Counted) -> str:
    """The recipe that is surely held worse than all together, if there is one."""
    line = worst_line(parts, key)
    if line is None or line.now is None or line.now.share.crew.high >= whole.share.share:
        return ""
    return _("%(recipe)s is held worst, with %(share)s of 100 (%(between)s).") % {
        "recipe": where(parts, line),
        "share": words.of_100(line.now.share.share),
        "between": words.between(line.now.share.crew),
    }


def worst_line(parts: Parts, key: str = "tds") -> Line | None:
    told = [line for line in parts.shares.apart if line.key == key and line.now and not line.now.is_few]
    return min(told, key=lambda line: line.now.share.share if line.now else 1.0, default=None)


def where(parts: Parts, line: Line) -> str:
    if len(parts.ground.asked.cafes) == 1:
        return line.recipe
    return _("%(recipe)s at %(cafe)s") % {"recipe": line.recipe, "cafe": line.cafe}


def _basis(now: Counted) -> str:
    return _("%(brews)s by %(people)s on %(days)s") % {
        "brews": words.brews(now.judged),
        "people": words.people(now.share.people),
        "days": words.days(now.days),
    }


def _few(now: Counted) -> str:
    if now.judged < FEWEST_BREWS or now.days < FEWEST_DAYS:
        return _("That is %(basis)s: too little to tell.") % {"basis": _basis(now)}
    return _(
        "By %(basis)s it may be anything from %(between)s of 100: what was brewed together came out alike, "
        "so that many brews tell little."
    ) % {"basis": _basis(now), "between": words.between(now.share.crew)}


def _how_sure(parts: Parts, now: Counted) -> str:
    said = _(
        "From %(basis)s: %(between)s of 100. Surely outside: %(outside)s; too close to call: %(close)s of 100."
    ) % {
        "between": words.between(now.share.crew),
        "basis": _basis(now),
        "outside": words.of_100(now.outside / now.judged),
        "close": words.of_100(now.close / now.judged),
    }
    strength = parts.spreads.together.get("tds")
    if strength is not None and strength.largest is not None:
        said += " " + spreads.says(strength)
    return said


# --- did it change?


def did_change(parts: Parts) -> Sentence | None:
    moved = parts.moved
    stepped = [bar for bar in moved.bars if bar.step is not None]
    whole = next(one for one in moved.together if one.measure is TDS)
    difference, _alike = changed.best(whole)
    if stepped:
        return _moved(parts, stepped, whole, difference)
    apart = [one for one in moved.apart if one.is_surely_seen and not _is_small(one, changed.best(one)[0])]
    if apart:
        return _differs(parts, apart, whole)
    if difference is None:
        return _within(parts)
    return _as_a_whole(parts, whole, difference)


def _moved(parts: Parts, stepped: list[Bar], whole: Against, difference: Difference | None) -> Sentence:
    told = [_one_step(parts, bar, bar.step) for bar in stepped if bar.step is not None]
    matters = any(bar.step is not None and abs(bar.step.size) >= (bar.smallest or 0.0) for bar in stepped)
    says = (
        _("Yes, it changed: %(what)s.") if matters else _("It changed a little, less than matters: %(what)s.")
    ) % {"what": words.listed(told[:3])}
    sure = [
        _("By %(between)s.")
        % {"between": words.listed([_limits(bar.step) for bar in stepped if bar.step is not None])},
        _("Of 100 such reports in which nothing moves, at most 6 say that something did."),
        _compared(parts, whole, difference),
    ]
    return Sentence("changed", says, " ".join(one for one in sure if one), Sure.SURE)


def _one_step(parts: Parts, bar: Bar, step: Step) -> str:
    near = bar.near(step)
    return _("%(recipe)s has been %(size)s %(way)s since about %(day)s (%(near)s)") % {
        "recipe": _named(parts, bar),
        "size": TDS.said(step.size),
        "way": TDS.way(step.size),
        "day": dates.day(date.fromordinal(step.day), weekday=True),
        "near": _("about then: %(what)s") % {"what": "; ".join(near[:3])}
        if near
        else _("nothing that was changed about then is on record"),
    }


def _named(parts: Parts, bar: Bar) -> str:
    if len(parts.ground.asked.cafes) == 1:
        return bar.recipe.name
    return _("%(recipe)s at %(cafe)s") % {"recipe": bar.recipe.name, "cafe": bar.cafe.name}


def _limits(step: Step) -> str:
    return _("%(between)s %% TDS") % {"between": words.from_to(TDS.apart(step.low), TDS.apart(step.high))}


def _compared(parts: Parts, whole: Against, difference: Difference | None) -> str:
    said = []
    if difference is not None:
        text = (
            _(
                "All cafés together, like with like, were %(size)s %(way)s than in the span before (%(between)s)."
            )
            if len(parts.ground.asked.cafes) > 1
            else _("Like with like, the cups were %(size)s %(way)s than in the span before (%(between)s).")
        )
        said.append(
            text
            % {
                "size": TDS.said(difference.difference),
                "way": TDS.way(difference.difference),
                "between": changed.apart(whole, difference),
            }
        )
    if whole.share is not None:
        said.append(
            _("Inside target: %(now)s of 100, before %(before)s.")
            % {"now": words.of_100(whole.share.now.share), "before": words.of_100(whole.share.before.share)}
        )
    return " ".join(said)


def _differs(parts: Parts, apart: list[Against], whole: Against) -> Sentence:
    """No day can be told on which it moved, but a café surely differs from itself before."""
    told = []
    for one in apart:
        difference, _alike = changed.best(one)
        assert difference is not None
        told.append(
            _("at %(cafe)s the cups were %(size)s %(way)s than before (%(between)s)")
            % {
                "cafe": one.cafe,
                "size": TDS.said(difference.difference),
                "way": TDS.way(difference.difference),
                "between": changed.apart(one, difference),
            }
        )
    says = _("Yes, it changed: %(what)s. Since when exactly cannot be told.") % {
        "what": words.listed(told[:3])
    }
    return Sentence("changed", says, _compared(parts, whole, changed.best(whole)[0]), Sure.SURE)


def _as_a_whole(parts: Parts, whole: Against, difference: Difference) -> Sentence:
    smallest = whole.smallest
    small = _is_small(whole, difference)
    how = _compared(parts, whole, difference)
    n = _("From %(now)s and, before, %(before)s.") % {
        "now": words.brews(difference.n_now),
        "before": words.brews(difference.n_before),
    }
    size = {
        "size": TDS.said(difference.difference),
        "way": TDS.way(difference.difference),
        "smallest": "" if smallest is None else TDS.said(smallest),
    }
    if small:
        says = _(
            "No, it did not change: the cups are as strong as before, within the %(smallest)s that matter."
        )
        return Sentence("changed", says % size, f"{how} {n}", Sure.SURE)
    if difference.is_seen:
        says = _("Yes, it changed: the cups are about %(size)s %(way)s than in the span before.") % size
        beyond = (
            smallest is not None
            and min(map(abs, (difference.interval.low, difference.interval.high))) >= smallest
        )
        if not beyond:
            says += " " + _("Whether that is enough to matter is not sure.")
        return Sentence("changed", says, f"{how} {n}", Sure.SURE if beyond else Sure.LIKELY)
    most = max(abs(difference.interval.low), abs(difference.interval.high))
    says = _("No change can be told, but one of up to %(most)s may be hidden.") % {"most": TDS.said(most)}
    return Sentence("changed", says, f"{how} {n}", Sure.CANNOT_SAY)


def _is_small(one: Against, difference: Difference | None) -> bool:
    """Whether the whole interval lies within what matters."""
    if difference is None or one.smallest is None:
        return False
    return -one.smallest < difference.interval.low and difference.interval.high < one.smallest


def _within(parts: Parts) -> Sentence | None:
    """Without a span before, the days of this one alone."""
    told = [bar for bar in parts.moved.bars if not bar.reckoned.usual.reason]
    if not told:
        return None
    days = sum(len(bar.days) for bar in told)
    outside = sum(len(bar.outside) for bar in told)
    if outside:
        says = ngettext(
            "It did not change for good: %(n)d day of %(all)d lay beyond what days usually do.",
            "It did not change for good: %(n)d days of %(all)d lay beyond what days usually do.",
            outside,
        ) % {"n": outside, "all": days}
    else:
        says = _(
            "It did not change within this span: each of the %(all)d days was what days there usually are."
        ) % {"all": days}
    how = _("There is nothing to compare it with: too little was brewed in the span before.")
    return Sentence("changed", says, how, Sure.LIKELY)


# --- what was done?


def done(parts: Parts) -> Sentence | None:
    signals, checks = parts.signals, parts.checks
    raised, still = signals.raised, signals.open
    whole = checks.together
    if not raised and not still and whole is None:
        return None
    how = []
    if whole is not None:
        how.append(
            _("Of %(due)s checks due, %(done)s were brewed.")
            % {"due": words.number(whole.due), "done": words.number(whole.done)}
        )
    how.append(_("These are counts, as things stood when the span ended."))
    if not raised and not still:
        says = _("Nothing had to be: no signal was raised.")
        if whole is not None and whole.share < CONSISTENT_FROM:
            says = _("No signal was raised, but too few checks were brewed to have raised one.")
            return Sentence("done", says, " ".join(how), Sure.LIKELY)
        return Sentence("done", says, " ".join(how), Sure.SURE)
    return Sentence("done", " ".join(signals_done.says(signals)), " ".join(how), Sure.SURE)
