"""A run-up on the runway: by hand, as a plan, and its shorter lengths."""

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core import run_up_lengths
from analytics.core.cautions import COACH_DECIDES
from analytics.core.run_up_design import MarkChoice, RunUpDesign, design_run_up, plan_marks
from analytics.core.run_up_model import Footfalls, StepFrequency, model_footfalls
from analytics.core.run_up_pace import RunUpSettings, Sprint, StartStyle, run_up_pace
from analytics.core.spread import PhaseStarts
from approaches.models import StartStyle as KeptStartStyle
from approaches.services import records

SPRINT = Sprint(9.2, 1.15)


def design(steps: int = 16, *, choice: MarkChoice | None = None, **wanted) -> RunUpDesign:
    run_up = RunUpSettings(steps, **wanted)
    options = {} if choice is None else {"choice": choice}
    return design_run_up(
        model_footfalls(SPRINT, StepFrequency(), run_up),
        run_up_pace(SPRINT, run_up),
        run_up,
        **options,
    )


def evenly(steps: int, *, sd_m: float = 0.1) -> tuple[Footfalls, RunUpSettings]:
    """Return footfalls 2 m apart, each known as well as the other."""
    toe = np.array([0.06 + 2.0 * k for k in range(steps + 1)])
    covariance = np.diag([0.0] + [sd_m**2] * steps)
    return Footfalls(toe, covariance, n_attempts=7), RunUpSettings(steps, rhythm=None)


def laid(steps: int, *, choice: MarkChoice | None = None, sd_m: float = 0.1) -> RunUpDesign:
    footfalls, run_up = evenly(steps, sd_m=sd_m)
    options = {} if choice is None else {"choice": choice}
    return design_run_up(footfalls, run_up_pace(SPRINT, run_up), run_up, **options)


class TestByHand:
    def test_marks_of_sixteen_steps_of_two_metres(self):
        made = laid(16)

        assert made.start_mark_m == 32.06
        # 0.1 m each way is 1.96 SDs.
        assert made.start_mark_interval.low == pytest.approx(32.06 - 0.196, abs=1e-4)
        assert made.start_mark_interval.high == pytest.approx(32.06 + 0.196, abs=1e-4)
        assert made.n_attempts == 7
        early, coach = made.check_marks
        # The fifth footfall after the start by the other foot, the sixth-last by the take-off foot.
        assert (early.footfall, early.at_m, early.run_m) == pytest.approx((11, 22.06, 10.0))
        assert (coach.footfall, coach.at_m, coach.run_m) == pytest.approx((6, 12.06, 20.0))
        assert (early.take_off_foot, coach.take_off_foot) == (False, True)
        assert early.sd_m == coach.sd_m == pytest.approx(0.1)
        assert made.phase_starts == PhaseStarts(transition=10, attack=6)
        assert made.last_three_m == (4.06, 2.06, 0.06)
        assert made.step_m == pytest.approx(np.full(16, 2.0))

    @pytest.mark.parametrize(
        ("steps", "early", "coach", "starts"),
        [
            (22, 17, 6, (16, 6)),
            (14, 9, 6, (8, 6)),
            (13, 8, 4, (7, 4)),
            (11, 6, 4, (6, 4)),
            (10, None, 4, (6, 4)),  # the fifth footfall is the one before the coach's mark
            (8, None, 4, (6, 4)),
            (7, None, None, None),
            (4, None, None, None),
        ],
    )
    def test_marks_and_phases_by_length(self, steps, early, coach, starts):
        made = laid(steps)

        assert (made.early_mark and made.early_mark.footfall) == early
        assert (made.coach_mark and made.coach_mark.footfall) == coach
        assert made.phase_starts == (None if starts is None else PhaseStarts(*starts))
        assert [each.footfall for each in made.check_marks] == [
            each for each in (early, coach) if each is not None
        ]

    @pytest.mark.parametrize(
        ("steps", "on_mark"), [(16, True), (17, False), (8, True), (21, False)]
    )
    def test_parity(self, steps: int, on_mark: bool):
        assert laid(steps).take_off_foot_on_mark is on_mark

    def test_check_marks_can_be_chosen(self):
        made = laid(16, choice=MarkChoice(early_run_m=13.2, coach_footfall=4))

        # 13.2 m from the start lies between footfalls 10 (12 m) and 9 (14 m).
        assert made.early_mark is not None
        assert made.coach_mark is not None
        assert made.early_mark.footfall == 9
        assert made.coach_mark.footfall == 4
        assert made.phase_starts == PhaseStarts(transition=10, attack=4)

    def test_an_early_mark_can_be_left_out(self):
        assert laid(16, choice=MarkChoice(early_steps=None)).early_mark is None

    def test_speeds_are_those_of_the_pace_wherever_the_feet_land(self):
        run_up = RunUpSettings(16, speed_share=1.0, start_effort=1.0, rhythm=None)
        footfalls, _ = evenly(16)

        made = design_run_up(footfalls, run_up_pace(Sprint(9.2, 1.15), run_up), run_up)

        # 2 m steps at 9.2 (1 - exp(-t / 1.15)); after 32 m t = 32 / 9.2 + 1.15 (1 - e) with
        # e = exp(-t / 1.15), which is 4.608 s: e = 0.0182, 9.03 m/s.
        assert made.board_speed_mps == pytest.approx(9.033, abs=0.002)
        assert made.step_time_s.sum() == pytest.approx(4.608, abs=0.002)
        assert made.speed_mps == pytest.approx(2.0 / made.step_time_s)
        assert np.all(np.diff(made.speed_mps) < 0)

    def test_another_aim_moves_all(self):
        footfalls, run_up = evenly(16)
        nearer = dataclasses.replace(run_up, aim_m=0.02)

        made = design_run_up(footfalls, run_up_pace(SPRINT, nearer), nearer)

        assert made.toe_m == pytest.approx(footfalls.toe_m - 0.04)
        assert made.start_mark_m == 32.02


class TestCautions:
    def test_stand_with_every_design(self):
        assert design().cautions[0] == COACH_DECIDES

    def test_a_rough_start_mark_is_said(self):
        # 1.96 SDs of 0.25 m are 0.49 m, of 0.26 m 0.51 m.
        assert not any("rough" in caution for caution in laid(16, sd_m=0.25).cautions)
        assert any("rough" in caution for caution in laid(16, sd_m=0.26).cautions)

    def test_a_run_up_longer_than_a_runway_is_said(self):
        assert len(laid(19).cautions) == 1  # 38.06 m
        assert any("40 m" in caution for caution in laid(20).cautions)  # 40.06 m


class TestAsAPlan:
    def test_has_the_names_of_a_plan(self):
        made = plan_marks(design())

        assert set(made) == {each.name for each in dataclasses.fields(records.Marks)}

    @pytest.mark.parametrize("steps", [4, 7, 8, 10, 16, 17, 22, 30])
    @pytest.mark.parametrize("style", list(StartStyle))
    def test_a_plan_accepts_it(self, steps: int, style: StartStyle):
        marks = records.Marks(**plan_marks(design(steps, start_style=style)))

        records._check_marks(marks, steps=steps)  # raises where they contradict each other
        assert marks.toe_m[0] == marks.start_mark_m
        assert marks.toe_m[-1] == marks.aim_m

    def test_start_styles_are_those_of_an_approach(self):
        assert {style.value for style in StartStyle} == set(KeptStartStyle.values)

    def test_footfalls_run_from_the_start_to_the_board(self):
        made = design()

        toe = plan_marks(made)["toe_m"]

        assert all(first > second for first, second in pairwise(toe))
        assert toe == pytest.approx(made.toe_m[::-1], abs=0.005)


class TestLengths:
    def test_a_short_run_up_is_the_beginning_of_the_full_one(self):
        full = design(16, rhythm=None)
        run_up = RunUpSettings(16, rhythm=None)

        short = run_up_lengths.first_steps(
            model_footfalls(SPRINT, StepFrequency(), run_up), steps=8
        )

        assert np.diff(short.toe_m) == pytest.approx(full.step_m[8:])
        # The model laid out for eight steps from the first is the same.
        alone = model_footfalls(SPRINT, StepFrequency(), RunUpSettings(8, rhythm=None))
        assert short.toe_m == pytest.approx(alone.toe_m)
        assert short.covariance_m2 == pytest.approx(alone.covariance_m2)

    def test_what_was_learned_of_the_full_run_up_holds_for_the_short_one(self):
        full, _ = evenly(16)
        longer = dataclasses.replace(full, toe_m=full.toe_m + 0.1 * np.arange(17))

        short = run_up_lengths.first_steps(longer, steps=6)

        assert short.toe_m == pytest.approx(0.06 + 2.1 * np.arange(7))
        assert short.n_attempts == 7
        # Both ends of the short one are known to 0.1 m, independently of each other.
        assert short.sd_m[1:] == pytest.approx(np.sqrt(2) * 0.1)

    @pytest.mark.parametrize(
        ("steps", "expected"),
        [(22, (10, 16)), (16, (8, 12)), (17, (9, 13)), (10, (6, 8)), (7, (5,)), (5, ()), (4, ())],
    )
    def test_short_and_medium(self, steps: int, expected: tuple[int, ...]):
        assert run_up_lengths.short_and_medium(steps) == expected

    @given(st.integers(4, 30))
    def test_the_same_foot_starts_all_lengths(self, steps: int):
        shorter = run_up_lengths.short_and_medium(steps)

        assert all(4 <= each < steps and (steps - each) % 2 == 0 for each in shorter)

    def test_ground_markers_spread_with_the_length(self):
        run_up = RunUpSettings(16)

        made = run_up_lengths.design_lengths(
            model_footfalls(SPRINT, StepFrequency(), run_up),
            run_up_pace(SPRINT, run_up),
            run_up,
            choice=MarkChoice(early_run_m=15.0, coach_footfall=8),
        )

        assert [each.settings.steps for each in made] == [8, 12, 16]
        markers = np.array([each.last_three_m for each in made])
        assert np.all(markers[:, 2] == 0.06)
        assert np.all(np.diff(markers[:, :2], axis=0) > 0)
        assert np.all(np.diff([each.board_speed_mps for each in made]) > 0)
        # Each in the wanted rhythm.
        for each in made:
            assert each.step_m[1] / each.step_m[0] == pytest.approx(1.12)
        # Marks chosen for the full run-up do not bind the others.
        assert [each.coach_mark and each.coach_mark.footfall for each in made] == [4, 4, 8]

    @pytest.mark.parametrize("steps", [3, 17])
    def test_lengths_that_cannot_be(self, steps: int):
        with pytest.raises(ValueError, match="steps"):
            run_up_lengths.first_steps(evenly(16)[0], steps=steps)


class TestProperties:
    @settings(deadline=None, max_examples=30)
    @given(st.integers(4, 30), st.sampled_from(StartStyle), st.floats(0.5, 1), st.floats(0.8, 1))
    def test_adds_up(self, steps: int, style: StartStyle, effort: float, share: float):
        made = design(steps, start_style=style, start_effort=effort, speed_share=share)

        assert made.toe_m[-1] == pytest.approx(made.toe_m[0] + made.step_m.sum())
        assert np.all(made.step_m > 0)
        assert np.all(made.step_time_s > 0)
        assert made.board_speed_mps < share * SPRINT.top_speed_mps
        assert made.board_speed_mps > made.speed_mps[0]
        ahead = [each.footfall for each in made.check_marks]
        assert ahead == sorted(ahead, reverse=True)


class TestRefusals:
    def test_footfalls_for_another_number_of_steps(self):
        footfalls, run_up = evenly(16)

        with pytest.raises(ValueError, match="15 steps need 16"):
            design_run_up(
                footfalls, run_up_pace(SPRINT, run_up), dataclasses.replace(run_up, steps=15)
            )

    @pytest.mark.parametrize(
        ("choice", "match"),
        [
            (MarkChoice(coach_footfall=0), "coach"),
            (MarkChoice(coach_footfall=14), "coach"),
            (MarkChoice(early_run_m=32.0), "early_run_m"),
            (MarkChoice(early_run_m=0.0), "early_run_m"),
            (MarkChoice(early_steps=0), "early_steps"),
        ],
    )
    def test_marks_outside_of_the_run_up(self, choice: MarkChoice, match: str):
        with pytest.raises(ValueError, match=match):
            laid(16, choice=choice)

    def test_the_last_mark_that_leaves_two_steps_before_it(self):
        made = laid(16, choice=MarkChoice(coach_footfall=13))

        assert made.phase_starts == PhaseStarts(transition=15, attack=13)
        assert made.early_mark is None
