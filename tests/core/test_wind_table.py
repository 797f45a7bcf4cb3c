"""The wind table: against the derivation's figures, by hand, and by what a table must keep."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core import believed_line, mark_advice, wind, wind_table

NAN = float("nan")


def windy(seed, *, n=24, sessions=4, slope=-0.12, sd=0.08):
    """Return errors at a check mark, winds, and the session of each."""
    rng = np.random.default_rng(seed)
    session = np.arange(n) % sessions
    blowing = rng.uniform(-2.5, 3.0, n)
    error = 0.04 + slope * wind.felt_wind(blowing) + rng.normal(0, 0.05, sessions)[session]
    return error + rng.normal(0, sd, n), blowing, session


class TestBeforeAnyAttempt:
    @pytest.mark.parametrize(
        ("run_m", "blows_mps", "moved_m"),
        # The derivation's own figures, with the drag model set to Linthorne 1994 (sources).
        [(35.0, 2.0, 0.14), (20.0, 2.0, 0.06), (35.0, -2.0, -0.18)],
    )
    def test_the_table_is_the_usual_one(self, run_m, blows_mps, moved_m):
        table = wind_table.wind_table([], [], run_m=run_m, session=[], winds_mps=[blows_mps])

        assert table.move_m[0] == pytest.approx(moved_m, abs=0.005)
        assert table.error_change_m[0] == -table.move_m[0]
        assert (table.n, table.n_sessions) == (0, 0)
        assert table.own_share == pytest.approx(0, abs=1e-9)
        assert table.seen.tolist() == [False]

    def test_its_interval_is_that_of_the_belief(self):
        table = wind_table.wind_table([], [], run_m=35.0, session=[], winds_mps=[-2.0, 2.0])

        half = 1.959964 * 0.05
        np.testing.assert_allclose(
            table.move_low_m, [(0.08 + half) * -2.25, (0.08 - half) * 1.75], rtol=1e-6
        )
        np.testing.assert_allclose(
            table.move_high_m, [(0.08 - half) * -2.25, (0.08 + half) * 1.75], rtol=1e-6
        )

    def test_steering_lets_a_part_through(self):
        table = wind_table.wind_table([], [], run_m=35.0, session=[], pass_through=0.25)

        assert table.usual_slope_m == pytest.approx(-0.02)
        assert table.slope_m == pytest.approx(-0.02)

    def test_its_rows_run_from_3_against_to_4_with_the_runner(self):
        table = wind_table.wind_table([], [], run_m=35.0, session=[])

        assert table.wind_mps.tolist() == [-3, -2, -1, 0, 1, 2, 3, 4]

    def test_the_usual_spreads_are_those_of_the_start_mark_advice(self):
        usual = mark_advice.MarkSettings()

        assert usual.check.error_m == wind_table.CHECK_MARK_SD_M
        assert usual.board.error_m == wind_table.BOARD_SD_M


class TestWithAttempts:
    def test_the_table_follows_the_athlete(self):
        error, blowing, session = windy(1, n=200)

        table = wind_table.wind_table(error, blowing, run_m=35.0, session=session)

        assert table.slope_interval.low < -0.12 < table.slope_interval.high
        assert table.slope_m == pytest.approx(-0.12, abs=0.01)
        assert table.attempt_sd_m == pytest.approx(0.08, abs=0.01)
        assert table.own_share > 0.95
        assert (table.n, table.n_sessions) == (200, 4)

    def test_is_the_line_with_its_belief(self):
        error, blowing, session = windy(2)
        revision = np.repeat([1, 2], 12)

        table = wind_table.wind_table(
            error, blowing, run_m=28.0, session=session, revision=revision, usual_sd_m=0.1
        )

        line = believed_line.fit_line(
            error,
            blowing - blowing**2 / 16,
            belief=believed_line.Belief(-0.08 * (28 / 35) ** 1.5, 0.05, 0.1, 0.2),
            levels=revision,
            session=session,
        )
        assert table.slope_m == pytest.approx(believed_line.slope_mean(line))
        assert table.own_share == pytest.approx(1 - (believed_line.slope_sd(line) / 0.05) ** 2)

    def test_one_wind_for_all_says_nothing_of_the_slope_but_through_the_level(self):
        table = wind_table.wind_table(
            np.full(8, 0.1), np.zeros(8), run_m=35.0, session=np.zeros(8), winds_mps=[0.0, 1.0]
        )

        assert table.slope_m == pytest.approx(-0.08)
        assert table.own_share == pytest.approx(0, abs=1e-9)
        assert table.seen.tolist() == [True, False]
        assert (table.move_low_m[0], table.move_m[0], table.move_high_m[0]) == (0, 0, 0)

    def test_what_is_missing_is_left_out(self):
        error, blowing, session = windy(3)
        error[0], blowing[1] = NAN, NAN

        table = wind_table.wind_table(error, blowing, run_m=35.0, session=session)
        kept = wind_table.wind_table(error[2:], blowing[2:], run_m=35.0, session=session[2:])

        assert table.n == 22
        assert table.slope_m == pytest.approx(kept.slope_m)

    def test_gusts_widen_more_against_the_wind(self):
        error, blowing, session = windy(4)

        table = wind_table.wind_table(
            error, blowing, run_m=35.0, session=session, gust_sd_mps=1.0, winds_mps=[-2.0, 0.0, 2.0]
        )

        expected = np.hypot(table.attempt_sd_m, table.slope_m * np.array([1.25, 1.0, 0.75]))
        np.testing.assert_allclose(table.attempt_sd_with_gusts_m, expected)

    def test_the_widening_is_what_simulated_gusts_show(self):
        rng = np.random.default_rng(5)
        error, blowing, session = windy(6)
        table = wind_table.wind_table(
            error, blowing, run_m=35.0, session=session, gust_sd_mps=0.6, winds_mps=[-2.0, 2.0]
        )

        for place, reading in enumerate((-2.0, 2.0)):
            blown = table.slope_m * wind.felt_wind(reading + rng.normal(0, 0.6, 50_000))
            spread = np.std(blown + rng.normal(0, table.attempt_sd_m, 50_000))
            assert table.attempt_sd_with_gusts_m[place] == pytest.approx(spread, rel=0.01)


class TestRefusals:
    @pytest.mark.parametrize(
        ("error", "blowing", "options"),
        [
            ([0.1], [1.0, 2.0], {}),
            ([np.inf], [1.0], {}),
            ([0.1], [np.inf], {}),
            ([0.1], [1.0], {"run_m": -1.0}),
            ([0.1], [1.0], {"pass_through": 1.1}),
            ([0.1], [1.0], {"pass_through": NAN}),
            ([0.1], [1.0], {"gust_sd_mps": -0.1}),
            ([0.1], [1.0], {"winds_mps": [NAN]}),
            ([0.1], [1.0], {"session": [1, 2]}),
            ([0.1], [1.0], {"level": 1.0}),
            ([0.1], [1.0], {"usual_sd_m": 0.0}),
        ],
    )
    def test_bad_input_is_refused(self, error, blowing, options):
        given_options = {"run_m": 35.0, "session": [1] * len(error)} | options
        with pytest.raises(ValueError, match=r"."):
            wind_table.wind_table(error, blowing, **given_options)


class TestProperties:
    @given(seed=st.integers(0, 2**31), n=st.integers(0, 30))
    @settings(max_examples=30)
    def test_moves_lie_within_their_interval_and_grow_with_the_wind(self, seed, n):
        error, blowing, session = windy(seed, n=n)

        with warnings.catch_warnings():
            warnings.simplefilter("error")
            table = wind_table.wind_table(error, blowing, run_m=30.0, session=session)

        assert np.all(table.move_low_m <= table.move_m)
        assert np.all(table.move_m <= table.move_high_m)
        assert 0 <= table.own_share <= 1
        # The same slope for all: the table is monotone, whatever its direction.
        assert np.all(np.diff(table.move_m) * -np.sign(table.slope_m) >= 0)
