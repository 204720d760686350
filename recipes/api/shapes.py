"""What is told of boards, cards, recipes and coffees, field by field, with the units in the names."""

from __future__ import annotations

from rest_framework import serializers

from brewbar.crew.api.fields import (
    Choice,
    Day,
    Degrees,
    Grams,
    Id,
    Instant,
    Plain,
    Tds,
    Text,
    Whole,
    YesNo,
    Yield,
)
from recipes.models import Coffee, Pour


class Named(serializers.Serializer):
    id = Id()
    name = Text()


class PourShape(serializers.Serializer):
    order = Whole()
    starts_at_s = Whole(allow_null=True)
    to_g = Grams(allow_null=True, help_text="Up to which weight on the scale.")
    pattern = Choice(choices=Pour.Pattern.choices)
    spout_height_mm = Whole(allow_null=True)
    flow_g_s = Plain(allow_null=True)
    temperature_C = Degrees(allow_null=True, help_text="Of this pour alone; null as the version has it.")
    after = Choice(choices=Pour.After.choices, allow_blank=True)
    note = Text()


class VersionLine(serializers.Serializer):
    id = Id()
    number = Whole()
    published_at = Instant()
    what_changed = Text()
    why = Text()


class VersionShape(VersionLine):
    recipe = Named()
    coffee = Named(source="recipe.coffee")
    dose_g = Grams()
    water_g = Grams(help_text="Brew water, as the scale shows it.")
    bypass_g = Grams()
    ice_g = Grams()
    at_the_boil = YesNo()
    water_temperature_C = Degrees(allow_null=True)
    rinse_paper = YesNo()
    brewer = Named(allow_null=True)
    paper = Named(allow_null=True)
    reference_grind = Text()
    tds_target = Tds(allow_null=True)
    tds_tolerance = Tds()
    ey_target = Yield(allow_null=True)
    ey_tolerance = Yield()
    brew_time_s = Whole(allow_null=True)
    brew_time_tolerance_s = Whole()
    intended_cup = Text()
    note = Text()
    pours = PourShape(many=True)


class RecipeLine(serializers.Serializer):
    id = Id()
    name = Text()
    coffee = Named()
    is_retired = YesNo()


class RecipeShape(RecipeLine):
    versions = VersionLine(many=True, help_text="The published ones, the newest first.")


class BatchShape(serializers.Serializer):
    id = Id()
    label = Text()  # type: ignore[assignment]
    roasted_on = Day()
    received_on = Day(allow_null=True)
    opened_on = Day(allow_null=True)
    frozen_on = Day(allow_null=True)
    thawed_on = Day(allow_null=True)
    used_up_on = Day(allow_null=True)


class CoffeeShape(serializers.Serializer):
    id = Id()
    name = Text()
    origin = Text()
    process = Text()
    roast_level = Choice(choices=Coffee.Roast.choices, allow_blank=True)
    density_g_l = Whole(allow_null=True)
    note = Text()
    is_retired = YesNo()
    batches = BatchShape(many=True, help_text="Those not used up and not retired.")


class SlotBatch(serializers.Serializer):
    id = Id()
    label = Text()  # type: ignore[assignment]
    roasted_on = Day()


class SlotVersion(serializers.Serializer):
    id = Id()
    number = Whole()


class SlotShape(serializers.Serializer):
    """What is brewed at a station: a version, and what moves daily with it."""

    id = Id()
    code = Text(help_text="Of the card; it never changes, whatever it leads to.")
    station = Named()
    recipe = Named()
    version = SlotVersion()
    coffee = Named()
    kettle = Named()
    roast_batch = SlotBatch()
    grinder = Named()
    grind_setting = Text()
    set_at = Instant(help_text="Since when batch, grinder and setting hold.")
    published_at = Instant()


class BoardShape(serializers.Serializer):
    cafe = Named()
    revision = Whole(help_text="Counts every change that the crew can see.")
    business_day = Day()
    slots = SlotShape(many=True)


class CardShape(serializers.Serializer):
    code = Text()
    station = Named()
    recipe = Named()
    slot = SlotShape(allow_null=True, help_text="What is live under this code; null where nothing is.")
    plan = VersionShape(allow_null=True, help_text="The version of that slot, pour by pour.")
    instead = SlotShape(allow_null=True, help_text="What is brewed in its place, where somebody said so.")
