from django.apps import AppConfig


class AnalyticsConfig(AppConfig):
    name = "analytics"
    verbose_name = "Figures and alerts"

    def ready(self) -> None:
        from analytics import handlers

        handlers.connect()
