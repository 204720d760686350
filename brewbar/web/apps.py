from django.apps import AppConfig
from django.utils import translation

from brewbar import words


class WebConfig(AppConfig):
    name = "brewbar.web"
    label = "web"

    def ready(self) -> None:
        from brewbar import checks  # noqa: F401 -- registers the checks

        words.connect(translation)
