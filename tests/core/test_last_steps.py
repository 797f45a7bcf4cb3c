"""The last three steps: by hand, against a published mean, by properties."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.core import last_steps, simulator
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.last_steps import LastSteps, MeanOf

NAN = float("nan")
ONE = [0.06, 2.06, 4.31, 6.46]  # steps 2.00, 2.25, 2.15: medium, long, short from the third-last


def describe(toe, **options) -> LastSteps:
    result = last_steps.last_steps(toe, **options)
    assert isinstance(result, LastSteps)
    return result


def known(figure: MeanOf | NotEnoughAttempts) -> MeanOf:
    assert isinstance(figure, MeanOf)
    return figure


class TestByHand:
    def test_ratios_are_to_the_third_last_step(self):
        result = describe([ONE] * 5)

        assert known(result.length_ratio_2).mean == pytest.approx(2.25 / 2.15)
        assert known(result.length_ratio_1).mean == pytest.approx(2.00 / 2.15)
        assert known(result.penultimate_longer_percent).mean == pytest.approx(12.5)
        assert (result.n_medium_long_short, result.n_lengths) == (5, 5)

    def test_times_run_from_touchdown_to_touchdown(self):
        down = [[5.30, 5.08, 4.83, 4.60]] * 5
        off = [[5.42, 5.20, 4.94, 4.70]] * 5

        result = describe([ONE] * 5, touchdown_s=down, toe_off_s=off)

        assert known(result.time_ratio_2).mean == pytest.approx(0.25 / 0.23)
        assert known(result.time_ratio_1).mean == pytest.approx(0.22 / 0.23)
        assert [known(each).mean for each in result.contact_s] == pytest.approx([0.11, 0.12, 0.12])

    def test_contacts_are_held_against_the_plan(self):
        contact = [["ball", "flat", "flat"], ["ball", "flat", "heel"], [None, "flat", "flat"]]

        result = describe([ONE] * 6, contact=contact + [[None] * 3] * 3)

        assert (result.n_contacts, result.n_contacts_as_planned) == (2, 1)
        assert result.contact_as_planned == ((2, 2), (3, 3), (2, 3))

    def test_the_mean_is_of_ratios_with_its_t_interval(self):
        toe = np.array([[0.0, 2.0, 4.0 + extra, 6.0 + extra] for extra in (0, 0.1, 0.2, 0.3, 0.4)])

        figure = known(describe(toe).penultimate_longer_percent)

        longer = np.array([0.0, 5.0, 10.0, 15.0, 20.0])
        low, high = stats.t.interval(0.95, 4, longer.mean(), stats.sem(longer))
        assert figure.mean == pytest.approx(10.0)
        assert (figure.interval.low, figure.interval.high) == pytest.approx((low, high))
        assert figure.sd == pytest.approx(math.sqrt(62.5))


class TestRatiosOfAttempts:
    def test_are_those_that_are_averaged(self):
        toe = np.array([[0.0, 2.0, 4.0 + extra, 6.0 + extra] for extra in (0, 0.1, 0.2, 0.3, 0.4)])
        down = np.array([[5.30, 5.08, 4.83 - extra, 4.60 - extra] for extra in toe[:, 2] / 100])

        ratios = last_steps.step_ratios(toe, touchdown_s=down)

        result = describe(toe, touchdown_s=down)
        for name in ("length_ratio_2", "length_ratio_1", "time_ratio_2", "time_ratio_1"):
            assert known(getattr(result, name)).mean == pytest.approx(getattr(ratios, name).mean())
        assert ratios.length_ratio_2 == pytest.approx([1.0, 1.05, 1.1, 1.15, 1.2])

    def test_are_missing_where_a_step_is(self):
        ratios = last_steps.step_ratios([[0.0, 2.0, 4.0, NAN], ONE])

        assert np.isnan(ratios.length_ratio_2[0])
        assert np.isnan(ratios.time_ratio_2).all()
        assert ratios.length_ratio_1[1] == pytest.approx(2.00 / 2.15)

    def test_refuse_steps_that_go_back(self):
        with pytest.raises(ValueError, match="forward"):
            last_steps.step_ratios([[0.0, 2.0, 1.5, 6.0]])


class TestAgainstAPublishedMean:
    def test_the_plan_has_the_penultimate_step_of_elite_women(self):
        # 12.2 ± 2.8 % longer than the last (Panoutsakopoulos et al. 2021, abstract).
        plan = simulator.plan_run_up(simulator.Athlete())

        result = describe([plan.toe_m] * 5)

        assert known(result.penultimate_longer_percent).mean == pytest.approx(12.2, abs=2.8)


class TestWhatIsNotEnough:
    def test_four_attempts_are_not(self):
        assert last_steps.last_steps([ONE] * 4) == NotEnoughAttempts(n=4, needed=5)

    def test_each_figure_says_so_for_itself(self):
        toe = np.array([ONE] * 6)
        toe[:2, 3] = NAN

        result = describe(toe)

        assert result.length_ratio_2 == NotEnoughAttempts(n=4, needed=5)
        assert known(result.penultimate_longer_percent).n == 6
        assert result.time_ratio_1 == NotEnoughAttempts(n=0, needed=5)

    @pytest.mark.parametrize(
        ("toe", "options"),
        [
            ([[0.0, 2.0, 4.0]] * 5, {}),
            ([[0.0, 2.0, 1.9, 6.0]] * 5, {}),
            ([ONE] * 5, {"touchdown_s": [[1.0, 2.0, 3.0, 4.0]] * 5}),
            ([ONE] * 5, {"touchdown_s": [[1.0]]}),
            ([ONE] * 5, {"contact": [["ball"]] * 5}),
            ([ONE] * 5, {"contact": [["ball", "flat", "toe"]] * 5}),
            ([ONE] * 5, {"planned_contacts": ["ball"]}),
        ],
    )
    def test_bad_input_is_refused(self, toe, options):
        with pytest.raises(ValueError, match=r"."):
            last_steps.last_steps(toe, **options)


class TestProperties:
    @given(seed=st.integers(0, 2**31), scale=st.floats(0.2, 5), shift=st.floats(-3, 3))
    def test_only_lengths_count(self, seed, scale, shift):
        rng = np.random.default_rng(seed)
        toe = np.array([ONE] * 8) + rng.normal(0, 0.02, (8, 4))

        result, other = describe(toe), describe(toe * scale + shift)

        assert known(other.length_ratio_1).mean == pytest.approx(known(result.length_ratio_1).mean)
        assert other.n_medium_long_short == result.n_medium_long_short
