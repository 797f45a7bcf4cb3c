"""When a worker may take itself for lost. That it then ends is shown in tests/faults."""

from dataclasses import replace

import pytest

from common.idling import Idleness, Sight

LOST = Sight(taken=7, in_hand=0, oldest_s=61.0, messages=3)


def looks(*sights: Sight, every_s: float = 10.0) -> list[bool]:
    """Look with a limit of a minute at one sight after the other, the first one at once."""
    idleness = Idleness(limit_s=60.0, now_s=0.0)
    return [idleness.is_lost(sight, now_s=every_s * place) for place, sight in enumerate(sights)]


class TestIdleness:
    def test_is_lost_after_a_minute_without_work_while_work_waits(self):
        assert looks(*[LOST] * 9) == [False] * 7 + [True] * 2

    def test_counts_from_the_last_task_it_took(self):
        busy = [replace(LOST, taken=taken) for taken in range(8, 14)]

        assert looks(*busy, *[replace(LOST, taken=13)] * 7) == [False] * 12 + [True]

    @pytest.mark.parametrize(
        "sight",
        [
            replace(LOST, in_hand=1),  # it is late, not lost
            replace(LOST, oldest_s=59.0),
            replace(LOST, messages=0),  # beat is down, and a new worker would find nothing, too
            replace(LOST, messages=None),  # the broker is out of reach for any worker
        ],
        ids=["busy", "young", "no messages", "no broker"],
    )
    def test_goes_on_where_a_new_worker_would_not_help(self, sight: Sight):
        assert not any(looks(*[sight] * 12))
