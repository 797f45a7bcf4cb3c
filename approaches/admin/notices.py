"""What the first page tells of attempts, gates and refreshes."""

from django.urls import reverse

from approaches import selectors
from approaches.models import GateRun, PendingRefresh
from clubs.admin import Notice, add_notice
from clubs.selectors import Caller


def refused_rows(caller: Caller) -> Notice:
    return Notice(
        count=selectors.list_waiting_for(caller).count(),
        words="refused rows",
        why="Mend and replay them, or let them go after 30 days.",
        address=f"{reverse('admin:approaches_quarantinedrow_changelist')}?replayed=0",
    )


def unmatched_gate_runs(_caller: Caller) -> Notice:
    return Notice(
        count=GateRun.objects.filter(attempt=None).count(),
        words="gate runs without an attempt",
        why="Press the button of the attempt that each belongs to.",
        address=f"{reverse('admin:approaches_gaterun_changelist')}?matched=0",
    )


def failing_series(_caller: Caller) -> Notice:
    return Notice(
        count=PendingRefresh.objects.filter(failures__gt=0).count(),
        words="series that could not be computed",
        why="Hurry them, and tell who runs the service if they fail again.",
        address=f"{reverse('admin:approaches_pendingrefresh_changelist')}?failing=1",
    )


add_notice(10, refused_rows)
add_notice(20, unmatched_gate_runs)
add_notice(30, failing_series)
