"""The footfalls of the model: against published steps and run-up lengths, and by chance."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from analytics.core import sprint_profile
from analytics.core.run_up_model import (
    Footfalls,
    ModelDoubt,
    StepFrequency,
    doubt_of_fit,
    in_rhythm,
    model_footfalls,
)
from analytics.core.run_up_pace import (
    USUAL_RHYTHM,
    LastThree,
    Pace,
    RunUpSettings,
    Sprint,
    Start,
    StartStyle,
    time_after,
)
from tests.core.reference_tables import read_table

PROFILE = Sprint(9.2, 1.15)
USUAL = StepFrequency()
STEADY = StepFrequency(top_hz=4.0, first_share=1.0, top_step=1)


def footfalls(
    *,
    steps: int = 16,
    profile: Sprint = PROFILE,
    frequency: StepFrequency = USUAL,
    **wanted,
) -> Footfalls:
    return model_footfalls(profile, frequency, RunUpSettings(steps=steps, **wanted))


def steps_from_the_start(made: Footfalls) -> np.ndarray:
    return np.diff(made.toe_m)[::-1]


class TestPublished:
    def test_steps_of_a_sprint_whose_speed_and_steps_were_both_measured(self):
        # 100 m of Rome 1987: from the splits of the first 60 m the curve, from the curve and about
        # 4.9 steps a second the steps. Published mean steps of the second to fifth 10 m: 1.89,
        # 2.10, 2.27 and 2.32 m.
        rows = read_table("rome1987_100m_steps")
        distance, interval, step = (
            np.array([float(row[name]) for row in rows])
            for name in ("distance_m", "interval_s", "step_m")
        )
        (top, tau), _ = optimize.curve_fit(
            lambda x, top, tau: time_after(Pace(top, tau), x),
            distance,
            np.cumsum(interval),
            [11, 1],
        )
        frequency = StepFrequency(top_hz=float(np.mean(step[1:] ** -1 * 10 / interval[1:])))

        made = footfalls(
            steps=28,
            profile=Sprint(float(top), float(tau)),
            frequency=frequency,
            speed_share=1.0,
            start_effort=1.0,
            rhythm=None,
        )

        run = made.toe_m[-1] - made.toe_m[::-1]
        counted = np.interp([10, 20, 30, 40, 50], run, np.arange(run.size))
        assert 10 / np.diff(counted) == pytest.approx(step[1:5], rel=0.06)
        # From a standstill to 30 m: 17.35 steps.
        assert counted[2] == pytest.approx(17.35, abs=1.2)

    def test_first_steps_are_as_long_as_out_of_blocks(self):
        rows = {
            row["quantity"]: (float(row["low"]), float(row["high"]))
            for row in read_table("sprint_start_steps")
        }

        for who, profile in (
            ("men", Sprint(11.0, 1.25)),
            ("women", Sprint(9.8, 1.20)),
        ):
            first, second = steps_from_the_start(
                footfalls(profile=profile, start_effort=1.0, speed_share=1.0)
            )[:2]
            assert rows[f"first_step_m_{who}"][0] < first < rows[f"first_step_m_{who}"][1]
            assert rows[f"second_step_m_{who}"][0] < second < rows[f"second_step_m_{who}"][1]

    def test_step_frequency_rises_as_after_a_sprint_start(self):
        # The same review: 80 % in the first step, about 90 % after the third.
        made = footfalls(profile=Sprint(10.0, 0.1), rhythm=None, start=Start(9.49))

        # At full speed from the start on, the step length is the speed over the frequency.
        share = steps_from_the_start(made)[-1] / steps_from_the_start(made)
        assert share[0] == pytest.approx(0.80, abs=1e-3)
        assert share[3] == pytest.approx(0.90, abs=0.03)
        assert share[5:] == pytest.approx(1.0, abs=1e-3)

    def test_long_jumpers_run_ups_are_as_long_as_norms_say(self):
        # Mature jumpers: 16 to 22 steps over 30 to 45 m (coaching articles, reference).
        norm = next(
            row
            for row in read_table("approach_steps_by_age")
            if row["group"] == "mature established jumper"
        )

        marks = [
            footfalls(steps=int(norm[f"steps_{end}"]), profile=profile).toe_m[-1]
            for end, profile in (
                ("low", Sprint(10.5, 1.25)),
                ("high", Sprint(10.8, 1.25)),
            )
        ]

        assert marks == pytest.approx(
            [float(norm["metres_low"]), float(norm["metres_high"])], abs=1.5
        )

    def test_a_measured_run_up_lies_within_the_doubt(self):
        # Training report of a woman who jumps 5.91 m: 17 steps over 32 m (coaching articles,
        # reference). 8.7 m/s at the board goes with her distance: 10.25 m/s for 8 m, less 0.1 m/s
        # for each 0.13 m (Bridgett, Galloway & Linthorne 2002); how she starts is not said.
        row = next(
            each
            for each in read_table("approach_steps_by_age")
            if each["group"].startswith("woman 5.91")
        )
        board_speed = 10.25 - (8.0 - 5.91) / 1.3
        profile = Sprint(board_speed / 0.95, 1.15)

        made = footfalls(steps=int(row["steps_low"]), profile=profile)

        z = (float(row["metres_low"]) - made.toe_m[-1]) / made.sd_m[-1]
        assert abs(z) < 2

    def test_children_step_as_published(self):
        # Boys of 12 to 13 years: the last five steps begin 8.7 m before the board (reference). A
        # top speed of 6.9 m/s and 3.9 steps a second are from memory.
        row = next(
            each
            for each in read_table("footfall_variability_studies")
            if each["sample"].startswith("boys")
        )

        made = footfalls(steps=12, profile=Sprint(6.9, 1.0), frequency=StepFrequency(3.9))

        published = float(row["onset_distance_m"])
        assert made.toe_m[5] == pytest.approx(published, rel=0.10)
        assert abs(made.toe_m[5] - published) < 2 * made.sd_m[5]

    def test_the_penultimate_step_is_as_much_longer_as_in_elite_women(self):
        value, spread = next(
            (float(row["value"]), float(row["pm"]))
            for row in read_table("kinematics_elite")
            if row["variable"].startswith("penultimate step longer")
        )

        last, penultimate, third = np.diff(footfalls().toe_m)[:3]

        assert 100 * (penultimate / last - 1) == pytest.approx(value, abs=spread / 2)
        assert last < third < penultimate


class TestByHand:
    def test_a_steady_run_has_equal_steps(self):
        # Entered at nearly the top speed of 8 m/s with 4 steps a second: 2 m each.
        made = footfalls(
            steps=6,
            profile=Sprint(8.0, 0.1),
            frequency=STEADY,
            speed_share=1.0,
            start_effort=1.0,
            rhythm=None,
            start=Start(7.99),
            aim_m=0.10,
        )

        assert made.toe_m == pytest.approx(0.10 + 2.0 * np.arange(7), abs=1.1e-3)
        assert made.n_attempts == 0

    def test_the_rhythm_shares_the_metres_of_three_steps(self):
        # 6 m in the proportion 1.06 : 1.12 : 1.00, that is 2.0000, 2.1132 and 1.8868 m.
        laid = in_rhythm(np.array([0.1, 2.1, 4.1, 6.1, 8.1]), USUAL_RHYTHM)

        assert laid == pytest.approx([0.1, 1.98679, 4.1, 6.1, 8.1], abs=1e-5)

    def test_the_doubt_about_the_frequency_alone(self):
        # In a steady run each step is 8 / f: 5 % of f are 5 % of each step, all together.
        doubt = ModelDoubt(
            speed=0, effort=0, frequency=0.05, first_share=0, entered_s=0, habit_m=1e-9
        )
        made = model_footfalls(
            Sprint(8.0, 0.1),
            STEADY,
            RunUpSettings(6, rhythm=None, speed_share=1.0, start=Start(7.99)),
            doubt=doubt,
        )

        assert made.sd_m == pytest.approx(0.05 * 2.0 * np.arange(7), rel=1e-3)
        assert made.covariance_m2[3, 6] == pytest.approx(made.sd_m[3] * made.sd_m[6])

    def test_the_habits_of_the_steps_add_up_from_the_board(self):
        doubt = ModelDoubt(speed=0, effort=0, frequency=0, first_share=0, entered_s=0, habit_m=0.03)

        made = model_footfalls(Sprint(9.0, 1.1), StepFrequency(), RunUpSettings(16), doubt=doubt)

        assert made.sd_m == pytest.approx(0.03 * np.sqrt(np.arange(17)))
        assert made.covariance_m2[4, 9] == pytest.approx(0.03**2 * 4)


class TestDoubt:
    def test_a_fitted_sprint_profile_serves_as_it_is(self):
        # Time over 60 m in 10 m splits; one with noisier splits leaves more doubt.
        rows = read_table("rome1987_100m_steps")
        distance = np.array([float(row["distance_m"]) for row in rows])
        time = np.cumsum([float(row["interval_s"]) for row in rows])
        doubts = []
        for noise_s in (0.0, 0.05):
            noisy = time + noise_s * np.array([1, -1, 1, -1, 1, -1])
            profile = sprint_profile.fit_profile(distance, noisy)
            assert isinstance(profile, sprint_profile.SprintProfile)
            doubt = doubt_of_fit(profile.covariance)
            made = model_footfalls(profile, USUAL, RunUpSettings(16), doubt=doubt)
            doubts.append(made.sd_m[-1])

        assert doubts[0] < doubts[1]

    def test_of_a_fit_adds_to_the_usual(self):
        # Log M with SD 0.03, log tau with 0.04, independent: log M / tau with 0.05.
        found = doubt_of_fit((0.0009, 0.0, 0.0016), doubt=ModelDoubt(speed=0.04, effort=0.12))

        assert (found.speed, found.effort) == pytest.approx((0.05, 0.13))
        # Rising together they say more of the first acceleration.
        together = doubt_of_fit((0.0009, 0.0012, 0.0016), doubt=ModelDoubt(effort=0.0))
        assert together.effort == pytest.approx(0.01)

    @pytest.mark.parametrize(
        "covariance", [(-0.1, 0, 0.1), (0.1, 0, -0.1), (0.01, 0.02, 0.01), (float("nan"), 0, 0.1)]
    )
    def test_of_no_covariance_is_refused(self, covariance: tuple[float, float, float]):
        with pytest.raises(ValueError, match="covariance"):
            doubt_of_fit(covariance)

    @pytest.mark.parametrize("entry", [Start(0.0, push_s=0.25), Start(3.0)])
    @pytest.mark.parametrize("name", ["speed", "effort", "frequency", "first_share"])
    def test_is_half_of_what_lies_between_one_sd_up_and_one_down(self, name: str, entry: Start):
        nothing = dict.fromkeys(("speed", "effort", "frequency", "first_share", "entered_s"), 0.0)
        doubt = ModelDoubt(**{**nothing, name: 0.05}, habit_m=1e-6)

        def made(by: float) -> Footfalls:
            moved = {**nothing, name: by}
            return model_footfalls(
                PROFILE,
                StepFrequency(4.3 * (1 + moved["frequency"]), 0.8 + moved["first_share"]),
                RunUpSettings(
                    16,
                    speed_share=0.95 * (1 + moved["speed"]),
                    start_effort=0.95 * (1 + moved["effort"]),
                    start=entry,
                ),
                doubt=doubt,
            )

        half = np.abs(made(0.05).toe_m - made(-0.05).toe_m) / 2
        assert made(0.0).sd_m[1:] == pytest.approx(half[1:], rel=0.01, abs=2e-4)

    def test_a_start_ahead_on_the_curve_counts(self):
        only = ModelDoubt(
            speed=0, effort=0, frequency=0, first_share=0, entered_s=0.08, habit_m=1e-6
        )
        standing, walking = (
            model_footfalls(
                Sprint(9.2, 1.15),
                StepFrequency(),
                RunUpSettings(16, start_style=style),
                doubt=only,
            ).sd_m[-1]
            for style in (StartStyle.STANDING, StartStyle.WALK_IN)
        )

        # Pushing 0.08 s longer is 0.08 s more of nearly the whole speed; entering the curve 0.08 s
        # later on gains only what the speed still grows by.
        assert standing == pytest.approx(0.08 * 8.5, rel=0.05)
        assert walking == pytest.approx(0.08 * (8.5 - 2.0), rel=0.05)


plausible = st.builds(
    lambda top, tau, hz, first, steps, style: (
        Sprint(top, tau),
        StepFrequency(hz, first),
        RunUpSettings(steps, start_style=style),
    ),
    st.floats(5.5, 12),
    st.floats(0.8, 1.6),
    st.floats(3.5, 5),
    st.floats(0.6, 1),
    st.integers(4, 30),
    st.sampled_from(StartStyle),
)


class TestProperties:
    @settings(deadline=None, max_examples=30)
    @given(plausible)
    def test_lays_every_step_forward(self, case):
        made = model_footfalls(*case)

        assert made.toe_m[0] == case[2].aim_m
        assert np.all(np.diff(made.toe_m) > 0.2)
        assert np.all(np.isfinite(made.covariance_m2))
        assert np.linalg.eigvalsh(made.covariance_m2[1:, 1:]).min() > 0

    @settings(deadline=None, max_examples=25)
    @given(plausible, st.floats(0, 0.3))
    def test_another_aim_moves_all(self, case, aim_m: float):
        profile, frequency, wanted = case

        moved = model_footfalls(profile, frequency, dataclasses.replace(wanted, aim_m=aim_m))

        expected = model_footfalls(*case).toe_m + (aim_m - wanted.aim_m)
        assert moved.toe_m == pytest.approx(expected)

    @settings(deadline=None, max_examples=25)
    @given(plausible)
    def test_steps_grow_once_their_frequency_stays(self, case):
        profile, frequency, wanted = case

        made = model_footfalls(profile, frequency, dataclasses.replace(wanted, rhythm=None))

        assert np.all(np.diff(steps_from_the_start(made)[frequency.top_step - 1 :]) >= 0)

    @given(st.floats(0.8, 1.3), st.floats(0.8, 1.3), st.floats(0.5, 2))
    def test_only_the_proportions_of_the_rhythm_count(self, third, penultimate, factor: float):
        toe = np.array([0.06, 1.9, 4.0, 6.0, 7.9])

        one = in_rhythm(toe, LastThree(third, penultimate, 1.0))
        two = in_rhythm(toe, LastThree(factor * third, factor * penultimate, factor))

        assert one == pytest.approx(two)
        assert one[[0, 3, 4]] == pytest.approx(toe[[0, 3, 4]])


class TestRefusals:
    @pytest.mark.parametrize(
        ("frequency", "match"),
        [
            (StepFrequency(0.0), "top_hz"),
            (StepFrequency(float("inf")), "top_hz"),
            (StepFrequency(4.3, 0.3), "first_share"),
            (StepFrequency(4.3, 1.1), "first_share"),
            (StepFrequency(4.3, top_step=0), "top_step"),
        ],
    )
    def test_frequencies_that_cannot_be(self, frequency: StepFrequency, match: str):
        with pytest.raises(ValueError, match=match):
            footfalls(frequency=frequency)

    @pytest.mark.parametrize(
        "doubt", [ModelDoubt(speed=-0.1), ModelDoubt(effort=float("nan")), ModelDoubt(habit_m=0)]
    )
    def test_doubts_that_cannot_be(self, doubt: ModelDoubt):
        with pytest.raises(ValueError, match="doubt"):
            model_footfalls(Sprint(9.2, 1.15), StepFrequency(), RunUpSettings(16), doubt=doubt)

    def test_a_rhythm_without_a_step(self):
        with pytest.raises(ValueError, match="rhythm"):
            footfalls(rhythm=LastThree(1.0, 0.0, 1.0))
