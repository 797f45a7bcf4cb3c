"""Own habits: found again, hidden toes against a maximum likelihood by a library, edges."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats

from analytics.core import simulator
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.own_habits import own_habits, usable
from analytics.core.simulator import Athlete
from analytics.core.what_if import expected_board

ME = Athlete()
NAN = float("nan")


class TestOwnHabits:
    def test_the_spread_at_the_board_comes_out_as_measured(self):
        toe = simulator.simulate(
            replace(ME, unmeasured_no_jump_share=0.0),
            attempts_by_session=[6] * 10,
            rng=np.random.default_rng(4),
        ).toe_m

        own = own_habits(toe, like=ME)

        assert isinstance(own, Athlete)
        mean, sd = expected_board(own)
        assert mean == pytest.approx(toe[:, 0].mean())
        # But for degrees of freedom: 58 and 59 of 60.
        assert sd == pytest.approx(toe[:, 0].std(ddof=1), rel=0.01)

    def test_what_was_put_in_is_found(self):
        known = replace(
            ME,
            gains=(0.5, 0.4, 0.3) + (0.0,) * 13,
            step_sds_m=(0.03,) * 8 + (0.09,) * 8,
            perception_sd_m=0.0,
            session_sd_m=0.0,
            wind_sd_mps=0.0,
            measurement_sd_m=0.0,
            unmeasured_no_jump_share=0.0,
        )
        toe = simulator.simulate(
            known, attempts_by_session=[2000], rng=np.random.default_rng(5)
        ).toe_m

        own = own_habits(toe, like=ME)

        assert isinstance(own, Athlete)
        assert own.gains == pytest.approx(known.gains, abs=0.05)
        assert own.step_sds_m == pytest.approx(known.step_sds_m, rel=0.08)
        assert own.start_sd_m == pytest.approx(ME.start_sd_m, rel=0.08)

    def test_the_wind_is_taken_out_of_the_steps_and_comes_back_as_wind(self):
        # Hardly anything but wind: its SD is found, and the steps are as steady as they are.
        blown = replace(
            ME,
            steering_from=0,
            start_sd_m=0.0,
            session_sd_m=0.0,
            step_sd_m=0.01,
            wind_sd_mps=1.0,
            measurement_sd_m=0.0,
            unmeasured_no_jump_share=0.0,
        )
        made = simulator.simulate(blown, attempts_by_session=[2000], rng=np.random.default_rng(11))

        own = own_habits(made.toe_m, like=ME, wind_mps=made.wind_mps)
        unaware = own_habits(made.toe_m, like=ME)

        assert isinstance(own, Athlete)
        assert isinstance(unaware, Athlete)
        assert own.wind_sd_mps == pytest.approx(1.0, rel=0.05)
        assert own.step_sds_m == pytest.approx((0.01,) * 16, rel=0.1)
        assert expected_board(own)[1] == pytest.approx(made.toe_m[:, 0].std(), rel=0.05)
        # To the last step 1 m/s adds 0.08 ((26.6 / 35)^1.5 - (24.6 / 35)^1.5) = 6 mm, by hand.
        assert unaware.wind_sd_mps == 0.0
        assert unaware.step_sds_m[0] == pytest.approx(np.hypot(0.01, 0.006), rel=0.1)

    def test_a_wind_that_nobody_read_is_the_usual_one(self):
        toe = simulator.simulate(
            replace(ME, unmeasured_no_jump_share=0.0),
            attempts_by_session=[20],
            rng=np.random.default_rng(6),
        ).toe_m

        unread = own_habits(toe, like=ME, wind_mps=np.full(20, NAN))

        assert unread == own_habits(toe, like=ME)
        with pytest.raises(ValueError, match="winds"):
            own_habits(toe, like=ME, wind_mps=[1.0])

    def test_gaps_leave_attempts_out_and_few_are_not_enough(self):
        toe = simulator.simulate(
            replace(ME, unmeasured_no_jump_share=0.0),
            attempts_by_session=[15],
            rng=np.random.default_rng(6),
        ).toe_m
        gap = toe.copy()
        gap[3, 7] = NAN

        assert isinstance(own_habits(toe, like=ME), Athlete)
        assert own_habits(gap, like=ME) == NotEnoughAttempts(n=14, needed=15)
        with pytest.raises(ValueError, match="footfalls"):
            own_habits(toe[:, :-1], like=ME)

    def test_attempts_that_do_not_spread(self):
        own = own_habits(np.tile(simulator.plan_run_up(ME).toe_m, (15, 1)), like=ME)

        assert isinstance(own, Athlete)
        assert expected_board(own)[1] == pytest.approx(0.0, abs=1e-9)


class TestHiddenToes:
    """No jumps of which nobody measured where the toe came down."""

    def made(self, *, seed: int = 3, sessions: int = 8) -> simulator.SimulatedAttempts:
        return simulator.simulate(
            replace(ME, unmeasured_no_jump_share=1.0, wind_sd_mps=0.0, measurement_sd_m=0.0),
            attempts_by_session=[6] * sessions,
            rng=np.random.default_rng(seed),
        )

    def test_the_last_step_is_that_of_greatest_likelihood(self):
        """Against the censored regression's likelihood, maximised by scipy.optimize."""
        made = self.made()
        hidden = np.isnan(made.toe_m[:, 0])
        before = made.toe_m[:, 1]
        off = before - before.mean()

        def unlikely(of: np.ndarray) -> float:
            expected, sd = of[0] + of[1] * off, np.exp(of[2])
            seen = stats.norm.logpdf(made.toe_m[~hidden, 0], expected[~hidden], sd).sum()
            return -float(seen + stats.norm.logcdf(0.0, expected[hidden], sd).sum())

        best = optimize.minimize(unlikely, [0.06, 0.5, -3.0], method="Nelder-Mead", tol=1e-12)

        own = own_habits(made.toe_m, like=ME, no_jump=made.no_jump)

        assert 5 <= hidden.sum() <= 15
        assert isinstance(own, Athlete)
        n = hidden.size
        # Own habits count two degrees of freedom, the likelihood none, which moves it a little.
        assert own.aim_m == pytest.approx(best.x[0], abs=0.002)
        assert 1 - own.gains[0] == pytest.approx(best.x[1], abs=0.03)
        assert own.step_sds_m[0] == pytest.approx(
            np.exp(best.x[2]) * (n / (n - 2)) ** 0.5, rel=0.03
        )

    def test_the_risk_is_as_if_every_toe_had_been_measured(self):
        """And not understated, as it is where hidden toes are left out."""
        shares = []
        for seed in range(12):
            made = self.made(seed=seed, sessions=10)
            whole = np.where(
                np.isnan(made.toe_m), np.column_stack([made.true_board_m] * 17), made.toe_m
            )
            found = [
                own_habits(made.toe_m, like=ME, no_jump=made.no_jump),
                own_habits(made.toe_m, like=ME),
                own_habits(whole, like=ME),
            ]
            assert not any(isinstance(each, NotEnoughAttempts) for each in found)
            shares.append(
                [
                    stats.norm.cdf(0, *expected_board(each))
                    for each in found
                    if isinstance(each, Athlete)
                ]
            )

        with_hidden, left_out, measured = np.mean(shares, axis=0)
        assert with_hidden == pytest.approx(measured, abs=0.015)
        assert left_out < measured - 0.05

    def test_who_does_not_spread_and_is_hidden_lies_on_the_line(self):
        toe = np.tile(simulator.plan_run_up(replace(ME, aim_m=0.0)).toe_m, (18, 1))
        toe[:2, 0] = NAN

        own = own_habits(toe, like=ME, no_jump=[True] * 2 + [False] * 16)

        assert isinstance(own, Athlete)
        assert own.aim_m == pytest.approx(0.0, abs=1e-9)
        assert expected_board(own)[1] == pytest.approx(0.0, abs=1e-9)

    def test_far_beyond_the_line_nothing_overflows(self):
        made = self.made()
        far = made.toe_m - 5.0
        far[:16] = made.toe_m[:16] + 0.5
        far[16:, 0] = NAN
        far[:16, 0] = np.nan_to_num(far[:16, 0], nan=0.4)

        own = own_habits(far, like=ME, no_jump=np.arange(far.shape[0]) >= 16)

        assert isinstance(own, Athlete)
        assert np.isfinite([own.aim_m, *own.gains, *own.step_sds_m]).all()

    def test_count_on_top_of_the_complete_ones(self):
        made = self.made(sessions=5)
        complete = np.flatnonzero(~np.isnan(made.toe_m).any(axis=1))[:14]
        chosen = np.sort(np.concatenate([complete, np.flatnonzero(np.isnan(made.toe_m[:, 0]))]))

        found = own_habits(made.toe_m[chosen], like=ME, no_jump=made.no_jump[chosen])

        assert found == NotEnoughAttempts(n=14, needed=15)

    def test_only_a_no_jump_with_all_else_measured_is_used(self):
        toe = np.array([[0.1, 2.0, 4.0], [NAN, 2.0, 4.0], [NAN, 2.0, 4.0], [NAN, NAN, 4.0]])

        assert usable(toe, [False, True, False, True]).tolist() == [True, True, False, False]
        assert usable(toe).tolist() == [True, False, False, False]
        with pytest.raises(ValueError, match="no jumps"):
            usable(toe, [True])
