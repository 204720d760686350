"""Rows of the scenario that are in the database already, and how a record becomes one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, TypeVar

from django.db import models

from brewbar.crew.models import Company
from calibration.scenario import Scenario

Row = TypeVar("Row", bound=models.Model)

THE_EVENING_BEFORE = timedelta(hours=11)
"""When a version was written, or a board planned, that came out in the morning."""


class Made:
    """A step finds what the steps before it made by its model and its key in the scenario."""

    def __init__(self, scenario: Scenario, now: datetime) -> None:
        self.scenario, self.now = scenario, now
        self.made: dict[type[models.Model], dict[str, Any]] = {}
        self.company = Company.objects.create(
            name=scenario.company, is_invented=True, invented_on=scenario.today
        )

    def save(self, made: dict[str, Row]) -> None:
        """Save rows of one model in one go; those behind them find them by their keys."""
        model = type(next(iter(made.values())))
        model._default_manager.bulk_create(made.values(), batch_size=500)
        self.made.setdefault(model, {}).update(made)

    def make(self, model: type[Row], records: Iterable[Any], **own: Any) -> None:
        self.save({record.key: model(**self.columns(model, record), **own) for record in records})

    def columns(self, model: type[models.Model], record: Any, later: Sequence[str] = ()) -> dict[str, Any]:
        """The fields that ``model`` and ``record`` have in common; a key becomes the row it stands for."""
        named = {field.name for field in fields(record)} - set(later)
        return {
            field.name: self.value(field, getattr(record, field.name))
            for field in model._meta.fields
            if field.name in named
        }

    def value(self, field: Any, value: Any) -> Any:
        if field.is_relation and value is not None:
            return self.made[field.related_model][value]
        if isinstance(field, models.DecimalField) and value is not None:
            return decimal_of(value)
        return value


def decimal_of(number: float) -> Decimal:
    return Decimal(str(number))
