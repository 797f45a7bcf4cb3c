"""What athletes of an age are usually like: against published steps, progress and distances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from analytics.core.run_up_model import MEASURED_SPRINT, model_footfalls
from analytics.core.run_up_pace import RunUpSettings
from analytics.core.usual_sprints import usual_sprint, usual_step
from tests.core.reference_tables import read_table


class TestSteps:
    @pytest.mark.parametrize(
        ("step_m", "speed_mps", "height_m"),
        [
            # Mean step over the 100 m of Berlin 2009: 40.92 and 45.94 steps (as reported by the
            # press), run in 9.58 s less 0.146 s and 9.71 s less 0.144 s (from memory) of reaction.
            (100 / 40.92, 100 / 9.434, 1.95),
            (100 / 45.94, 100 / 9.566, 1.81),
            # Boys of 12 to 13 years: five steps over 8.7 m (reference); the rest from memory.
            (8.7 / 5, 6.9, 1.53),
        ],
    )
    def test_the_line_goes_through_its_points(self, step_m, speed_mps, height_m):
        assert usual_step(speed_mps, height_m) == pytest.approx(step_m, rel=0.025)

    def test_the_line_is_the_least_squares_one(self):
        speed, height = np.array([6.9, 100 / 9.434, 100 / 9.566]), np.array([1.53, 1.95, 1.81])
        step = np.array([8.7 / 5, 100 / 40.92, 100 / 45.94])
        relative = speed / np.sqrt(constants.g * height)

        slope, base = np.polyfit(relative, step / height, 1)

        assert [usual_step(v, 1.7) for v in (7.0, 9.0)] == pytest.approx(
            [1.7 * (base + slope * v / np.sqrt(constants.g * 1.7)) for v in (7.0, 9.0)], rel=0.01
        )

    @given(st.floats(4, 12), st.floats(1.2, 2.1))
    def test_faster_and_taller_step_longer(self, speed: float, height: float):
        assert usual_step(speed + 0.1, height) > usual_step(speed, height)
        assert usual_step(speed, height + 0.01) > usual_step(speed, height)


class TestSpeed:
    def test_the_best_of_a_nation_are_faster(self):
        # Times over 60 m of the 100 best Norwegians of all times at the age before, worked out as
        # progress over its percentage; at 1.25 s for reaction and building up speed. Club athletes
        # must lie below, and two SDs up must not pass even the boys.
        for row in read_table("progress_by_age"):
            age = float(row["to_age"])
            if float(row["boys_percent"]) < 2 or float(row["girls_percent"]) < 1:
                continue  # too small a progress, printed to one decimal, to divide by
            boys, girls = (
                60 / (100 * float(row[f"{who}_s"]) / float(row[f"{who}_percent"]) - 1.25)
                for who in ("boys", "girls")
            )
            usual = usual_sprint(age - 1, 1.6)
            speed = usual.profile.top_speed_mps
            assert 0.75 * girls < speed < girls
            assert speed * (1 + 2 * usual.doubt.speed) < 1.02 * boys

    def test_boys_need_as_much_farther_to_build_up_speed_as_they_grow(self):
        # Boys' distance to top speed grows from 18.8 m under 12 years to 24.1 m under 20 (Bleeker
        # & Siener 2025, Front Sports Act Living; abstract), 1.28 times. With one rise time it grows
        # as the top speed does; the ages are the middles of the groups.
        young, old = (usual_sprint(age, 1.6).profile.top_speed_mps for age in (11.5, 19.0))

        assert old / young == pytest.approx(24.1 / 18.8, rel=0.06)

    @given(st.floats(8, 80))
    def test_older_is_not_slower_up_to_twenty(self, age: float):
        here, later = usual_sprint(age, 1.7), usual_sprint(age + 0.5, 1.7)

        assert later.profile.top_speed_mps >= here.profile.top_speed_mps
        assert here.profile.top_speed_mps <= usual_sprint(20, 1.7).profile.top_speed_mps


class TestRunUp:
    def test_novices_run_up_about_as_far_as_served_them_best(self):
        # Novices of 13 to 15 years jumped farthest from 20 m (Kilani & Al-Rofu; reference); 12 to
        # 14 steps are the norm of younger ones, 14 to 16 that of their age.
        usual = usual_sprint(14, 1.64)

        marks = [
            model_footfalls(
                usual.profile, usual.frequency, RunUpSettings(steps), doubt=usual.doubt
            ).toe_m[-1]
            for steps in (12, 14)
        ]

        assert marks[0] < 20 < marks[1]

    def test_is_less_sure_than_a_timed_sprint(self):
        usual = usual_sprint(14, 1.64)
        rough, timed = (
            model_footfalls(usual.profile, usual.frequency, RunUpSettings(14), doubt=doubt)
            for doubt in (usual.doubt, MEASURED_SPRINT)
        )

        assert rough.sd_m[-1] > 1.3 * timed.sd_m[-1]


class TestRefusals:
    @pytest.mark.parametrize(
        ("age", "height", "match"),
        [
            (7.9, 1.3, "age_years"),
            (float("nan"), 1.3, "age_years"),
            (float("inf"), 1.3, "age_years"),
            (12.0, 0.99, "height_m"),
            (12.0, 2.31, "height_m"),
            (12.0, float("nan"), "height_m"),
        ],
    )
    def test_ages_and_heights_out_of_range(self, age: float, height: float, match: str):
        with pytest.raises(ValueError, match=match):
            usual_sprint(age, height)
