from __future__ import annotations

from operator import attrgetter
from typing import Any

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.models.signals import post_migrate, pre_save
from django.utils import timezone

from brewbar import frozen

OF_A_BED = attrgetter("shape", "wall_angle_deg", "diameter_mm", "body")


class CalibrationConfig(AppConfig):
    name = "calibration"

    def ready(self) -> None:
        frozen.install(self)
        post_migrate.connect(_fit_old_readings, sender=self, dispatch_uid="beds-migrated")
        pre_save.connect(_fit_its_beds, sender="recipes.Brewer", dispatch_uid="beds-brewer")
        user_logged_in.connect(_comes_on, dispatch_uid="duty-signed-in")
        # Recipes and crew know nothing of checks: what they send is heard here.
        from recipes.boards import opened

        opened.connect(_is_here, dispatch_uid="duty-board")
        from brewbar.crew import held
        from calibration.held import KINDS

        held.register(*KINDS)


def _fit_old_readings(using: str = DEFAULT_DB_ALIAS, plan: Any = None, **kwargs: Any) -> None:
    """Readings older than the table of fits, of an upgrade or a backup, are fitted once.

    Not in a migration: its models cannot tell a plan.
    """
    from calibration import beds

    if plan and not _is_half_way(using):
        beds.refit_if_never()


def _is_half_way(using: str) -> bool:
    executor = MigrationExecutor(connections[using])
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _fit_its_beds(instance: Any, update_fields: Any = None, **kwargs: Any) -> None:
    """What was fitted with a shape that is put right now is of no bed. Recipes, which save it, know no readings."""
    from calibration import beds

    old = None if update_fields else type(instance).objects.filter(pk=instance.pk).first()
    if old and OF_A_BED(old) != OF_A_BED(instance):
        transaction.on_commit(lambda: beds.refit_brewer(instance), robust=True)


def _comes_on(request: Any, user: Any, **kwargs: Any) -> None:
    from calibration import duty

    duty.signed_in(user, getattr(request, "tablet", None), timezone.now())


def _is_here(place: Any, now: Any, **kwargs: Any) -> None:
    from calibration import duty

    duty.here(place, now)
