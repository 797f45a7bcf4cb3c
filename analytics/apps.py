from django.apps import AppConfig


class AnalyticsConfig(AppConfig):
    name = "analytics"

    def ready(self) -> None:
        from analytics import handlers

        handlers.connect()
