from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "brewbar.web"
    label = "web"

    def ready(self) -> None:
        from brewbar import checks  # noqa: F401 -- registers the checks
