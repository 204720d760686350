"""System checks on combinations of settings: `python3 manage.py check` tells what `serve` would refuse."""

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning, register

from brewbar import deployment


@register
def deployment_fits(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    return [Error(said, id="brewbar.E001") for said in deployment.tls_misfits(settings.DEPLOYMENT)]


@register
def plain_http_is_known(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    said = deployment.loses(settings.DEPLOYMENT)
    return [Warning(said, id="brewbar.W001")] if said and not settings.SERVING else []
