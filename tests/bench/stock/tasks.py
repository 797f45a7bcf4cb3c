"""What the peer computes after each attempt."""

import statistics

from celery import shared_task

from tests.bench.stock.models import Attempt, Footfall, Point

WINDOW = 20


@shared_task(name="stock.follow_attempt")
def follow_attempt(*, attempt_id: int) -> None:
    """Store mean and standard deviation of the last toe-to-board distances, no more."""
    attempt = Attempt.objects.get(id=attempt_id)
    toes = list(
        Footfall.objects.filter(
            number=0,
            attempt__approach=attempt.approach,
            attempt__started_at__lte=attempt.started_at,
        )
        .order_by("-attempt__started_at")
        .values_list("toe_m", flat=True)[:WINDOW]
    )
    measured = [toe_m for toe_m in toes if toe_m is not None]
    Point.objects.create(
        attempt=attempt,
        n=len(measured),
        bias_m=statistics.fmean(measured),
        spread_m=statistics.stdev(measured) if len(measured) > 1 else None,
    )
