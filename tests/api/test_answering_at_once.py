"""Idempotency-Key: the same write, sent several times at the same moment."""

from threading import Barrier, Thread
from typing import Any

import pytest
from django.db import connection

from tests.api.conftest import Api, make_world
from tests.api.test_answering import TOKEN, tokens_named


@pytest.mark.django_db(transaction=True)
def test_of_equal_writes_at_once_one_is_done():
    world = make_world()
    start, answers = Barrier(4), []

    def ask() -> None:
        coach: Api = world.as_("coach")
        start.wait()
        answers.append(coach.post("tokens/", TOKEN, Idempotency_Key="a-1"))
        connection.close()

    threads = [Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert tokens_named(world, "Notebook") == 1
    done = [answer for answer in answers if answer.status_code == 201]
    assert len([answer for answer in done if "Answer-Repeated" not in answer]) == 1
    for answer in answers:
        if answer.status_code != 201:
            refusal: dict[str, Any] = answer.json()
            assert (answer.status_code, refusal["code"]) == (409, "in_flight")
            assert answer["Retry-After"] == "1"
