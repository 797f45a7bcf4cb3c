"""Full-approach jumps: counted by hand, and by a plain loop."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import cautions, jump_load
from analytics.core.jump_load import LoadSettings


class TestCounts:
    def test_by_hand(self):
        # Monday 6, Thursday 9, the Monday after 4.
        found = jump_load.sum_up_load([0] * 6 + [3] * 9 + [7] * 4, today=7)

        assert (found.n, found.session_day, found.session_jumps) == (19, 7.0, 4)
        assert found.week_jumps == 13
        assert (found.most_in_session, found.most_in_week) == (9, 15)
        assert found.weeks == (0, 0, 6, 13)

    def test_sessions_of_one_day_are_told_apart(self):
        found = jump_load.sum_up_load([0] * 8, today=0, session=["am"] * 5 + ["pm"] * 3)

        assert (found.session_jumps, found.most_in_session, found.week_jumps) == (3, 5, 8)

    def test_a_session_past_midnight_is_one(self):
        found = jump_load.sum_up_load([0] * 5 + [1] * 4, today=1, session=["night"] * 9)

        assert (found.session_jumps, found.session_day) == (9, 1.0)
        assert found.over_session

    @given(
        days=st.lists(st.integers(0, 40), max_size=40),
        today=st.integers(0, 40),
        n_weeks=st.integers(1, 6),
    )
    def test_are_those_of_a_plain_loop(self, days, today, n_weeks):
        found = jump_load.sum_up_load(days, today=today, n_weeks=n_weeks)

        past = [day for day in days if day <= today]
        assert found.n == len(past)
        assert found.week_jumps == sum(today - 6 <= day for day in past)
        assert found.most_in_session == max((past.count(day) for day in past), default=0)
        assert found.most_in_week == max(
            (sum(end - 6 <= day <= end for day in past) for end in past), default=0
        )
        assert list(found.weeks) == [
            sum(today - 7 * back - 6 <= day <= today - 7 * back for day in past)
            for back in range(n_weeks - 1, -1, -1)
        ]


class TestLimits:
    @pytest.mark.parametrize(("jumps", "over"), [(8, False), (9, True)])
    def test_of_a_session(self, jumps: int, over: bool):
        found = jump_load.sum_up_load([0] * jumps, today=0)

        assert (found.over_session, found.caution_open, found.session_limit) == (over, over, 8)
        assert (found.over_week, found.week_limit) == (None, None)

    @pytest.mark.parametrize(("jumps", "over"), [(12, False), (13, True)])
    def test_of_a_week(self, jumps: int, over: bool):
        days = [0] * 6 + [6] * (jumps - 6)

        found = jump_load.sum_up_load(days, today=6, settings=LoadSettings(week_jumps=12))

        assert (found.over_session, found.over_week, found.caution_open) == (False, over, over)

    @pytest.mark.parametrize(("today", "over"), [(6, True), (7, False)])
    def test_a_session_counts_for_seven_days(self, today: int, over: bool):
        assert jump_load.sum_up_load([0] * 9, today=today).over_session is over

    def test_a_long_session_counts_though_a_short_one_followed(self):
        found = jump_load.sum_up_load([0] * 9 + [2] * 3, today=3)

        assert (found.session_jumps, found.over_session) == (3, True)


class TestEdges:
    def test_nothing_written_down_is_not_known(self):
        found = jump_load.sum_up_load([], today=3, settings=LoadSettings(week_jumps=10))

        assert (found.n, found.session_day, found.session_jumps) == (0, None, 0)
        assert (found.most_in_session, found.most_in_week) == (0, 0)
        assert (found.over_session, found.over_week, found.caution_open) == (False, False, None)

    def test_says_that_no_limit_is_published(self):
        found = jump_load.sum_up_load([0], today=0).caution

        assert "No published limit exists" in found
        assert cautions.COACH_DECIDES in found
        assert cautions.NO_DIAGNOSIS in found

    def test_later_jumps_are_left_out(self):
        assert jump_load.sum_up_load([0, 5, 2], today=2) == jump_load.sum_up_load([0, 2], today=2)

    @pytest.mark.parametrize(
        ("day", "options", "words"),
        [
            ([[0]], {}, "one dimension"),
            ([0.5], {}, "whole days"),
            ([math.nan], {}, "whole days"),
            ([0], {"today": 0.5}, "whole days"),
            ([0], {"n_weeks": 0}, "n_weeks"),
            ([0], {"settings": LoadSettings(session_jumps=0)}, "limits"),
            ([0], {"settings": LoadSettings(week_jumps=0)}, "limits"),
            ([0], {"session": [1, 2]}, "labels"),
        ],
    )
    def test_bad_input_is_refused(self, day, options, words):
        with pytest.raises(ValueError, match=words):
            jump_load.sum_up_load(day, **{"today": 0, **options})
