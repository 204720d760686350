from django.apps import AppConfig

from brewbar import frozen


class CalibrationConfig(AppConfig):
    name = "calibration"

    def ready(self) -> None:
        frozen.install(self)
