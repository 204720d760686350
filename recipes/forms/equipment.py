"""Brewers, papers, kettles, waters, grinders and servers: one form each, and the list that drives the pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from brewbar import dates
from brewbar.crew.access import Member
from brewbar.units import fixed, grams, trimmed
from brewbar.web.forms import with_examples
from recipes.brewing import bed
from recipes.brewing.hardness import CACO3_MG_L_PER_DEGREE
from recipes.catalogue import WAY_FROM_A_SLOT
from recipes.forms.catalogue import NamedForm, typed
from recipes.forms.fields import NumberField, WholeField
from recipes.models import Brewer, BrewWater, Grinder, Kettle, Paper, Server

Words = str | Promise

OLDEST_YEAR = 2000
"""A measurement before that is a slip of the year, such as 0026."""

USUAL_BREWER = bed.Brewer()
"""What is reckoned with where a size is left open."""


class BrewerForm(NamedForm):
    class Meta:
        model = Brewer
        fields = ["name", "shape", "wall_angle_deg", "diameter_mm", "body", "largest_dose_g", "note"]
        field_classes = {
            "wall_angle_deg": NumberField,
            "diameter_mm": NumberField,
            "largest_dose_g": NumberField,
        }
        # The placeholders tell the page's style which fields are still empty: those of another shape are hidden
        widgets = {
            "name": typed(),
            "wall_angle_deg": typed(**{"data-unit": "°", "placeholder": " "}),
            "diameter_mm": typed(**{"data-unit": "mm", "placeholder": " "}),
            "largest_dose_g": typed(**{"data-unit": "g"}),
            "note": typed(),
        }
        help_texts = {
            "name": gettext_lazy("The kind, not the piece: shape and size, as your crew says it."),
            "shape": gettext_lazy(
                "A wedge is reckoned as a cone: its bed widens upwards too, and nobody has measured how it drains."
            ),
            "wall_angle_deg": with_examples(
                gettext_lazy(
                    "Of a cone or a wedge: from wall to wall, seen from the side. If you leave it open, "
                    "we reckon with %(usual)s°."
                ),
                usual=trimmed(2 * USUAL_BREWER.half_angle_deg, 0),
            ),
            "diameter_mm": with_examples(
                gettext_lazy(
                    "Of a flat bed or a cylinder: inside, where the coffee lies. If you leave it open, "
                    "we reckon with %(usual)s mm."
                ),
                usual=trimmed(USUAL_BREWER.diameter_mm, 0),
            ),
            "body": gettext_lazy(
                "How much heat it takes from a brew when it is not rinsed warm. Of metal, and if you leave it open, "
                "we reckon with a wide range."
            ),
        }

    def clean(self) -> dict[str, Any]:
        shape = self.cleaned_data.get("shape")
        widens = shape in {Brewer.Shape.CONE, Brewer.Shape.WEDGE}
        if shape and not widens and self.cleaned_data.get("wall_angle_deg") is not None:
            said = _("The walls of this shape stand upright: clear the angle, or choose cone or wedge.")
            self.add_error("wall_angle_deg", said)
        if widens and self.cleaned_data.get("diameter_mm") is not None:
            said = _(
                "A bed that widens upwards has no one diameter: clear it, or choose flat bed or cylinder."
            )
            self.add_error("diameter_mm", said)
        return self.cleaned_data


class PaperForm(NamedForm):
    class Meta:
        model = Paper
        fields = ["name", "speed", "note"]
        widgets = {"name": typed(), "note": typed()}
        help_texts = {"speed": gettext_lazy("How fast it lets water through, beside the others you use.")}


class KettleForm(NamedForm):
    within = "cafe"

    class Meta:
        model = Kettle
        fields = ["name", "flow_min_g_s", "flow_max_g_s", "capacity_g", "spout_bore_mm", "note"]
        field_classes = {
            "flow_min_g_s": NumberField,
            "flow_max_g_s": NumberField,
            "capacity_g": WholeField,
            "spout_bore_mm": NumberField,
        }
        widgets = {
            "name": typed(),
            "flow_min_g_s": typed(**{"data-unit": "g/s"}),
            "flow_max_g_s": typed(**{"data-unit": "g/s"}),
            "capacity_g": typed(**{"data-unit": "g"}),
            "spout_bore_mm": typed(**{"data-unit": "mm"}),
            "note": typed(),
        }
        help_texts = {
            "flow_min_g_s": gettext_lazy("The thinnest stream that stays whole."),
            "flow_max_g_s": gettext_lazy("The strongest pour that still lands where it is aimed."),
            "capacity_g": gettext_lazy("Water, filled as far as you would carry it."),
        }

    def clean(self) -> dict[str, Any]:
        slowest, fastest = self.cleaned_data.get("flow_min_g_s"), self.cleaned_data.get("flow_max_g_s")
        if slowest is not None and fastest is not None and slowest >= fastest:
            said = _("The fastest flow has to be above the slowest, %(slowest)s g/s.")
            self.add_error("flow_max_g_s", said % {"slowest": trimmed(slowest, 1)})
        return self.cleaned_data


class GrinderForm(NamedForm):
    within = "cafe"

    class Meta:
        model = Grinder
        fields = ["name", "setting_step", "note"]
        field_classes = {"setting_step": NumberField}
        widgets = {"name": typed(), "setting_step": typed(), "note": typed()}
        help_texts = {
            "setting_step": with_examples(
                gettext_lazy(
                    "How far the board's minus and plus move the setting: "
                    "1 for whole clicks, %(fine)s for a fine dial."
                ),
                fine="0.1",
            ),
            "note": gettext_lazy("The range of its scale, and which way is coarser."),
        }


class ServerForm(NamedForm):
    within = "cafe"

    class Meta:
        model = Server
        fields = ["name", "tare_g"]
        field_classes = {"tare_g": NumberField}
        widgets = {"name": typed(), "tare_g": typed(**{"data-unit": "g"})}


class WaterForm(NamedForm):
    within = "cafe"

    class Meta:
        model = BrewWater
        fields = ["name", "hardness_mg_l", "alkalinity_mg_l", "measured_on", "note"]
        field_classes = {"hardness_mg_l": WholeField, "alkalinity_mg_l": WholeField}
        widgets = {
            "name": typed(),
            "hardness_mg_l": typed(**{"data-unit": "mg/L CaCO3"}),
            "alkalinity_mg_l": typed(**{"data-unit": "mg/L CaCO3"}),
            "measured_on": forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
            "note": typed(),
        }
        labels = {
            "hardness_mg_l": gettext_lazy("Total hardness, as CaCO3"),
            "alkalinity_mg_l": gettext_lazy("Alkalinity, as CaCO3"),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        one_degree = fixed(CACO3_MG_L_PER_DEGREE, 2)
        self.fields["hardness_mg_l"].help_text = _(
            "In whole mg/L, which some strips call ppm. A strip in German degrees: 1 °dH is %(n)s mg/L."
        ) % {"n": one_degree}
        self.fields["alkalinity_mg_l"].help_text = _(
            "Carbonate hardness on many strips: 1 °dH is %(n)s mg/L here too."
        ) % {"n": one_degree}

    def clean_measured_on(self) -> date | None:
        day: date | None = self.cleaned_data["measured_on"]
        if day and day > timezone.localdate(timezone=self.instance.cafe.zone):
            raise ValidationError(_("This day is still to come."))
        if day and day.year < OLDEST_YEAR:
            raise ValidationError(_("That is very long ago. Check the year."))
        return day


@dataclass(frozen=True)
class Column:
    label: Words
    text: Callable[[Any], str]
    is_long: bool = False


def _or_dash(number: Decimal | int | None, unit: str) -> str:
    return "–" if number is None else f"{trimmed(number, 1)} {unit}"


def _bed(brewer: Brewer) -> str:
    size = ""
    if brewer.wall_angle_deg is not None:
        size = f", {trimmed(brewer.wall_angle_deg, 1)}°"
    elif brewer.diameter_mm is not None:
        size = f", {trimmed(brewer.diameter_mm, 1)} mm"
    return f"{brewer.get_shape_display()}{size}"


def _flows(kettle: Kettle) -> str:
    words = {"slowest": trimmed(kettle.flow_min_g_s, 1), "fastest": trimmed(kettle.flow_max_g_s, 1)}
    return _("%(slowest)s–%(fastest)s g/s") % words


def _mg_l(number: int | None) -> str:
    return "–" if number is None else f"{number} mg/L"


def _measured(water: BrewWater) -> str:
    return dates.day(water.measured_on, year=True) if water.measured_on else "–"


def _in_use(water: BrewWater) -> str:
    if not water.in_use_since:
        return ""
    since = dates.day(water.in_use_since.astimezone(water.cafe.zone), year=True)
    return _("now, since %(day)s") % {"day": since}


NOTE = Column(gettext_lazy("Note"), lambda row: str(row.note), is_long=True)


@dataclass(frozen=True)
class Kind:
    """One kind of equipment: ``form`` makes it, ``columns`` tell it, the words stand on its pages."""

    key: str
    form: type[NamedForm]
    title: Words
    add: Words
    first: Words
    """What is to be done while there is none; "" where a café can do without."""
    help: Words
    columns: tuple[Column, ...]

    @property
    def model(self) -> Any:
        return self.form._meta.model

    @property
    def address(self) -> str:
        return f"recipes:{self.key}"

    @property
    def adding(self) -> str:
        return f"recipes:{self.key}_new"

    @property
    def retiring(self) -> str:
        return f"recipes:{self.key}_retire"

    @property
    def on_boards(self) -> bool:
        """Whether a board names it."""
        return self.model in WAY_FROM_A_SLOT

    @property
    def is_company_wide(self) -> bool:
        return self.form.within == "company"

    def rows(self, member: Member) -> QuerySet[Any]:
        rows: QuerySet[Any] = self.model.objects.for_member(member)
        return rows if self.is_company_wide else rows.select_related("cafe")

    def new(self, member: Member) -> Any:
        return self.model(**{self.form.within: getattr(member, self.form.within)})


# In the order in which a new café would need them.
KINDS = (
    Kind(
        "brewer",
        BrewerForm,
        gettext_lazy("Brewers"),
        gettext_lazy("Add a brewer"),
        gettext_lazy("The brewer your first recipe is written for"),
        gettext_lazy("A recipe is written for a kind of brewer, so one of each kind is enough."),
        (
            Column(gettext_lazy("Bed"), _bed),
            Column(gettext_lazy("Made of"), lambda row: str(row.get_body_display()) or "–"),
            Column(gettext_lazy("Largest dose"), lambda row: _or_dash(row.largest_dose_g, "g")),
            NOTE,
        ),
    ),
    Kind(
        "paper",
        PaperForm,
        gettext_lazy("Papers"),
        gettext_lazy("Add a paper"),
        gettext_lazy("Its paper"),
        gettext_lazy("Fast and slow are meant beside one another: the grind goes with the paper."),
        (Column(gettext_lazy("Speed"), lambda row: str(row.get_speed_display())), NOTE),
    ),
    Kind(
        "kettle",
        KettleForm,
        gettext_lazy("Kettles"),
        gettext_lazy("Add a kettle"),
        gettext_lazy("A kettle, with the flows it can hold"),
        gettext_lazy("Every plan is checked against the kettle it is poured from."),
        (
            Column(gettext_lazy("Steady flow"), _flows),
            Column(gettext_lazy("Holds"), lambda row: grams(row.capacity_g, 0)),
            Column(gettext_lazy("Spout bore"), lambda row: _or_dash(row.spout_bore_mm, "mm")),
            NOTE,
        ),
    ),
    Kind(
        "water",
        WaterForm,
        gettext_lazy("Brew waters"),
        gettext_lazy("Add a water"),
        "",
        gettext_lazy("What the bar brews with is kept with every reading. Hardness and alkalinity as CaCO3."),
        (
            Column(gettext_lazy("Hardness"), lambda row: _mg_l(row.hardness_mg_l)),
            Column(gettext_lazy("Alkalinity"), lambda row: _mg_l(row.alkalinity_mg_l)),
            Column(gettext_lazy("Measured"), _measured),
            Column(gettext_lazy("Brewed with"), _in_use),
            NOTE,
        ),
    ),
    Kind(
        "grinder",
        GrinderForm,
        gettext_lazy("Grinders"),
        gettext_lazy("Add a grinder"),
        gettext_lazy("A grinder, with the step of its scale"),
        gettext_lazy("A setting is kept as it is marked on the machine, and moves by one step at a tap."),
        (Column(gettext_lazy("One step"), lambda row: trimmed(row.setting_step, 2)), NOTE),
    ),
    Kind(
        "server",
        ServerForm,
        gettext_lazy("Servers"),
        gettext_lazy("Add a server"),
        gettext_lazy("A server, weighed empty"),
        gettext_lazy("With its empty weight known, the crew weighs the full server and is done."),
        (Column(gettext_lazy("Empty"), lambda row: f"{fixed(row.tare_g, 1)} g"),),
    ),
)
