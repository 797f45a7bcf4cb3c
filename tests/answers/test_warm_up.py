"""Today's mark from run-throughs, in figures and words."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from analytics.answers import warm_up as answer
from analytics.core import warm_up
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.warm_up import WarmUp
from analytics.core.wind import felt_wind, usual_wind_slope
from analytics.selectors import CheckMark, RunUps
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import make_marks, make_run_ups, uuid_of

AT_M = 12.0
MARKS = make_marks(check_marks=(CheckMark(6, AT_M),))
TODAY = uuid_of(4, 99)


def run(
    error_m: npt.ArrayLike,
    *,
    session: Sequence[int],
    start_mark_m: float = 34.20,
    wind_mps: float = float("nan"),
) -> RunUps:
    """Return attempts whose footfall 6 lands this far off its place."""
    error = np.asarray(error_m, dtype=np.float64)
    n = error.size
    toe = 0.06 + 2.0 * np.arange(17) + np.zeros((n, 1))
    toe[:, 6] = AT_M + error
    made = make_run_ups(toe, marks=MARKS, session=list(session))
    return replace(made, start_mark_m=np.full(n, start_mark_m), wind_mps=np.full(n, wind_mps))


NOTHING = run([], session=[])


def calibrated(found: answer.WarmingUp) -> WarmUp:
    assert isinstance(found.calibration, WarmUp)
    return found.calibration


class TestWorkOut:
    def test_is_the_cores_with_what_is_usual_where_nothing_is_known(self):
        """Day 0.7 x 0.15 m, one run-through 0.15 m, offset 0 give or take 0.10 m."""
        found = answer.work_out(run([0.20, 0.16], session=[99, 99]), NOTHING, session=TODAY)

        by_hand = warm_up.calibrate(
            [0.20, 0.16],
            start_mark_m=34.20,
            believed=warm_up.Believed(0.0, 0.105, 0.0, 0.10, 0.15),
        )
        assert calibrated(found).bias_m == pytest.approx(by_hand.bias_m)
        assert calibrated(found).start_mark_m == pytest.approx(by_hand.start_mark_m)
        assert (found.check_footfall, found.n_offset_sessions, found.is_own_spread) == (6, 0, False)

    def test_takes_off_how_run_throughs_land_against_jumps(self):
        """In each of four sessions run-throughs land 0.10 m shorter than jumps."""
        sessions = np.repeat([0, 1, 2, 3], 4)
        spread = np.tile([-0.06, -0.02, 0.02, 0.06], 4)
        past = run(0.10 + spread, session=sessions.tolist())
        here = run([0.10], session=[99])
        both = _joined(past, here)

        found = answer.work_out(both, run(spread, session=sessions.tolist()), session=TODAY)

        assert found.n_offset_sessions == 4
        assert found.offset_m == pytest.approx(0.10)
        assert calibrated(found).bias_m[-1] == pytest.approx(0, abs=1e-9)
        assert found.is_own_spread
        assert found.error_sd_m == pytest.approx(spread[:4].std(ddof=1))

    def test_expects_of_the_day_what_the_wind_does(self):
        """+2 m/s after 22.2 m: the mark moves back by the usual slope to begin with."""
        found = answer.work_out(
            run([float("nan")], session=[99], wind_mps=2.0), NOTHING, session=TODAY
        )

        move = -float(usual_wind_slope(34.20 - AT_M)) * float(felt_wind(2.0))
        assert {each.reason: each.move_m for each in found.parts} == {
            "wind": pytest.approx(move),
            "day": 0.0,
        }
        assert calibrated(found).n.tolist() == [0, 0]
        assert calibrated(found).start_mark_m[-1] == pytest.approx(34.20 + move, abs=0.006)

    def test_of_a_mark_that_was_moved_already_is_the_same_mark(self):
        """Run from 0.20 m farther back everything lands 0.20 m shorter."""
        planned, moved = (
            answer.work_out(
                run([0.10 + size], session=[99], start_mark_m=34.20 + size),
                NOTHING,
                session=TODAY,
            )
            for size in (0.0, 0.20)
        )

        assert moved.first_start_mark_m == pytest.approx(34.40)
        assert calibrated(moved).bias_m == pytest.approx(calibrated(planned).bias_m + 0.20)
        assert calibrated(moved).bias_sd_m == pytest.approx(calibrated(planned).bias_sd_m)

    def test_knows_that_competitions_land_elsewhere(self):
        error = np.tile([-0.02, 0.0, 0.02], 6) + np.repeat([0, 0, 0, 0, -0.12, -0.12], 3)
        jumps = run(error, session=np.repeat(np.arange(6), 3).tolist())
        contests = frozenset({uuid_of(4, 4), uuid_of(4, 5), TODAY})
        here = run([float("nan")], session=[99])

        training = answer.work_out(here, jumps, session=TODAY, competitions=contests - {TODAY})
        contest = answer.work_out(here, jumps, session=TODAY, competitions=contests)

        assert training.parts[0].move_m == 0
        assert 0.08 < contest.parts[0].move_m < 0.12

    def test_leaves_out_todays_jumps_which_came_after_it(self):
        here = run([0.20], session=[99])

        with_jumps = answer.work_out(here, run([0.5, 0.5], session=[99, 99]), session=TODAY)

        without = answer.work_out(here, NOTHING, session=TODAY)
        assert calibrated(with_jumps).bias_m == pytest.approx(calibrated(without).bias_m)

    def test_needs_a_check_mark_to_watch(self):
        bare = replace(NOTHING, marks_now=make_marks())

        found = answer.work_out(run([0.1], session=[99]), bare, session=TODAY)

        assert found.calibration == NotEnoughAttempts(n=0, needed=1)
        assert "A check mark in the plan" in answer.tell(found).would_change[0]


class TestTell:
    def test_moves_the_mark_toward_the_pit_for_who_lands_short(self):
        found = answer.work_out(run([0.30, 0.28, 0.32], session=[99] * 3), NOTHING, session=TODAY)

        said = answer.tell(found)
        size = 100 * abs(calibrated(found).move_m[-1])
        assert said.text.startswith(f"Run from {calibrated(found).start_mark_m[-1]:.2f} m: ")
        assert f"{size:.0f} cm toward the pit. By 3 attempts the foot of a jump" in said.text
        # A jump that is "short" could be taken for its distance.
        assert "at the check mark." in said.text
        assert said.caution is not None

    def test_leaves_it_for_less_than_three_centimetres(self):
        said = answer.tell(answer.work_out(run([0.03], session=[99]), NOTHING, session=TODAY))

        assert said.text.startswith("Leave the start mark at 34.20 m")
        assert any("Save the legs" in each for each in said.would_change)

    def test_of_a_day_that_moves_nothing_says_so(self):
        said = answer.tell(answer.work_out(run([0.03], session=[99]), NOTHING, session=TODAY))

        (day,) = [each.text for each in said.reasons if each.code == "day"]
        assert day == ("The day leaves the mark where it is to begin with, give or take 10 cm.")

    @pytest.mark.parametrize("error_m", [[], [0.3], [-0.3, -0.2], [0.01]])
    def test_can_be_translated_whole(self, error_m, monkeypatch: pytest.MonkeyPatch):
        here = run(error_m, session=[99] * len(error_m), wind_mps=1.0)
        found = answer.work_out(here, NOTHING, session=TODAY)
        plain = answer.tell(found)
        for text in (plain.text, *(each.text for each in plain.reasons), *plain.would_change):
            assert text.endswith("."), text
            assert not any(odd in text for odd in ("nan", "None", "{", "..", "  ")), text
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        said = answer.tell(found)

        texts = [said.text, *(each.text for each in said.reasons), *said.would_change]
        assert [text for text in texts if depth_0_of(text).strip()] == []


def _joined(first: RunUps, second: RunUps) -> RunUps:
    """Return attempts of one series, one part after the other."""
    n = len(first) + len(second)
    toe = np.vstack([first.toe_m, second.toe_m])
    made = make_run_ups(toe, marks=MARKS, session=[0] * n)
    return replace(
        made, session_ids=[*first.session_ids, *second.session_ids], start_mark_m=np.full(n, 34.20)
    )
