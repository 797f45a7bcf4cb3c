"""Advice on the number of steps over HTTP, and what numbers of steps brought."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from analytics.core.sprint_curve import time_to
from clubs.selectors import today_at
from tests import factories
from tests.api.conftest import World
from tests.api.gated import GatedSeason


def ask(world: World, gated_season: GatedSeason, what: str) -> Any:
    answer = world.as_("admin").get(f"{gated_season.path}/{what}")
    assert answer.status_code == 200, answer.content
    return answer.json()


class TestLengthAdvice:
    def test_gives_every_condition_with_its_number(self, world: World, gated_season: GatedSeason):
        answer = ask(world, gated_season, "length-advice")

        conditions = {each["condition"]: each for each in answer["advice"]["latest"]["findings"]}
        assert set(conditions) == {
            "sessions", "spread", "no_jumps", "speed_kept", "last_steps", "growth", "load",
        }  # fmt: skip
        assert conditions["sessions"]["value"] == 4
        assert conditions["speed_kept"]["n"] == 24
        assert {each["code"] for each in answer["reasons"]} >= set(conditions)
        assert (answer["steps"], answer["caution"] is not None) == (16, True)

    def test_says_how_many_attempts_are_missing(self, world: World, fresh_gated: GatedSeason):
        fresh_gated.add([3], seed=1)

        answer = ask(world, fresh_gated, "length-advice")

        assert answer["advice"]["needed"] == 15
        assert answer["more_attempts_needed"] == 12

    def test_knows_of_growth_from_measured_heights(self, world: World, gated_season: GatedSeason):
        today = today_at(gated_season.scene.club)
        for days, height_m in ((200, 1.60), (2, 1.66)):
            factories.make_measurement(
                gated_season.scene.athlete,
                measured_date=today - timedelta(days=days),
                height_m=height_m,
            )

        answer = ask(world, gated_season, "length-advice")

        assert answer["cautions"]["growth_open"] is True
        assert answer["cautions"]["growth_m_per_year"] == pytest.approx(0.06 / 198 * 365.25)
        findings = {each["condition"]: each for each in answer["advice"]["open_findings"]}
        assert findings["growth"]["state"] == "unmet"
        assert answer["advice"]["answer"] != "ready"

    def test_counts_the_jumps_of_the_last_session(self, world: World, gated_season: GatedSeason):
        cautions = ask(world, gated_season, "length-advice")["cautions"]

        assert (cautions["session_jumps"], cautions["load_open"]) == (6, False)

    def test_leaves_out_a_session_that_goes_on(self, world: World, gated_season: GatedSeason):
        before = ask(world, gated_season, "length-advice")
        session = factories.make_session(
            gated_season.scene.club, held_date=today_at(gated_season.scene.club)
        )
        last = gated_season.readings[-1]
        gated_season.push([{**last, "external_id": "today", "session": session.code}])

        after = ask(world, gated_season, "length-advice")

        assert after["n"] == before["n"] + 1
        assert after["advice"]["latest"]["n"] == before["advice"]["latest"]["n"]


class TestLengthStudy:
    def jump(self, gated_season: GatedSeason, distance_m: dict[int, list[float]]) -> None:
        """Store jumps of one session from run-ups of other lengths, with a toe of 6 cm."""
        session = factories.make_session(gated_season.scene.club)
        sent = []
        for steps, reached in distance_m.items():
            code = f"LJ-{steps} tried"
            factories.make_approach(gated_season.scene.athlete, code=code, steps=steps)
            sent += [
                factories.make_reading(
                    gated_season.scene.athlete,
                    session,
                    approach=code,
                    start_mark_m=None,
                    footfalls={"toe_m": [0.06]},
                    gates=None,
                    official_m=f"{official_m:.2f}",
                )
                for official_m in reached
            ]
        gated_season.push(sent)

    def test_takes_the_athletes_other_run_ups_in(self, world: World, fresh_gated: GatedSeason):
        self.jump(
            fresh_gated,
            {8: [5.00, 5.10], 10: [5.40, 5.50], 12: [5.70, 5.80], 14: [5.90, 6.00]},
        )

        answer = ask(world, fresh_gated, "length-study")

        assert [each["steps"] for each in answer["by_steps"]] == [8, 10, 12, 14]
        assert answer["by_steps"][0]["mean_effective_m"] == pytest.approx(5.11)
        # 5.11, 5.51, 5.81, 6.01: each pair brings 0.10 less than the one before, so 0.10 is next.
        assert answer["distance"]["gain"] == pytest.approx(0.10, abs=1e-6)
        assert (answer["distance"]["from_steps"], answer["distance"]["to_steps"]) == (14, 16)
        assert answer["speed"]["needed"] == 4
        assert answer["caution"] is not None

    def test_leaves_out_other_events_and_starts(self, world: World, fresh_gated: GatedSeason):
        athlete = fresh_gated.scene.athlete
        factories.make_approach(athlete, code="TJ-14", steps=14, event="triple_jump")
        factories.make_approach(athlete, code="LJ-14 walk", steps=14, start_style="walk_in")
        session = factories.make_session(fresh_gated.scene.club)
        fresh_gated.push(
            [
                factories.make_reading(
                    athlete, session, approach=code, start_mark_m=None, gates=None,
                    footfalls={"toe_m": [0.06]},
                )
                for code in ("TJ-14", "LJ-14 walk")
            ]
        )  # fmt: skip

        assert ask(world, fresh_gated, "length-study")["n"] == 0

    def test_goes_on_from_a_stored_sprint(self, world: World, fresh_gated: GatedSeason):
        at_m = np.array([5.0, 10.0, 20.0, 30.0])
        time_s = time_to(at_m, top_speed_mps=9.0, rise_time_s=1.2).tolist()
        splits = [{"at_m": a, "time_s": t} for a, t in zip(at_m.tolist(), time_s, strict=True)]
        factories.make_sprint_test(fresh_gated.scene.athlete, splits=splits)

        expected = ask(world, fresh_gated, "length-study")["expected"]

        assert 0 < expected["speed_gain_mps"] < 0.2
        assert expected["distance_gain_m"] == pytest.approx(0.8 * expected["speed_gain_mps"])
