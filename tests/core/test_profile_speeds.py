"""Speeds along a sprint profile: the curve, and intervals against drawn curves."""

import numpy as np
import pytest

from analytics.core import profile_speeds, sprint_curve, sprint_profile

GATES = np.array([5.0, 10.0, 20.0, 30.0, 40.0])


def fitted() -> sprint_profile.SprintProfile:
    time = sprint_curve.time_to(GATES, top_speed_mps=9.0, rise_time_s=1.1)
    found = sprint_profile.fit_profile(GATES, time + np.array([0.01, -0.01, 0.02, 0.0, -0.01]))
    assert isinstance(found, sprint_profile.SprintProfile)
    return found


class TestSpeedAlong:
    PROFILE = fitted()

    def test_is_the_curve(self):
        along = profile_speeds.speed_along(self.PROFILE, [0.0, 15.0, 35.0])

        np.testing.assert_allclose(
            along.speed_mps,
            sprint_curve.speed_after(
                [0.0, 15.0, 35.0],
                top_speed_mps=self.PROFILE.top_speed_mps,
                rise_time_s=self.PROFILE.rise_time_s,
            ),
        )
        assert (along.low_mps[0], along.high_mps[0]) == (0, 0)
        assert np.all(along.low_mps[1:] < along.speed_mps[1:])

    def test_intervals_are_those_of_drawn_curves(self):
        top_var, both, rise_var = self.PROFILE.covariance
        rng = np.random.default_rng(1)
        drawn = np.exp(
            rng.multivariate_normal(
                np.log([self.PROFILE.top_speed_mps, self.PROFILE.rise_time_s]),
                [[top_var, both], [both, rise_var]],
                size=20_000,
            )
        )
        runs = np.array([8.0, 20.0, 34.0, 38.2])
        speed = np.array(
            [
                sprint_curve.speed_after(x, top_speed_mps=drawn[:, 0], rise_time_s=drawn[:, 1])
                for x in runs
            ]
        )

        along = profile_speeds.speed_along(self.PROFILE, runs)
        gain, interval = profile_speeds.speed_gained(self.PROFILE, 34.0, further_m=4.2)

        t = 3.182446
        half = np.log(along.high_mps / along.speed_mps) * along.speed_mps / t
        np.testing.assert_allclose(half, speed.std(axis=1), rtol=0.05)
        assert (interval.high - gain) / t == pytest.approx(np.std(speed[3] - speed[2]), rel=0.05)
        assert gain == pytest.approx(along.speed_mps[3] - along.speed_mps[2])

    def test_a_run_no_longer_gains_nothing(self):
        gain, interval = profile_speeds.speed_gained(self.PROFILE, 30.0, further_m=0.0)

        assert (gain, interval.low, interval.high) == (0, 0, 0)

    @pytest.mark.parametrize(("run", "further"), [(-1.0, 5.0), (30.0, -1.0), (30.0, np.inf)])
    def test_a_run_that_cannot_be_is_refused(self, run, further):
        with pytest.raises(ValueError, match=r"."):
            profile_speeds.speed_gained(self.PROFILE, run, further_m=further)
