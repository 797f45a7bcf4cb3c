from django.apps import AppConfig


class ApproachesConfig(AppConfig):
    name = "approaches"
    verbose_name = "Run-ups"
