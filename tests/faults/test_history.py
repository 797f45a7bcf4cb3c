"""A judge that finds nothing is worth something only if it finds what was planted."""

import pytest

from tests.faults.history import History, judge


@pytest.fixture
def history(tmp_path):
    return History(tmp_path / "history.jsonl")


def push(
    history: History, attempts: dict[str, float], *, status: int = 200, created: int | None = None
) -> None:
    number = history.begin(attempts, series=["LJ"] * len(attempts))
    counts = {"created": len(attempts) if created is None else created, "known": 0}
    history.answered(number, status=status, counts=counts)


class TestJudge:
    def test_finds_nothing_wrong_when_all_went_well(self, history):
        push(history, {"a": 0.1, "b": 0.2})

        verdict = judge(history.events(), stored=[("a", 0.1), ("b", 0.2)], seen=["a", "b"])

        assert verdict.wrong == {}
        assert (verdict.asked, verdict.acknowledged, verdict.stored) == (2, 2, 2)

    def test_allows_an_unanswered_attempt_to_be_stored_or_not(self, history):
        number = history.begin({"a": 0.1, "b": 0.2}, series=["LJ", "LJ"])
        history.failed(number, error="ConnectionResetError", was_accepted=True)

        verdict = judge(history.events(), stored=[("a", 0.1)], seen=[])

        assert verdict.wrong == {}
        assert (verdict.refused_pushes, verdict.cut_pushes) == (0, 1)

    @pytest.mark.parametrize(("known", "stored_unanswered"), [(0, 0), (2, 1)])
    def test_counts_pushes_that_were_stored_and_not_answered(
        self, history, known, stored_unanswered
    ):
        number = history.begin({"a": 0.1, "b": 0.2}, series=["LJ", "LJ"])
        history.failed(number, error="RemoteDisconnected", was_accepted=True)
        again = history.begin({"a": 0.1, "b": 0.2}, series=["LJ", "LJ"])
        history.answered(again, status=200, counts={"created": 2 - known, "known": known})

        verdict = judge(history.events(), stored=[("a", 0.1), ("b", 0.2)])

        assert verdict.stored_unanswered == stored_unanswered

    def test_finds_an_acknowledged_attempt_that_is_lost(self, history):
        push(history, {"a": 0.1, "b": 0.2})

        assert judge(history.events(), stored=[("a", 0.1)]).wrong == {"lost": ["b"]}

    def test_finds_a_doubled_a_changed_and_a_made_up_attempt(self, history):
        push(history, {"a": 0.1, "b": 0.2})

        stored = [("a", 0.1), ("a", 0.1), ("b", 0.3), ("c", 0.4)]

        assert judge(history.events(), stored=stored).wrong == {
            "doubled": ["a"],
            "changed": ["b"],
            "made up": ["c"],
        }

    def test_finds_a_refused_and_a_miscounted_push(self, history):
        push(history, {"a": 0.1}, status=503)
        push(history, {"a": 0.1}, created=0)

        assert judge(history.events(), stored=[("a", 0.1)]).wrong == {
            "unexpected statuses": {503: 1},
            "miscounted pushes": [2],
        }

    def test_finds_an_attempt_that_the_figures_never_show(self, history):
        push(history, {"a": 0.1, "b": 0.2})

        verdict = judge(history.events(), stored=[("a", 0.1), ("b", 0.2)], seen=["a"])

        assert verdict.wrong == {"never seen in the figures": ["b"]}

    @pytest.mark.parametrize(
        ("n", "stale", "is_wrong"), [(1, False, True), (1, True, False), (2, False, False)]
    )
    def test_finds_old_figures_that_were_shown_as_fresh(self, history, n, stale, is_wrong):
        push(history, {"a": 0.1, "b": 0.2})
        after = history.events()[-1]["at"] + 0.001
        history.read(series="LJ", asked_at=after, n=n, stale=stale)

        verdict = judge(history.events(), stored=[("a", 0.1), ("b", 0.2)])

        assert (list(verdict.wrong) == ["stale figures shown as fresh"]) is is_wrong

    def test_asks_no_reader_to_show_what_was_acknowledged_later(self, history):
        before = 0.0
        push(history, {"a": 0.1})
        history.read(series="LJ", asked_at=before, n=0, stale=False)

        assert judge(history.events(), stored=[("a", 0.1)]).wrong == {}
