"""The benchmarks run, and say all that they promise; how fast they were is not judged here."""

import json
import os
import subprocess
import sys
from typing import Any

import pytest

from tests.bench.outcome import Outcome, Target, as_table
from tests.bench.rounds import Spread, interleave, percentiles, times_as_fast
from tests.bench.stand import CHECKOUT

PARTS = {
    "name",
    "figures",
    "peer",
    "limit",
    "ratios",
    "targets",
    "met",
    "machine",
    "versions",
}
MACHINE = {"cpu", "cores", "memory_gib", "kernel", "python", "load_before"}
VERSIONS = {
    "penult",
    "django",
    "drf",
    "psycopg",
    "postgresql",
    "valkey",
    "gunicorn",
    "celery",
    "numpy",
    "msgspec",
}


def run_bench(*arguments: str) -> dict[str, Any]:
    ended = subprocess.run(
        [sys.executable, "-m", "tests.bench", *arguments, "--json"],
        cwd=CHECKOUT,
        env=dict(os.environ),
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    report: dict[str, Any] = json.loads(ended.stdout)
    return report


def assert_complete(report: dict[str, Any]) -> None:
    assert set(report) == PARTS
    assert set(report["machine"]) == MACHINE
    assert set(report["versions"]) == VERSIONS
    assert set(report["met"]) == set(report["targets"]) != set()
    assert all(isinstance(met, bool) for met in report["met"].values())
    for part in ("figures", "peer", "limit"):
        assert report[part]["what"]


class TestBench:
    """The two that need no server belong to the fast set: the others differ in their figures."""

    @pytest.mark.slow
    def test_push_says_all_that_it_promises(self):
        report = run_bench("push", "--attempts", "24", "--peer-attempts", "2", "--rounds", "2")

        assert_complete(report)
        assert report["figures"]["attempts"] == 24
        assert report["figures"]["attempts_per_s"]["n"] == 2
        assert set(report["targets"]) == {"to_row_by_row_copy", "to_stock"}

    @pytest.mark.slow
    def test_push_one_says_all_that_it_promises(self):
        report = run_bench("push-one", "--pushes", "3", "--rounds", "2")

        assert_complete(report)
        assert report["figures"]["pushes"] == 6
        assert report["ratios"]["p95_to_empty"]["n"] == 2
        assert set(report["targets"]) == {"p95_to_empty"}

    @pytest.mark.slow
    def test_trend_says_all_that_it_promises(self):
        report = run_bench(
            "trend", "--reads", "4", "--rounds", "2", "--series", "200", "--attempts", "20000"
        )

        assert_complete(report)
        assert report["figures"]["points"] == 100
        assert report["figures"]["long"]["series"] == 200
        assert report["ratios"]["to_empty"]["n"] == 2
        assert set(report["targets"]) == {"to_empty", "p95_of_long_to_short"}

    @pytest.mark.slow
    def test_visible_says_all_that_it_promises(self):
        report = run_bench("visible", "--seconds", "2", "--other-seconds", "1", "--rate", "40")

        assert_complete(report)
        assert report["figures"]["attempts"] >= 60
        assert report["met"]["unseen"]
        assert report["figures"]["visible_s"]["p95"] > 0
        assert set(report["targets"]) == {
            "visible_p95_s",
            "visible_p99_s",
            "backlog_zero_s",
            "unseen",
            "attempts_per_s",
        }

    @pytest.mark.slow
    def test_answers_says_all_that_it_promises(self):
        report = run_bench("answers", "--reads", "8", "--rounds", "2")

        assert_complete(report)
        assert report["figures"]["attempts"] == 40
        assert report["figures"]["work_out_cpu_s"]["aim"]["n"] == 2
        assert report["ratios"]["p95_of_steering_to_empty"]["n"] == 2
        assert report["figures"]["overview"]["athletes"] == 20
        assert set(report["targets"]) == {"p95_of_slowest_to_empty", "p95_of_overview_to_empty"}

    @pytest.mark.slow
    def test_look_says_all_that_it_promises(self):
        report = run_bench("look", "--reads", "3", "--rounds", "2")

        assert_complete(report)
        assert report["figures"]["trend"]["content_bytes"] > 5000
        assert report["ratios"]["p95_of_trend_to_empty"]["n"] == 2
        assert report["figures"]["card"]["content_bytes"] > 5000
        assert set(report["targets"]) == {"p95_of_slowest_to_empty", "p95_of_card_to_typesetting"}

    def test_aim_says_all_that_it_promises(self):
        report = run_bench("aim", "--rounds", "2", "--competitions", "20000")

        assert_complete(report)
        # Timing is not judged here; the values are.
        assert report["met"]["apart_from_brute_force_m"]
        assert report["met"]["apart_from_dice_m"]

    def test_rebuild_says_all_that_it_promises(self):
        report = run_bench("rebuild", "--series", "2", "--attempts", "1200", "--rounds", "2")

        assert_complete(report)
        assert report["figures"]["attempts"] == 2400
        assert report["ratios"]["to_pandas"]["n"] == 2
        # Timing is not judged here; that the figures are equal is.
        assert report["met"]["apart_from_pandas"]
        assert report["met"]["sd_apart_from_two_passes"]

    @pytest.mark.slow
    def test_refresh_says_all_that_it_promises(self):
        report = run_bench("refresh", "--short", "30", "--series", "60", "--rounds", "2")

        assert_complete(report)
        assert report["figures"]["short"]["series"] == 30
        assert report["figures"]["long"]["series"] == 60
        assert report["ratios"]["long_to_short"]["n"] == 2
        assert set(report["targets"]) == {"long_to_short"}

    @pytest.mark.slow
    def test_start_says_all_that_it_promises(self):
        report = run_bench("start", "--rounds", "1")

        assert_complete(report)
        assert report["figures"]["ready_s"]["n"] == 1


class TestInterleave:
    def test_lets_another_run_begin_each_round_and_counts_after_the_warm_up(self):
        order: list[tuple[str, int]] = []
        ticks = iter(range(100))

        seconds = interleave(
            {
                "a": lambda number: order.append(("a", number)),
                "b": lambda number: order.append(("b", number)),
            },
            rounds=2,
            warm_up=1,
            clock=lambda: float(next(ticks)),
        )

        assert order == [("a", 0), ("b", 0), ("b", 1), ("a", 1), ("a", 2), ("b", 2)]
        assert seconds == {"a": [1.0, 1.0], "b": [1.0, 1.0]}

    def test_puts_away_when_the_clock_has_stopped(self):
        events: list[str] = []

        def clock() -> float:
            events.append("clock")
            return 0.0

        interleave({"a": lambda _: lambda: events.append("away")}, rounds=1, warm_up=0, clock=clock)

        assert events == ["clock", "clock", "away"]


class TestSpread:
    def test_of_five_values_by_hand(self):
        # Sample quantiles by linear interpolation (Hyndman and Fan 1996, definition 7): the
        # quartiles of five ordered values are the second and the fourth.
        assert Spread.of([5.0, 1.0, 4.0, 2.0, 3.0]) == Spread(
            median=3.0, quartiles=(2.0, 4.0), least=1.0, greatest=5.0, n=5
        )

    def test_percentiles_of_a_hundred_and_one_values_by_hand(self):
        # By the same definition, percentile p of 0, 1, ..., 100 is p.
        assert percentiles([float(value) for value in range(101)]) == {
            "p50": 50.0,
            "p95": 95.0,
            "p99": 99.0,
            "greatest": 100.0,
        }

    def test_compares_rates_when_the_counts_differ(self):
        # 1,000 in 0.1 s are 10,000 a second; 50 in 0.5 s are 100 a second.
        assert times_as_fast([0.1], [0.5], count=1000, other_count=50).median == pytest.approx(100)


class TestTarget:
    @pytest.mark.parametrize(
        ("target", "is_met"),
        [
            (Target(0.5, at_least=0.5), True),
            (Target(0.49, at_least=0.5), False),
            (Target(1.0, at_most=1.0), True),
            (Target(1.01, at_most=1.0), False),
        ],
    )
    def test_is_met_at_its_bound_and_no_further(self, target: Target, is_met: bool):
        assert target.is_met is is_met


class TestTable:
    def test_says_which_target_was_missed(self):
        outcome = Outcome(
            name="push",
            figures={"rate": Spread.of([1.0, 2.0, 3.0])},
            peer={"slow": 1},
            limit={"fast": {"rate": 2.5}},
            ratios={"to_peer": 2.0},
            targets={"to_peer": Target(2.0, at_least=3.0)},
        )

        table = as_table(outcome.as_json() | {"versions": {"penult": "1"}})

        assert "MISSED (at least 3.0)" in table
        assert "fast.rate" in table
