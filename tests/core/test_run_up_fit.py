"""Whether a run-up fits the runway, and how many steps to begin with: by hand and by the table."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.run_up_design import RunUpDesign, design_run_up
from analytics.core.run_up_fit import ROOM_BEHIND_M, Fit, fit_runway, propose_steps
from analytics.core.run_up_model import Footfalls
from analytics.core.run_up_pace import RunUpSettings, Sprint, StartStyle, run_up_pace

PACE_OF = Sprint(9.2, 1.15)
NORMS = Path(__file__).parent / "reference" / "approach_steps_by_age.csv"


def even_steps(
    steps: int, *, sd_m: float = 0.1, start_style: StartStyle = StartStyle.STANDING
) -> tuple[RunUpDesign, Footfalls]:
    """Return a run-up of steps of 2 m to an aim of 0.06 m."""
    settings = RunUpSettings(steps=steps, start_style=start_style, rhythm=None)
    doubt = np.diag([0.0, *[sd_m**2] * steps])
    footfalls = Footfalls(0.06 + 2.0 * np.arange(steps + 1, dtype=np.float64), doubt)
    return design_run_up(footfalls, run_up_pace(PACE_OF, settings), settings), footfalls


class TestFit:
    @pytest.mark.parametrize(
        ("runway_m", "fit"),
        [
            # 16 steps of 2 m and 0.06 m are 32.06 m, with 0.5 m behind them 32.56 m; the interval
            # reaches 1.96 x 0.1 m farther.
            (32.50, Fit.TOO_LONG),
            (32.56, Fit.TIGHT),
            (32.75, Fit.TIGHT),
            (32.76, Fit.FITS),
            (None, Fit.UNKNOWN),
        ],
    )
    def test_is_judged_with_the_room_to_start(self, runway_m: float | None, fit: Fit):
        found = fit_runway(*even_steps(16), runway_m=runway_m)

        assert found.fit is fit
        assert found.needed_m == pytest.approx(32.56)
        assert found.needed_at_most_m == pytest.approx(32.56 + 1.96 * 0.1, abs=1e-3)

    @pytest.mark.parametrize("style", StartStyle)
    def test_who_walks_or_runs_in_needs_more_room(self, style: StartStyle):
        found = fit_runway(*even_steps(10, start_style=style), runway_m=None)

        assert found.needed_m == pytest.approx(20.06 + ROOM_BEHIND_M[style])

    @pytest.mark.parametrize(
        # 2 m each, 0.06 m of aim and 0.5 m behind the mark: 14 steps need 28.56 m.
        ("runway_m", "most"),
        [(32.0, 14), (28.56, 14), (28.55, 12), (8.56, 4), (8.55, None)],
    )
    def test_shorter_run_ups_are_named_by_pairs_of_steps(self, runway_m: float, most: int | None):
        assert fit_runway(*even_steps(16), runway_m=runway_m).most_steps == most

    def test_an_odd_number_of_steps_stays_odd(self):
        assert fit_runway(*even_steps(17), runway_m=25.0).most_steps == 11

    @given(st.integers(4, 30), st.floats(5, 90))
    def test_what_is_named_fits(self, steps: int, runway_m: float):
        most = fit_runway(*even_steps(steps), runway_m=runway_m).most_steps

        if most is not None:
            assert fit_runway(*even_steps(most), runway_m=runway_m).fit in {Fit.FITS, Fit.TIGHT}
            assert fit_runway(*even_steps(most + 2), runway_m=runway_m).fit is Fit.TOO_LONG

    @pytest.mark.parametrize("runway_m", [0.0, -1.0, float("nan"), float("inf")])
    def test_a_runway_has_a_length(self, runway_m: float):
        with pytest.raises(ValueError, match="runway_m"):
            fit_runway(*even_steps(8), runway_m=runway_m)


class TestProposal:
    @pytest.mark.parametrize(
        ("group", "ages"),
        [
            ("up to 12 y (better jumpers)", (12.0, 12.9)),
            ("13-15 y", (14.0, 15.9)),
            ("16-18 y", (16.0, 18.9)),
            ("older and elite", (19.0, 30.0)),
        ],
    )
    def test_is_the_fewest_of_the_norm(self, group: str, ages: tuple[float, float]):
        """Coaching articles and handbooks: ranges by age, common practice."""
        lines = NORMS.read_text(encoding="utf-8").splitlines()
        rows = csv.DictReader(line for line in lines if not line.startswith("#"))
        (fewest,) = [int(row["steps_low"]) for row in rows if row["group"] == group]

        assert [propose_steps(age) for age in ages] == [fewest, fewest]

    def test_gives_a_child_no_more_steps_than_years(self):
        for age in np.arange(4.0, 14.0, 0.25):
            assert propose_steps(age) <= max(age, 4)

    @given(st.floats(1, 100))
    def test_is_even_and_never_fewer_than_a_run_up_needs(self, age_years: float):
        steps = propose_steps(age_years)

        assert steps % 2 == 0
        assert 4 <= steps <= 18

    def test_needs_an_age(self):
        with pytest.raises(ValueError, match="age_years"):
            propose_steps(0.0)
