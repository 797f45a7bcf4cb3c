"""What to expect of the next attempts, and where to aim, in figures and words."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analytics.answers import aim, outlook
from analytics.core.aim import AimAdvice
from analytics.core.outlook import Outlook
from analytics.core.simulator import Athlete
from tests.answers.run_ups import make_marks, make_run_ups, marks_of, simulated, uuid_of

# The six toes of the worked example in docs/metrics/outlook.md: mean 0.08 m, SD 0.08 m.
TOES = np.array([-0.0326, 0.0251, 0.0629, 0.0971, 0.1349, 0.1926])
JUMPER = Athlete(unmeasured_no_jump_share=0.0)
TODAY = uuid_of(4, 0)


def toes(values, **fields):
    return make_run_ups(np.column_stack([values, np.full((len(values), 2), np.nan)]), **fields)


class TestOutlook:
    def test_is_students_t_within_the_session_that_goes_on(self):
        """Within one session its own effect is in the mean: the plain prediction interval."""
        found = outlook.work_out(toes(TOES), session=TODAY)

        assert isinstance(found.outlook, Outlook)
        t = (0 - 0.08) / (0.08 * np.sqrt(7 / 6))
        assert found.outlook.probability_no_jump == pytest.approx(stats.t.cdf(t, 5), abs=5e-4)
        assert found.in_session

    def test_doubts_more_on_a_new_day(self):
        today, new = (outlook.work_out(toes(TOES), session=each).outlook for each in (TODAY, None))

        assert isinstance(today, Outlook)
        assert isinstance(new, Outlook)
        assert new.toe_interval.low < today.toe_interval.low

    def test_is_about_the_aim_once_the_mark_was_moved(self):
        before, since = make_marks(), make_marks(revision=2, start_mark_m=34.10, aim_m=0.10)
        run_ups = replace(
            toes(TOES + 0.2, marks=before),
            marks_now=since,
            marks={before.id: before, since.id: since},
        )

        found = outlook.work_out(run_ups)

        assert isinstance(found.outlook, Outlook)
        assert found.mark_corrected
        assert found.outlook.mean_m == pytest.approx(0.10)
        assert "The start mark was moved since" in outlook.tell(found).text

    def test_is_not_moved_by_another_aim_on_paper(self):
        before, since = make_marks(), make_marks(revision=2, aim_m=0.20)
        run_ups = replace(
            toes(TOES, marks=before), marks_now=since, marks={before.id: before, since.id: since}
        )

        found = outlook.work_out(run_ups)

        assert isinstance(found.outlook, Outlook)
        assert not found.mark_corrected
        assert found.outlook.mean_m == pytest.approx(0.08)

    def test_says_it_in_hundredths(self):
        """Short of the board: t = (0.20 - 0.08) / (0.08 sqrt(7/6)) = 1.389, 0.112 lie above."""
        said = outlook.tell(outlook.work_out(toes(TOES), session=TODAY))

        assert said.text.startswith(
            "The next toe is expected 8 cm behind the line. Of attempts like these about 20% are "
            "no jumps, 69% land on the board and 11% short of it."
        )
        assert said.caution is None

    def test_asks_for_toes(self):
        assert outlook.tell(outlook.work_out(toes(TOES[:3]))).more_attempts_needed == 2


class TestAim:
    def test_leaves_pop_ups_out_of_the_distances(self):
        jumps = simulated(JUMPER, [6] * 3, seed=2)
        poor = jumps.official_m.copy()
        poor[:8] = 3.0
        pop_ups = replace(jumps, official_m=poor, is_jump=np.arange(18) >= 8)

        found = aim.work_out(pop_ups).aim

        assert isinstance(found, AimAdvice)
        assert found.n_distances == int(np.count_nonzero(~np.isnan(jumps.official_m[8:])))
        assert found.fixed.expected_m > 5

    def test_asks_for_distances_where_only_toes_are_known(self):
        jumps = simulated(JUMPER, [6] * 3, seed=2, official_m=np.full(18, np.nan))

        said = aim.tell(aim.work_out(jumps))

        assert said.more_attempts_needed == 5
        assert "full jumps with an official distance and a measured toe" in said.text

    def test_does_not_take_a_typing_error_for_a_jump(self):
        jumps = simulated(JUMPER, [6] * 3, seed=2)
        wrong = jumps.official_m.copy()
        wrong[int(np.flatnonzero(~np.isnan(wrong))[0])] = 0.57

        said = aim.tell(aim.work_out(replace(jumps, official_m=wrong)))

        assert said.text.startswith("No aim can be worked out: the distances differ by 1.")
        assert (said.more_attempts_needed, said.caution) == (0, None)

    @pytest.mark.parametrize("seed", range(6))
    def test_works_out_for_whatever_else_is_allowed(self, seed: int):
        """Distances that differ by just what is allowed, in a single session or in many."""
        rng = np.random.default_rng(seed)
        n = int(rng.integers(6, 10))
        distance = rng.normal(0, 1, n)
        distance *= 0.99 * aim.LARGEST_DISTANCE_SD_M / distance.std(ddof=1)
        toe = rng.normal(0.12, 0.02, n)
        run_ups = toes(
            toe,
            session=(np.arange(n) // rng.integers(1, n + 1)).tolist(),
            official_m=np.maximum(8 + distance, 0.5) - toe,
        )

        assert isinstance(aim.work_out(run_ups, attempts_left=1).aim, AimAdvice)

    def test_says_the_range_before_it_says_that_nothing_has_to_be_moved(self):
        found = aim.work_out(simulated(JUMPER, [6] * 5, seed=2), attempts_left=6)
        assert isinstance(found.aim, AimAdvice)
        fixed = found.aim.fixed

        said = aim.tell(found)

        assert said.text.startswith(
            f"Aim {100 * fixed.aim_m:.0f} cm behind the line in all 6 attempts that are left. From "
            f"{100 * fixed.good_from_m:.0f} cm to {100 * fixed.good_to_m:.0f} cm is as good"
        )
        good = fixed.good_from_m <= found.aim.habit_m <= fixed.good_to_m
        assert ("Nothing has to be moved" in said.text) is good
        assert said.caution is not None

    def test_says_what_there_is_to_win_when_the_mark_is_off(self):
        off = replace(JUMPER, steering_from=0, step_sd_m=0.01, start_sd_m=0.04, session_sd_m=0.01)
        off = replace(off, mark_error_m=0.25)
        found = aim.work_out(simulated(off, [6] * 5, seed=2, marks=marks_of(JUMPER)))
        assert isinstance(found.aim, AimAdvice)

        said = aim.tell(found)

        assert f"to aim better is worth {100 * found.aim.gain_m:.0f} cm on the mean" in said.text

    def test_of_the_last_attempt_says_so(self):
        found = aim.work_out(simulated(JUMPER, [6] * 5, seed=2), attempts_left=1, best_m=5.5)

        assert aim.tell(found).text.startswith("Aim ")
        assert "behind the line in the last attempt." in aim.tell(found).text
