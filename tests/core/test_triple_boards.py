"""The triple-jump board: by hand, against Student's t, and never the wrong way for safety."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core import next_attempts, outlook, triple_boards
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.triple_boards import BoardProposal, BoardRisk

NAN = float("nan")
# Hop, step and jump of 36.5, 29.3 and 34.2 % (women, Panoutsakopoulos & Kollias 2008, New Studies
# in Athletics 23(4):53-61, abstract).
SHARES = np.array([0.365, 0.293, 0.342])


def jumps(seed, *, n=20, total=12.9, spread=0.15, sessions=4):
    """Return hop, step and jump whose sums spread so, and the session of each."""
    rng = np.random.default_rng(seed)
    phases = SHARES * (total + rng.normal(0, spread, n))[:, None]
    return (*phases.T, np.arange(n) % sessions)


def propose(hop, step, jump, session, **options) -> BoardProposal:
    options = {"boards_to_pit_m": [7.0, 9.0, 11.0, 13.0]} | options
    found = triple_boards.propose_board(hop, step, jump, session=session, **options)
    assert isinstance(found, BoardProposal)
    return found


def board(found: BoardProposal, to_pit_m: float) -> BoardRisk:
    return next(each for each in found.boards if each.to_pit_m == to_pit_m)


class TestByHand:
    def test_a_jumper_of_12_90_takes_the_board_at_11_m(self):
        # The last take-off stands 0.658 x 12.9 = 8.49 m beyond the line: 0.51 m before a pit at
        # 9 m, which the spread does not leave; 12.9 m do not reach a pit at 13 m.
        found = propose(*jumps(1))

        assert found.proposed_to_pit_m == 11.0
        assert [each.safe for each in found.boards] == [False, False, True, False]
        assert found.last_take_off_m == pytest.approx(8.49, abs=0.05)
        assert found.reach_m == pytest.approx(12.9 - 0.20, abs=0.1)  # toes not measured
        assert board(found, 13.0).probability_in_sand < 0.01
        assert board(found, 13.0).n_would_have_missed == 20

    def test_a_child_from_a_short_run_up_is_judged_alike(self):
        found = propose(*jumps(1, total=2.7, spread=0.03), boards_to_pit_m=[2.3, 5.0])

        assert [each.n_would_have_missed for each in found.boards] == [20, 20]
        assert found.proposed_to_pit_m is None

    def test_no_board_may_be_right(self):
        found = propose(*jumps(2), boards_to_pit_m=[8.6, 13.0])

        assert found.proposed_to_pit_m is None

    def test_a_runway_without_boards_has_none(self):
        found = propose(*jumps(2), boards_to_pit_m=[])

        assert (found.boards, found.proposed_to_pit_m) == ((), None)

    def test_measured_toes_take_the_place_of_the_worse(self):
        hop, step, jump, session = jumps(3)

        known = propose(hop, step, jump, session, board_toe_m=np.full(20, 0.06))
        unknown = propose(hop, step, jump, session)

        assert known.reach_m == pytest.approx(unknown.reach_m + 0.14)
        assert known.last_take_off_m == pytest.approx(unknown.last_take_off_m - 0.06)

    def test_a_short_pit_is_judged_at_its_far_end(self):
        hop, step, jump, session = jumps(4, total=16.0, spread=0.03)

        long_pit = board(propose(hop, step, jump, session, boards_to_pit_m=[11.2]), 11.2)
        short_pit = board(
            propose(hop, step, jump, session, boards_to_pit_m=[11.2], pit_length_m=5.0), 11.2
        )

        assert long_pit.safe
        assert not short_pit.safe
        assert short_pit.probability_in_sand < long_pit.probability_in_sand

    def test_one_own_attempt_that_would_have_missed_refuses_a_board(self):
        hop, step, jump, session = jumps(5, n=300, spread=0.02)
        jump[7] -= 1.42  # it lands 11.48 m out, less 0.20 m for the toe

        found = board(propose(hop, step, jump, session, boards_to_pit_m=[10.9]), 10.9)

        assert found.n_would_have_missed == 1
        assert not found.safe
        assert found.probability_well > 0.99

    def test_of_several_safe_boards_the_safest_is_proposed(self):
        # Last take-off at 8.55 m, landing at 13 m: 9.2 m leaves 0.65 m of runway, 12 m 0.8 m of
        # sand, 10.5 m more than a metre of both.
        found = propose(*jumps(6, total=13.0, spread=0.03), boards_to_pit_m=[9.2, 12.0, 10.5])

        assert [each.safe for each in found.boards] == [True, True, True]
        best = max(found.boards, key=lambda each: each.probability_well)
        assert found.proposed_to_pit_m == best.to_pit_m == 10.5


class TestAgainstStudentsT:
    def test_many_sessions_of_equal_mean_come_near_the_prediction_interval(self):
        hop, step, jump, session = jumps(7, n=40, spread=0.4, sessions=8)
        total = hop + step + jump - 0.20

        found = board(propose(hop, step, jump, session, boards_to_pit_m=[11.6]), 11.6)

        t = (12.1 - total.mean()) / (total.std(ddof=1) * np.sqrt(1 + 1 / 40))
        # Sessions that seem not to differ still might: never firmer than Student's t.
        short = 1 - found.probability_in_sand
        assert stats.t.cdf(t, 39) < short < 2 * stats.t.cdf(t, 39)

    def test_probabilities_are_those_of_the_outlook_of_sums(self):
        hop, step, jump, session = jumps(8, spread=0.3)
        last = hop + step

        found = board(propose(hop, step, jump, session, boards_to_pit_m=[9.0]), 9.0)

        expected = next_attempts.expect_toe(last, np.zeros(20, dtype=bool), session=session)
        assert isinstance(expected, next_attempts.NextAttempts)
        # The outlook asks for toes below 0: moved by the end of the runway.
        ahead = outlook.outlook(expected, aim_m=0.06 - 8.5, present_aim_m=0.06)
        assert found.probability_on_runway == pytest.approx(ahead.probability_no_jump)

    def test_what_is_said_to_go_well_in_99_of_100_does(self):
        # Boards are judged from 12 attempts of 3 sessions; a new session then jumps.
        rng = np.random.default_rng(9)
        went_wrong, judged = 0.0, 0
        while judged < 40:
            effects = rng.normal(0, 0.12, 3)
            total = 12.9 + np.repeat(effects, 4) + rng.normal(0, 0.20, 12)
            far = 12.9 - 0.20 - 0.5 - rng.uniform(0.5, 1.2)
            hop, step, jump = (SHARES * total[:, None]).T
            found = propose(hop, step, jump, np.repeat([1, 2, 3], 4), boards_to_pit_m=[far])
            if found.proposed_to_pit_m is None:
                continue
            judged += 1
            went_wrong += stats.norm.cdf((far + 0.5 + 0.20 - 12.9) / np.hypot(0.12, 0.20))

        assert went_wrong / judged < 0.01


class TestRefusals:
    def test_nine_attempts_are_not_enough(self):
        hop, step, jump, session = jumps(10, n=12)
        step[[1, 4, 6]] = NAN

        found = triple_boards.propose_board(
            hop, step, jump, session=session, boards_to_pit_m=[11.0]
        )

        assert found == NotEnoughAttempts(n=9, needed=10)

    @pytest.mark.parametrize(
        "options",
        [
            {"needed": 0.95},
            {"needed": 1.0},
            {"needed": NAN},
            {"sand_margin_m": -0.1},
            {"runway_margin_m": NAN},
            {"pit_length_m": 1.0},
            {"boards_to_pit_m": [0.0]},
            {"boards_to_pit_m": [NAN]},
            {"board_toe_m": [0.1]},
            {"board_toe_m": np.full(20, np.inf)},
        ],
    )
    def test_bad_input_is_refused(self, options):
        with pytest.raises(ValueError, match=r"."):
            propose(*jumps(11), **options)

    @pytest.mark.parametrize(
        ("hop", "step"), [([4.0], [3.0, 3.0]), ([0.0], [3.0]), ([4.0], [np.inf]), ([-4.0], [3.0])]
    )
    def test_phases_that_cannot_be_are_refused(self, hop, step):
        with pytest.raises(ValueError, match="hop_m"):
            triple_boards.propose_board(hop, step, [4.0], session=[1], boards_to_pit_m=[11.0])


class TestProperties:
    @given(seed=st.integers(0, 2**31), spread=st.floats(0.0, 0.6), total=st.floats(9, 17))
    @settings(max_examples=8)
    def test_a_nearer_pit_is_reached_more_surely_and_leaves_less_runway(self, seed, spread, total):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            found = propose(*jumps(seed, total=total, spread=spread))

        sand = [each.probability_in_sand for each in found.boards]
        runway = [each.probability_on_runway for each in found.boards]
        assert sand == sorted(sand, reverse=True)
        assert runway == sorted(runway)
        for each in found.boards:
            low = each.probability_in_sand + each.probability_on_runway - 1
            assert each.probability_well == pytest.approx(max(low, 0.0), abs=1e-12)
            assert each.safe <= (each.probability_well >= 0.99)

    @given(seed=st.integers(0, 2**31), wider=st.floats(0, 0.5))
    @settings(max_examples=8)
    def test_wider_margins_never_make_a_board_safe(self, seed, wider):
        sample = jumps(seed, total=12.4, spread=0.2)

        found = propose(*sample)
        stricter = propose(*sample, sand_margin_m=0.5 + wider, runway_margin_m=0.5 + wider)

        for before, after in zip(found.boards, stricter.boards, strict=True):
            assert after.probability_well <= before.probability_well + 1e-12
            assert before.safe or not after.safe
