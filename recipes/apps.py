from django.apps import AppConfig


class RecipesConfig(AppConfig):
    name = "recipes"

    def ready(self) -> None:
        from brewbar.crew import held
        from recipes.held import KINDS

        held.register(*KINDS)
