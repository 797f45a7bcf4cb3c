"""Mark and aim of the next attempt."""

from typing import Any

import numpy as np
import pytest

from analytics.answers import next_attempt
from analytics.answers.next_attempt import Contest, contest_of
from analytics.core.mark_advice import MarkAdvice
from analytics.core.simulator import Athlete
from analytics.selectors import RunUps
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import marks_of, simulated, uuid_of

JUMPER = Athlete(unmeasured_no_jump_share=0.0)
TODAY = uuid_of(4, 4)
OPEN = Contest(attempts_taken=2, attempts_left=4, cut_waits=False, best_m=None, cut_m=None)


def runs(athlete: Athlete = JUMPER, **fields: Any) -> RunUps:
    return simulated(athlete, [6] * 4 + [2], seed=2, **fields)


class TestContest:
    @pytest.mark.parametrize(
        ("taken", "field_size", "cut_m", "left", "waits"),
        [
            (0, None, None, 6, False),
            (2, 8, None, 4, False),
            (2, 9, None, 1, True),  # nobody said what the cut takes: only the third is sure
            (2, 9, 5.80, 4, False),
            (3, 9, 5.80, 3, False),  # past the cut, which counts no more
            (6, 9, None, 0, False),
            (7, 8, None, 0, False),
        ],
    )
    def test_counts_what_is_left(
        self, taken: int, field_size: int | None, cut_m: float | None, left: int, waits: bool
    ):
        found = contest_of(
            attempts_taken=taken, best_m=None, attempts=6, field_size=field_size, cut_m=cut_m
        )

        assert (found.attempts_left, found.cut_waits) == (left, waits)
        assert found.cut_m == (cut_m if taken < 3 else None)

    def test_of_four_attempts_has_no_cut_after_them(self):
        """Of the young: four attempts for everybody would still be cut after the third."""
        found = contest_of(attempts_taken=0, best_m=None, attempts=3, field_size=20, cut_m=None)

        assert (found.attempts_left, found.cut_waits) == (3, False)


class TestWorkOut:
    def test_keeps_the_plans_aim_outside_of_a_competition(self):
        found = next_attempt.work_out(runs(), session=TODAY, contest=None)

        assert (found.aim, found.aim_m, found.aim_moves_m) == (None, 0.06, 0.0)
        assert found.start_mark_m == marks_of(JUMPER).start_mark_m

    def test_adds_the_move_of_the_mark_and_that_of_the_aim(self):
        """The last attempt with nothing scored: the aim goes far back, and the mark with it."""
        last = Contest(5, 1, cut_waits=False, best_m=None, cut_m=None)

        found = next_attempt.work_out(runs(), session=TODAY, contest=last)

        assert isinstance(found.mark.advice, MarkAdvice)
        assert found.aim_m > 0.10
        assert found.aim_moves_m == pytest.approx(found.aim_m - 0.06)
        assert found.start_mark_m == pytest.approx(
            found.mark.advice.start_mark_m + found.aim_moves_m
        )

    def test_leaves_the_aim_where_another_is_worth_no_centimetre(self):
        found = next_attempt.work_out(
            runs(marks=marks_of(JUMPER, aim_m=0.09)), session=TODAY, contest=OPEN
        )

        assert found.aim_moves_m == 0.0
        assert "The planned aim is as good as any other now." in next_attempt.tell(found).text

    def test_lays_out_the_planned_mark_where_nothing_is_known_yet(self):
        nobody = simulated(JUMPER, [], seed=1)

        found = next_attempt.work_out(nobody, session=TODAY, contest=OPEN)

        assert found.start_mark_m == marks_of(JUMPER).start_mark_m
        assert next_attempt.tell(found).more_attempts_needed == 2


class TestTell:
    def test_says_mark_and_aim_first(self):
        found = next_attempt.work_out(runs(), session=TODAY, contest=OPEN)

        said = next_attempt.tell(found)

        assert said.text.startswith(
            f"Run from {found.start_mark_m:.2f} m and aim {100 * found.aim_m:.0f} cm behind the "
        )
        assert said.caution is not None
        assert {each.code for each in said.reasons} == {
            "board",
            "check_mark",
            "wind",
            "aim",
            "habit",
        }

    def test_says_that_the_cut_is_not_counted_on(self):
        waits = Contest(1, 2, cut_waits=True, best_m=5.5, cut_m=None)

        said = next_attempt.tell(next_attempt.work_out(runs(), session=TODAY, contest=waits))

        assert any("among the best 8" in each for each in said.would_change)

    def test_says_when_it_is_over(self):
        over = Contest(6, 0, cut_waits=False, best_m=5.5, cut_m=None)

        said = next_attempt.tell(next_attempt.work_out(runs(), session=TODAY, contest=over))

        assert said.text == "All attempts of this competition are taken."

    @pytest.mark.parametrize("contest", [None, OPEN, Contest(5, 1, False, None, None)])
    @pytest.mark.parametrize("sessions", [[6] * 5, [3], []])
    @pytest.mark.parametrize("off_m", [0.0, 0.3])
    def test_can_be_translated_whole(
        self,
        contest: Contest | None,
        sessions: list[int],
        off_m: float,
        monkeypatch: pytest.MonkeyPatch,
    ):
        athlete = Athlete(mark_error_m=off_m)
        run_ups = simulated(athlete, sessions, seed=2, marks=marks_of(JUMPER))
        found = next_attempt.work_out(run_ups, session=TODAY, contest=contest)
        plain = next_attempt.tell(found).text
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        assert depth_0_of(next_attempt.tell(found).text).strip() == ""
        assert plain[0].isupper()
        assert plain.endswith(".")
        assert not np.any([odd in plain for odd in ("nan", "None", "  ", "{", "..")])
