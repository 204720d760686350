from django.apps import AppConfig


class CrewConfig(AppConfig):
    name = "brewbar.crew"
    label = "crew"
    verbose_name = "Crew"
