"""The latest figures of a series in words: what the measured toes leave out is said beside them."""

from uuid import UUID

import numpy as np
import pytest
from scipy import optimize, stats

from analytics.cards import figures
from analytics.core.censored import fit_censored
from analytics.models import SeriesState
from analytics.selectors import SeriesSummary
from analytics.services.figures import as_json
from approaches.models import FinishClass

AIM_M = 0.06


def summary_of(toe_m: list[float], no_jump: list[bool]) -> SeriesSummary:
    stored = {
        "window": {"n": len(toe_m), "aim_m": AIM_M},
        "censored": as_json(fit_censored(np.array(toe_m), np.array(no_jump))),
    }
    return SeriesSummary(
        approach_id=UUID(int=1),
        finish_class=FinishClass.JUMP,
        state=SeriesState(figures=stored),
        point=None,
        pending=None,
        stale=False,
    )


class TestUnmeasuredNoJumps:
    toes = (0.02, 0.05, 0.09, 0.01, 0.04, 0.12, 0.03, 0.06, -0.02, 0.07)

    def test_are_counted_as_a_likelihood_of_their_own_counts_them(self):
        hidden = 4
        toe = [*self.toes, *[np.nan] * hidden]
        no_jump = [each < 0 for each in self.toes] + [True] * hidden

        # The normal likelihood with left-censored values, maximized by SciPy.
        def cost(at: np.ndarray) -> float:
            mean, sd = at[0], np.exp(at[1])
            seen = np.sum(stats.norm.logpdf(self.toes, mean, sd))
            return -float(seen + hidden * stats.norm.logcdf(0, mean, sd))

        best = optimize.minimize(cost, [0.03, np.log(0.05)], method="Nelder-Mead", tol=1e-10)
        bias_cm = 100 * (best.x[0] - AIM_M)

        told = figures.in_words(summary_of(toe, no_jump)).with_unmeasured

        assert told.startswith("Counting the 4 no jumps that were not measured: bias ")
        assert f"bias −{abs(bias_cm):.1f} cm (" in told
        assert bias_cm == pytest.approx(-4.5, abs=1.5)  # beyond what the measured ones say, -1.3

    def test_are_not_spoken_of_where_all_were_measured(self):
        no_jump = [each < 0 for each in self.toes]

        assert figures.in_words(summary_of(list(self.toes), no_jump)).with_unmeasured == ""

    def test_are_not_spoken_of_before_there_is_enough(self):
        assert figures.in_words(summary_of([0.05, np.nan], [False, True])).with_unmeasured == ""

    def test_one_is_one(self):
        told = figures.in_words(
            summary_of([*self.toes, np.nan], [*(each < 0 for each in self.toes), True])
        ).with_unmeasured

        assert told.startswith("Counting the 1 no jump that was not measured: ")
