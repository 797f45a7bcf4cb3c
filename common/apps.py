from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class CommonConfig(AppConfig):
    name = "common"

    def ready(self) -> None:
        post_migrate.connect(_grant, dispatch_uid="common.grant_privileges")


def _grant(using: str, **_kwargs: Any) -> None:
    from common.wall import grant_privileges

    grant_privileges(using=using)
