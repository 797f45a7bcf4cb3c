"""Have series that were put off tried again at once."""

from collections.abc import Iterable
from uuid import UUID

from django.db import transaction
from django.db.models.functions import Now

from approaches import signals
from approaches.models import PendingRefresh
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope


def try_again_now(*, club: Club, pending_ids: Iterable[UUID], caller: Caller) -> int:
    """End the wait of series whose refresh failed; return how many were waiting.

    Their failures stay counted: one that fails again is put off for longer than before.
    """
    with club_scope(club):
        put_off = list(
            PendingRefresh.objects.filter(
                id__in=list(pending_ids), failures__gt=0, next_try_at__gt=Now()
            )
            .select_for_update(no_key=True)
            # As pushes lock them, so that the two cannot wait for each other.
            .order_by("approach_id", "finish_class")
        )
        if not put_off:
            return 0
        ids = [pending.id for pending in put_off]
        PendingRefresh.objects.filter(id__in=ids).update(next_try_at=Now())
        auditing.record_audit(
            club=club,
            caller=caller,
            action="refresh_hurried",
            subjects={"pending_refresh": ids},
        )
        series = [(pending.approach_id, pending.finish_class) for pending in put_off]
        transaction.on_commit(
            lambda: signals.attempts_changed.send(sender=None, club_id=club.id, series=series)
        )
        return len(ids)
