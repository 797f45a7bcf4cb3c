from django.apps import AppConfig


class AthletesConfig(AppConfig):
    name = "athletes"
    verbose_name = "Athletes and coaches"
