"""Log-ins leave as little behind as can be: what keeps guessers out, for as long as it does."""

from datetime import timedelta

from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.sessions.models import Session
from django.utils import timezone


def forget_log_ins() -> int:
    """Delete wrong log-ins that lock nobody out any more, and sessions that are over.

    A wrong log-in is kept with what was typed as an address and with where it came from; after
    the cool-off time it is good for nothing. Returns how many rows went.
    """
    now = timezone.now()
    cooled_off = now - timedelta(hours=settings.AXES_COOLOFF_TIME)
    attempts, _ = AccessAttempt.objects.filter(attempt_time__lte=cooled_off).delete()
    sessions, _ = Session.objects.filter(expire_date__lte=now).delete()
    return int(attempts + sessions)
