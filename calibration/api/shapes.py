"""What is sent and told of readings, checks and results, field by field, with the units in the names."""

from __future__ import annotations

from rest_framework import serializers

from brewbar.crew.api.fields import (
    CafeQuery,
    Choice,
    Day,
    Degrees,
    Grams,
    Id,
    IdInAddress,
    Instant,
    Plain,
    Strict,
    Tds,
    Text,
    TextSent,
    Uuid,
    Whole,
    YesNo,
    Yield,
    number,
)
from brewbar.crew.api.pages import PageQuery
from calibration import drift
from calibration.checking import BREW_TIME_POSSIBLE_S
from calibration.entry import FEWEST_DROPS, MASS_BOUNDS_G, MOST_DROPS
from calibration.models import InstrumentCheck, Reading
from recipes.api.shapes import Named


class DropInput(number(0, 30, "% TDS as the display shows it, two decimals")):  # type: ignore[misc]
    pass


class DegreesInput(number(0, 100, "°C")):  # type: ignore[misc]
    pass


def grams_input(name: str, says: str) -> type[serializers.Field]:
    kind: type[serializers.Field] = number(*MASS_BOUNDS_G[name], says=f"g; {says}")
    return kind


ASK_RECIPE = "as the recipe says unless sent"
WeightInput = grams_input("weight_g", "what the scale showed, as beverage_source says")
DoseInput = grams_input("dose_g", ASK_RECIPE)
WaterInput = grams_input("water_g", ASK_RECIPE)
BypassInput = grams_input("bypass_g", ASK_RECIPE)
IceInput = grams_input("ice_g", ASK_RECIPE)
AS_BOARD = "As the board said at that hour, unless sent."


class ReadingInput(Strict):
    """A brew that was measured. What is left out is as the recipe, the board and the café have it."""

    uuid = Uuid(help_text="Made by the program: the same reading sent again is the same reading.")
    code = TextSent(
        required=False,
        min_length=1,
        max_length=8,
        help_text="Of the card: what it led to at `brewed_at`. This or `slot`.",
    )
    slot = Id(required=False, help_text="Of the board. This or `code`.")
    barista = Id(
        required=False, help_text="Who brewed it; whoever made the key, unless a head barista says else."
    )
    kind = Choice(choices=Reading.Kind.choices, required=False)
    was_served = YesNo(required=False, help_text="That a check went to a guest.")
    brewed_at = Instant(required=False, help_text="Just now, unless sent.")
    drops = serializers.ListField(child=DropInput(), min_length=FEWEST_DROPS, max_length=MOST_DROPS)
    brew_time_s = Whole(min_value=BREW_TIME_POSSIBLE_S[0], max_value=BREW_TIME_POSSIBLE_S[1])
    beverage_source = Choice(
        choices=Reading.Beverage.choices,
        help_text="How the coffee was weighed: in its server, alone, or not at all.",
    )
    weight_g = WeightInput(required=False)
    server = Id(required=False, help_text="In which it was weighed; its tare is taken off.")
    dose_g = DoseInput(required=False)
    water_g = WaterInput(required=False)
    bypass_g = BypassInput(required=False)
    ice_g = IceInput(required=False)
    roast_batch = Id(required=False, help_text=AS_BOARD)
    grinder = Id(required=False, help_text=AS_BOARD)
    grind_setting = TextSent(required=False, min_length=1, max_length=12, help_text=AS_BOARD)
    kettle = Id(required=False, help_text="The slot's, unless sent.")
    refractometer = Id(required=False, help_text="May be left out where the café has only one.")
    sample_temperature_C = DegreesInput(required=False)
    slurry_temperature_C = DegreesInput(required=False)
    taste = TextSent(required=False, allow_blank=True, max_length=200)
    rinse_left_in = YesNo(
        required=False, help_text="Answers the question whether rinse water was in the server."
    )
    no_more_drops = YesNo(required=False, help_text="That no further drop can be taken.")
    sure = serializers.ListField(
        child=TextSent(min_length=1, max_length=60),
        required=False,
        max_length=20,
        help_text="Keys of doubts that a question told: yes, it is so.",
    )


class DropShape(serializers.Serializer):
    tds = Tds()
    sample_temperature_C = Degrees(allow_null=True)


class VerdictShape(serializers.Serializer):
    of = Choice(choices=("tds", "ey", "brew_time_s"))
    state = Choice(choices=("inside", "high", "low", "close", "none"))
    says = Text()


class ReadingShape(serializers.Serializer):
    """A reading as it was saved. U: expanded uncertainty, k = 2; relative against readings of the same instrument,
    absolute against anybody else's."""

    uuid = Uuid()
    url = serializers.URLField()
    kind = Choice(choices=Reading.Kind.choices)
    attempt = Choice(choices=Reading.Attempt.choices)
    source = Choice(choices=Reading.Source.choices)  # type: ignore[assignment]
    cafe = Id()
    slot = Id()
    station = Named()
    recipe = Named()
    version = Id()
    barista = Named()
    entered_by = Id()
    entered_at = Instant()
    brewed_at = Instant()
    business_day = Day()
    roast_batch = Id()
    grinder = Id()
    grind_setting = Text()
    kettle = Id()
    server = Id(allow_null=True)
    refractometer = Id()
    dose_g = Grams()
    water_g = Grams()
    bypass_g = Grams()
    ice_g = Grams()
    beverage_source = Choice(choices=Reading.Beverage.choices)
    gross_g = Grams(allow_null=True)
    tare_g = Grams(allow_null=True)
    beverage_g = Grams()
    rinse_left_in = YesNo(allow_null=True)
    brew_time_s = Whole()
    slurry_temperature_C = Degrees(allow_null=True)
    taste = Text()
    was_served = YesNo()
    drops = DropShape(many=True)
    tds = Tds()
    tds_rule = Choice(choices=("mean", "median"), help_text="Of the drops (ISO 5725-6).")
    U_tds_relative = Tds()
    U_tds_absolute = Tds()
    ey = Yield(help_text="Extraction yield, % of the dose.")
    U_ey_relative = Yield()
    U_ey_absolute = Yield()
    verdicts = VerdictShape(many=True)
    corrects = Uuid(allow_null=True)
    corrected_by = Uuid(allow_null=True)
    voided_at = Instant(allow_null=True)
    void_reason = Text()


class ReadingQuery(PageQuery):
    recipe = IdInAddress(required=False)
    barista = IdInAddress(required=False, help_text="A key of a barista reads its own readings only.")
    kind = Choice(choices=Reading.Kind.choices, required=False)


# `from` is a word of Python.
FROM_TO = {
    "from": Day(required=False, help_text="First business day."),
    "to": Day(required=False, help_text="Last business day."),
}
ReadingQuery._declared_fields.update(FROM_TO)


class CheckInput(Strict):
    """What a refractometer showed of a liquid of known strength, just now."""

    refractometer = Id()
    kind = Choice(choices=InstrumentCheck.Kind.choices, help_text="Of water, or of a check standard.")
    read_tds = number(-5, 30, "% TDS, as the display shows it, two decimals")()
    sucrose_g = number(0.01, 999, "g; of a standard that was mixed")(required=False)
    solution_g = number(1, 9999, "g; sugar and water together")(required=False)
    scale_g = number(says="g; the scale's step: 0.1 or 0.01")(required=False)
    expected_tds = number(0, 30, "% TDS; of a standard from a bottle")(required=False)
    was_zeroed = YesNo(required=False, help_text="That it was set to zero just before.")
    starts_over = YesNo(required=False, help_text="That it is back from service.")
    note = TextSent(required=False, allow_blank=True, max_length=200)
    sure = serializers.ListField(child=TextSent(min_length=1, max_length=60), required=False, max_length=20)


class CheckShape(serializers.Serializer):
    id = Id()
    refractometer = Named()
    kind = Choice(choices=InstrumentCheck.Kind.choices)
    expected_tds = Tds()
    read_tds = Tds()
    verdict = Choice(choices=("passed", "unclear", "failed"))
    was_zeroed = YesNo()
    starts_over = YesNo()
    sucrose_g = Plain(allow_null=True)
    solution_g = Plain(allow_null=True)
    checked_at = Instant()
    checked_by = Named()
    note = Text()


class CheckQuery(PageQuery, CafeQuery):
    refractometer = IdInAddress(required=False)


class ServerShape(Named):
    tare_g = Grams()


class EquipmentShape(serializers.Serializer):
    """Names and ids of what a reading is made with; what is retired is left out."""

    stations = Named(many=True)
    kettles = Named(many=True)
    grinders = Named(many=True)
    servers = ServerShape(many=True)
    refractometers = Named(many=True)
    crew = Named(many=True, help_text="Whose brews this key may enter.")


class ResultQuery(CafeQuery):
    recipe = IdInAddress(required=False, help_text="The check recipe, unless sent.")
    measure = Choice(choices=tuple(drift.MEASURES), required=False)
    kind = Choice(choices=("check", "served"), required=False)
    instrument = Choice(choices=("passing", "checked", "any"), required=False)


ResultQuery._declared_fields.update(FROM_TO)


class LeftOut(serializers.Serializer):
    why = Text()
    readings = Whole()


class Result(serializers.Serializer):
    """measure: tds in %, ey in %, time in s; every value below is in that unit."""

    cafe = Id()
    recipe = Named()
    measure = Choice(choices=tuple(drift.MEASURES))
    first = Day()
    last = Day()
    brews = Whole()
    answer = Text()
    how_sure = Text()
    smallest_that_matters = Plain(allow_null=True)
    left_out = LeftOut(many=True)
    notes = serializers.ListField(child=Text())


class DayShape(serializers.Serializer):
    day = Day()
    value = Plain()
    low = Plain()
    high = Plain()
    usual_low = Plain(allow_null=True)
    usual_high = Plain(allow_null=True)
    is_outside = YesNo()
    brews = Whole()
    people = Whole()


class DaysShape(Result):
    is_own = YesNo(help_text="Whether these are a barista's own brews alone.")
    days = DayShape(many=True)


class PersonShape(serializers.Serializer):
    """estimate: how far above the others, shrunk where people are enough for that; None where too little is known."""

    name = Text(help_text="As this key may read it: a name, initials, or a letter that says nothing.")
    is_me = YesNo()
    state = Choice(choices=("high", "low", "inside", "close", "few", "none"))
    brews = Whole()
    days = Whole()
    estimate = Plain(allow_null=True)
    low = Plain(allow_null=True)
    high = Plain(allow_null=True)


class BandShape(serializers.Serializer):
    low = Plain()
    high = Plain()


class StaffShape(Result):
    people = PersonShape(many=True)
    band = BandShape(
        allow_null=True, help_text="For a barista: between which values the middle 80 % of the others lie."
    )
