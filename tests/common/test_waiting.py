"""Who waits takes one of few seats, and rests without a connection."""

import threading
import time

import pytest
from django.db import connection

from common import waiting
from common.waiting import WaitingRoom


class TestWaitingRoom:
    def test_gives_its_seats_and_no_more(self):
        room = WaitingRoom(2)

        with room.seat() as first, room.seat() as second, room.seat() as third:
            seated = [first, second, third]

        assert seated == [True, True, False]

    def test_gives_a_seat_again_that_somebody_left_in_anger(self):
        room = WaitingRoom(1)

        with pytest.raises(RuntimeError), room.seat():
            raise RuntimeError

        with room.seat() as seated:
            assert seated

    def test_who_found_none_takes_none_away(self):
        room = WaitingRoom(1)

        with room.seat(), room.seat():
            pass

        with room.seat() as first, room.seat() as second:
            assert (first, second) == (True, False)

    @pytest.mark.parametrize(("threads", "seats"), [(1, 0), (3, 0), (4, 1), (7, 1), (8, 2)])
    def test_has_seats_for_a_quarter_of_the_threads(
        self, threads: int, seats: int, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(waiting, "_room", WaitingRoom(1))
        waiting.make_room(threads=threads)
        taken = []
        for _ in range(seats + 1):
            chance = waiting.seat()
            taken.append((chance, chance.__enter__()))

        assert [seated for _, seated in taken] == [True] * seats + [False]


class TestPauses:
    @pytest.mark.django_db
    def test_are_spent_without_a_connection(self, monkeypatch: pytest.MonkeyPatch):
        """In a thread, which has a connection of its own to close."""
        held: list[bool] = []

        def wait() -> None:
            connection.ensure_connection()
            for _ in waiting.pauses(0.2):
                connection.ensure_connection()
            connection.close()

        really_sleep = time.sleep

        def sleep(seconds: float) -> None:
            held.append(connection.connection is not None)
            really_sleep(seconds)

        monkeypatch.setattr(time, "sleep", sleep)
        thread = threading.Thread(target=wait)
        thread.start()
        thread.join()

        assert held == [False, False, False]

    def test_grow_until_the_time_is_over(self, monkeypatch: pytest.MonkeyPatch):
        now, slept = 100.0, []

        def sleep(seconds: float) -> None:
            nonlocal now
            now += seconds
            slept.append(round(seconds, 3))

        monkeypatch.setattr(time, "monotonic", lambda: now)
        monkeypatch.setattr(time, "sleep", sleep)
        monkeypatch.setattr(connection, "close", lambda: None)

        looks = sum(1 for _ in waiting.pauses(1.0))

        assert slept == [0.05, 0.1, 0.2, 0.4, 0.25]
        assert looks == 5
