from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class CommonConfig(AppConfig):
    name = "common"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_logged_in

        from common import log_in_age

        post_migrate.connect(_grant, dispatch_uid="common.grant_privileges")
        user_logged_in.connect(log_in_age.note_log_in, dispatch_uid="common.log_in_age")


def _grant(using: str, **_kwargs: Any) -> None:
    from common.wall import grant_privileges

    grant_privileges(using=using)
