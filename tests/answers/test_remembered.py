"""What was worked out before."""

import itertools

from analytics.answers.remembered import Memory


class TestMemory:
    def test_works_out_once(self):
        numbers = itertools.count(1)
        memory = Memory()

        found = [memory.recall("key", lambda: next(numbers)) for _ in range(3)]

        assert found == [1, 1, 1]

    def test_tells_keys_apart(self):
        memory = Memory()

        found = [memory.recall(key, key.upper) for key in ("a", "b", "a")]

        assert found == ["A", "B", "A"]

    def test_forgets_what_was_not_asked_for_the_longest(self):
        memory = Memory(most=2)
        for key in ("a", "b", "a", "c"):
            memory.recall(key, lambda: "old")

        assert memory.recall("a", lambda: "new") == "old"
        assert memory.recall("b", lambda: "new") == "new"

    def test_keeps_nothing_of_what_failed(self):
        memory = Memory()

        def fail() -> str:
            raise ValueError("no")

        for work_out, expected in ((fail, "no"), (lambda: "found", "found")):
            try:
                outcome = memory.recall("key", work_out)
            except ValueError as error:
                outcome = str(error)
            assert outcome == expected
