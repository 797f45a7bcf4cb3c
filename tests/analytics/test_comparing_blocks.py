"""Two blocks of a series are compared with their sessions told apart."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import numpy as np
import pytest

from analytics.core.comparing import BlockComparison
from analytics.core.conventions import NotEnoughAttempts
from analytics.selectors import SeriesAttempts
from analytics.services import figures

SESSIONS, EACH = 8, 5


def season(toe_m: np.ndarray) -> SeriesAttempts:
    n = toe_m.size
    start = datetime(2026, 5, 2, 9, tzinfo=UTC)
    return SeriesAttempts(
        ids=[UUID(int=number) for number in range(n)],
        started_at=[start + timedelta(days=number // EACH, minutes=number) for number in range(n)],
        plan_ids=[None] * n,
        revisions=np.zeros(n, dtype=np.int64),
        session_ids=[UUID(int=number // EACH) for number in range(n)],
        board_toe_m=toe_m,
        no_jump=np.zeros(n, dtype=np.bool_),
        aim_m=np.full(n, 0.06),
    )


class TestCompareAt:
    def test_good_and_bad_days_are_no_spread(self):
        within = np.tile([-0.02, -0.01, 0.0, 0.01, 0.02], SESSIONS)
        day = np.repeat([0.3, 0.4, 0.5, 0.6] * 2, EACH)

        change = figures.compare_at(season(within + day), SESSIONS * EACH, block=20)

        assert isinstance(change, BlockComparison)
        assert change.sd_before_m == pytest.approx(np.sqrt(0.001 / 4))
        # 20 attempts less the means of 4 sessions.
        assert change.df_after == 16
        # Days that differ by more than 0.10 m leave the change of bias uncertain.
        assert change.bias_change_interval.high > 0.10

    def test_needs_two_whole_blocks(self):
        change = figures.compare_at(season(np.full(39, 0.06)), 39, block=20)

        assert change == NotEnoughAttempts(n=39, needed=40)
