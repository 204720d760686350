from django.apps import AppConfig


class CrewConfig(AppConfig):
    name = "brewbar.crew"
    label = "crew"
    verbose_name = "Crew"

    def ready(self) -> None:
        # django-axes counts first: whether a name is locked by now is part of what is noted.
        import axes.signals  # noqa: F401
        from django.contrib.auth.signals import user_login_failed

        from brewbar.crew import held, held_here
        from brewbar.crew.refusals import note_refused

        user_login_failed.connect(note_refused)
        held.register(*held_here.KINDS)
