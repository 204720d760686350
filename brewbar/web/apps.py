from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "brewbar.web"
    label = "web"
