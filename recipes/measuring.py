"""Where a kettle's stream breaks: points that were measured, what is known by them, and which plans ask for more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import Max, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.utils.translation import gettext as _

from brewbar.crew.access import Member
from brewbar.crew.models import Change, User
from brewbar.crew.record import note as on_record
from brewbar.units import AS_KEPT, degrees, trimmed, written_as
from recipes.brewing import kettle_curve
from recipes.brewing.kettle_curve import Known
from recipes.brewing.plan import Finding
from recipes.brewing.stream import USUAL_BORE_MM, jetting_flow_g_s
from recipes.brewing.water import boiling_point_C
from recipes.catalogue import NotDone
from recipes.models import BreakupPoint, Kettle, RecipeVersion, Slot

MEASURING_ENDS_MM = 200
"""How high a kettle is raised to be measured: common practice, no source. Above 150 mm water splashes already."""
WEATHER_K = 1.0
"""High air pressure lifts the boiling point by about that: engineering estimate, no source."""


def add(
    kettle: Kettle,
    flow_g_s: Decimal,
    temperature_C: Decimal,
    height_mm: int,
    broke: bool,
    note: str,
    by: User,
    now: datetime,
) -> BreakupPoint:
    """Write down where the stream of ``kettle`` broke, or that it was whole still. Raises NotDone."""
    with transaction.atomic():
        kettle = Kettle.objects.select_for_update(of=("self",)).select_related("cafe").get(pk=kettle.pk)
        if kettle.retired_at:
            raise NotDone(_("%(name)s is retired. Bring it back first.") % {"name": kettle})
        point = BreakupPoint.objects.create(
            kettle=kettle,
            flow_g_s=flow_g_s,
            temperature_C=temperature_C,
            height_mm=height_mm,
            broke=broke,
            note=note,
            measured_at=now,
            measured_by=by,
        )
        _noted(point, _("stream measured: %(point)s"), by, after={_("note"): note} if note else None)
        return point


def take_back(point: BreakupPoint, by: User, now: datetime) -> None:
    """Have a wrong point count for nothing; it stays to be seen. Raises NotDone if it was taken back before."""
    with transaction.atomic():
        rows = BreakupPoint.objects.select_for_update(of=("self",)).select_related("kettle__cafe")
        point = rows.get(pk=point.pk)
        if point.taken_back_at:
            raise NotDone(_("This was taken back already."))
        point.taken_back_at, point.taken_back_by = now, by
        point.save(update_fields=["taken_back_at", "taken_back_by"])
        _noted(point, _("measurement taken back: %(point)s"), by)


@written_as(AS_KEPT)
def _noted(point: BreakupPoint, what: str, by: User, after: dict[str, str] | None = None) -> None:
    """On the record of the kettle, so that its history tells it."""
    cafe = point.kettle.cafe
    on_record(
        company=cafe.company,
        cafe=cafe,
        about=Change.About.EQUIPMENT,
        what=what % {"point": in_words(point)},
        subject=point.kettle,
        by=by,
        after=after,
    )


def in_words(point: BreakupPoint) -> str:
    """5 g/s, 93 °C: broke at 140 mm."""
    said = {
        "flow": trimmed(point.flow_g_s, 1),
        "temperature": degrees(point.temperature_C),
        "height": point.height_mm,
    }
    if point.broke:
        return _("%(flow)s g/s, %(temperature)s: broke at %(height)d mm") % said
    return _("%(flow)s g/s, %(temperature)s: still whole at %(height)d mm") % said


def doubts(point: BreakupPoint) -> list[str]:
    """What is unlikely about a point; it counts all the same."""
    kettle, flow, said = point.kettle, point.flow_g_s, []
    bore_mm = float(kettle.spout_bore_mm or USUAL_BORE_MM)
    boils_C = boiling_point_C(kettle.cafe.altitude_m)
    if not kettle.flow_min_g_s <= flow <= kettle.flow_max_g_s:
        words = {
            "flow": trimmed(flow, 1),
            "low": trimmed(kettle.flow_min_g_s, 1),
            "high": trimmed(kettle.flow_max_g_s, 1),
        }
        said.append(
            _("%(flow)s g/s is outside of what this kettle is said to hold, %(low)s to %(high)s g/s.") % words
        )
    if float(flow) < jetting_flow_g_s(float(point.temperature_C), bore_mm):
        said.append(_("At so small a flow most spouts drip, and there is no stream to break."))
    if float(point.temperature_C) > boils_C + WEATHER_K:
        boils = {"boils": degrees(boils_C, 1)}
        said.append(_("Here water boils at %(boils)s: look whether the thermometer reads right.") % boils)
    if point.height_mm > MEASURING_ENDS_MM:
        said.append(
            _("Measuring ends at %(limit)d mm: higher up water splashes past the vessel.")
            % {"limit": MEASURING_ENDS_MM}
        )
    return said


# --- looking


def with_points(kettles: QuerySet[Kettle]) -> QuerySet[Kettle]:
    """``kettles`` with their points, and who measured them."""
    points = BreakupPoint.objects.select_related("measured_by", "taken_back_by")
    return kettles.select_related("cafe").prefetch_related(Prefetch("breakup_points", queryset=points))


def known(kettle: Kettle) -> Known:
    points = [point.observation() for point in kettle.breakup_points.all() if not point.taken_back_at]
    return kettle_curve.known(kettle.limits(), points, boiling_point_C(kettle.cafe.altitude_m))


def counted(member: Member) -> dict[int, int]:
    """How many points stand, for each kettle that has some."""
    counts: dict[int, int] = {}
    for kettle in BreakupPoint.objects.for_member(member).standing().values_list("kettle", flat=True):
        counts[kettle] = counts.get(kettle, 0) + 1
    return counts


@dataclass(frozen=True)
class Asked:
    """A version that asks of a kettle what it cannot do; ``stations`` brew it with that kettle, now or soon."""

    version: RecipeVersion
    stations: tuple[str, ...]
    findings: tuple[Finding, ...]


def asked_too_much(member: Member, kettle: Kettle) -> list[Asked]:
    """Versions written for ``kettle``, or on a board with it, with pours that it cannot make.

    Of what is published, the newest of its recipe, and whatever is on a board.
    """
    limits, boiling_C = kettle.limits(), boiling_point_C(kettle.cafe.altitude_m)
    found = []
    stations = _on_boards(kettle)
    for version in _poured_from(member, kettle, stations):
        if findings := kettle_curve.beyond(version.plan(), limits, boiling_C):
            found.append(Asked(version, tuple(dict.fromkeys(stations.get(version.pk, ()))), findings))
    return found


def _on_boards(kettle: Kettle) -> dict[int, list[str]]:
    """{version: stations} of what is brewed with ``kettle`` now, or planned for it."""
    stations: dict[int, list[str]] = {}
    for slot in Slot.objects.filter(kettle=kettle, withdrawn_at=None).select_related("card__station"):
        stations.setdefault(slot.version_id, []).append(str(slot.card.station))
    return stations


def _poured_from(member: Member, kettle: Kettle, on_boards: dict[int, list[str]]) -> QuerySet[RecipeVersion]:
    newest = (
        RecipeVersion.objects.published()
        .filter(recipe=OuterRef("recipe"))
        .order_by()
        .values("recipe")
        .annotate(newest=Max("number"))
        .values("newest")
    )
    rows: QuerySet[RecipeVersion] = RecipeVersion.objects.for_member(member)
    written_for = Q(kettle=kettle) & (Q(published_at=None) | Q(number=Subquery(newest)))
    in_use = Q(retired_at=None, recipe__retired_at=None)
    return (
        rows.filter(Q(pk__in=on_boards) | (written_for & in_use))
        .select_related("recipe")
        .prefetch_related("pours")
        .order_by("recipe__name", "-number")
    )
