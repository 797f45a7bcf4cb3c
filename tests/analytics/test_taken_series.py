"""A series that one worker is at for long keeps no other worker from the other series."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection

from analytics.models import SeriesState
from analytics.services import figures, refreshing, sweeping
from analytics.services.method import METHOD
from approaches.models import FinishClass, PendingRefresh
from common import broker
from common.club_scope import club_scope
from tests.analytics.conftest import Season, draw

# Series of jumps, and of run-throughs, of the same approach.
JUMPS, RUN_THROUGHS = "jump", "run_through"


def push_both(season: Season, *, session: int = 1) -> None:
    """Push a session of jumps and one run-through: two series wait."""
    season.add_session(draw(session, 1)[0])
    jumps = season.readings[-5:]
    run_through = jumps[0] | {"external_id": f"through-{session}", "finish": "run_through"}
    season.push([*jumps, run_through])


def waiting(season: Season) -> dict[str, int]:
    """Return which series wait, with their failures."""
    with club_scope(season.scene.club):
        return dict(PendingRefresh.objects.values_list("finish_class", "failures"))


def refreshed(season: Season) -> dict[str, int]:
    """Return how often each series was refreshed."""
    with club_scope(season.scene.club):
        return dict(SeriesState.objects.values_list("finish_class", "revision"))


@contextmanager
def at_the_jumps(season: Season) -> Iterator[None]:
    """Be another worker that is at the series of jumps, for the first time or once more."""
    is_at_it, may_end = threading.Event(), threading.Event()

    def hold() -> None:
        try:
            with club_scope(season.scene.club):
                known = {"approach_id": season.scene.approach.id, "finish_class": JUMPS}
                SeriesState.objects.bulk_create(
                    [SeriesState(club=season.scene.club, method=METHOD, **known)],
                    ignore_conflicts=True,
                )
                SeriesState.objects.select_for_update(no_key=True).get(**known)
                is_at_it.set()
                may_end.wait(60)
        finally:
            is_at_it.set()
            connection.close()

    worker = threading.Thread(target=hold)
    worker.start()
    assert is_at_it.wait(60)
    try:
        yield
    finally:
        may_end.set()
        worker.join()


@pytest.mark.django_db(transaction=True)
class TestTaken:
    @pytest.mark.parametrize("is_new", [True, False], ids=["made", "locked"])
    def test_is_left_to_the_worker_that_has_it_and_the_others_go_on(
        self, season: Season, monkeypatch: pytest.MonkeyPatch, is_new: bool
    ):
        monkeypatch.setattr(broker, "note_sweep", lambda: None)
        push_both(season)
        if not is_new:
            season.refresh()
            season.refresh(finish_class=RUN_THROUGHS)
            push_both(season, session=2)
        before = refreshed(season)

        with at_the_jumps(season):
            sweeping.sweep_refreshes()
            assert season.refresh() is False
            # It is no failure of the series, either.
            assert waiting(season) == {JUMPS: 0}

        assert refreshed(season)[RUN_THROUGHS] == before.get(RUN_THROUGHS, 0) + 1
        assert refreshed(season)[JUMPS] == before.get(JUMPS, 0)
        assert season.refresh() is True
        assert waiting(season) == {}

    def test_is_waited_for_by_who_makes_all_anew(self, season: Season):
        push_both(season)
        season.refresh()
        ended: list[bool] = []

        def rebuild() -> None:
            try:
                ended.append(season.refresh(whole=True))
            finally:
                connection.close()

        rebuilding = threading.Thread(target=rebuild)
        with at_the_jumps(season):
            rebuilding.start()
            time.sleep(2 * refreshing.LONGEST_WAIT_S)
        rebuilding.join()

        assert ended == [True]
        assert refreshed(season)[JUMPS] == 2

    def test_lets_what_follows_wait_for_a_push_that_takes_long(self, season: Season):
        push_both(season)
        is_pushing = threading.Event()

        def push_slowly() -> None:
            try:
                with club_scope(season.scene.club):
                    PendingRefresh.objects.select_for_update().get(finish_class=JUMPS)
                    is_pushing.set()
                    time.sleep(2 * refreshing.LONGEST_WAIT_S)
            finally:
                is_pushing.set()
                connection.close()

        pushing = threading.Thread(target=push_slowly)
        pushing.start()
        assert is_pushing.wait(60)
        assert season.refresh() is True
        pushing.join()

        assert JUMPS not in waiting(season)


class TestPushedForMeanwhile:
    @pytest.fixture
    def pushes(self, monkeypatch: pytest.MonkeyPatch) -> list[int]:
        """Have somebody push during as many refreshes as the list has numbers."""
        left: list[int] = []
        latest = figures.latest_figures

        def push_meanwhile(series: Any) -> Any:
            if left:
                PendingRefresh.objects.update(revision=left.pop())
            return latest(series)

        monkeypatch.setattr(figures, "latest_figures", push_meanwhile)
        return left

    @pytest.fixture(autouse=True)
    def all_take_long(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(refreshing, "LONGEST_WAIT_S", refreshing.NO_WAIT_S)

    def test_is_looked_at_again_since_others_did_not_wait(self, season: Season, pushes: list[int]):
        season.add_session([0.1] * 3)
        season.push()
        pushes.append(99)

        season.refresh()

        assert waiting(season) == {}
        assert refreshed(season) == {FinishClass.JUMP.value: 2}

    def test_is_left_to_the_sweep_when_pushes_never_end(self, season: Season, pushes: list[int]):
        season.add_session([0.1] * 3)
        season.push()
        pushes.extend(range(99, 50, -1))

        season.refresh()

        assert waiting(season) == {FinishClass.JUMP.value: 0}
        assert refreshed(season) == {FinishClass.JUMP.value: refreshing.MOST_ROUNDS}
