"""What numbers of steps brought, in figures and words."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from analytics.answers import length_study as answer
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_study import LengthStudy, NotEnoughStepCounts
from analytics.core.sprint_curve import time_to
from analytics.selectors import LengthAttempts
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import STARTED_AT, uuid_of

SPLITS_M = (5.0, 10.0, 20.0, 30.0)


def make_attempts(steps: Any, effective_m: Any, **fields: Any) -> LengthAttempts:
    """Return full jumps of one session, with a toe of 6 cm."""
    counts = np.asarray(steps, dtype=np.int64)
    n = counts.size
    return LengthAttempts(
        **{
            "approach_id": uuid_of(2, 1),
            "steps_now": 14,
            "run_m": 25.0,
            "sprints": (),
            "ids": tuple(uuid_of(3, each) for each in range(n)),
            "versions": (1,) * n,
            "started_at": tuple(STARTED_AT + timedelta(minutes=6 * each) for each in range(n)),
            "changed_at": tuple(STARTED_AT + timedelta(minutes=6 * each) for each in range(n)),
            "session_ids": (uuid_of(4, 1),) * n,
            "steps": counts,
            "board_toe_m": np.full(n, 0.06),
            "official_m": np.asarray(effective_m, dtype=np.float64) - 0.06,
            "gate_at_m": np.empty((n, 0)),
            "gate_time_s": np.empty((n, 0)),
            **fields,
        }
    )


STEPS = np.repeat([8, 10, 12, 14], 3)
SPREAD = np.tile([0.05, -0.05, 0.0], 4)


class TestStudy:
    def test_finds_the_gain_of_the_worked_example(self):
        """docs/metrics/length_study.md: 0.16, between 0.03 and 0.29, from 14 to 16 steps."""
        found = answer.work_out(make_attempts(STEPS, 9.3 - 0.02 * (STEPS - 17) ** 2 + SPREAD))

        assert isinstance(found.distance, LengthStudy)
        assert found.distance.gain == pytest.approx(0.16)
        said = answer.tell(found)
        assert "From 14 to 16 steps the jump goes 16 cm farther" in said.text
        assert "between 3 cm farther and 29 cm farther" in said.text
        assert said.caution is not None
        assert [each.steps for each in found.by_steps] == [8, 10, 12, 14]

    def test_of_speed_takes_the_gates(self):
        speed = 9.3 - 0.02 * (STEPS - 17) ** 2 + SPREAD
        time = np.column_stack([np.full(12, 4.0), np.full(12, 4.6), 4.6 + 5 / speed])
        at = np.tile([11.0, 6.0, 1.0], (12, 1))
        attempts = make_attempts(STEPS, np.full(12, np.nan), gate_at_m=at, gate_time_s=time)

        found = answer.work_out(attempts)

        assert isinstance(found.speed, LengthStudy)
        assert found.speed.gain == pytest.approx(0.16)
        assert (
            "Speed into the board is 0.16 m/s higher: between 0.03 m/s higher and"
            in answer.tell(found).text
        )

    def test_says_that_a_pair_more_takes_away_what_it_takes_away(self):
        """Best at 11 steps: the curve of the case falls by 0.05 (5^2 - 3^2) = 0.80 m."""
        found = answer.work_out(make_attempts(STEPS, 9.3 - 0.05 * (STEPS - 11) ** 2 + SPREAD))

        text = answer.tell(found).text

        assert "From 14 to 16 steps the jump goes 80 cm less far" in text
        assert "between 93 cm less far and 67 cm less far" in text

    def test_of_three_numbers_of_steps_says_that_one_is_missing(self):
        found = answer.work_out(make_attempts(STEPS[:9], 6.0 + SPREAD[:9], steps_now=12))

        assert found.distance == NotEnoughStepCounts(n=3, needed=4)
        said = answer.tell(found)
        assert said.more_attempts_needed == 1
        assert said.text.startswith("Not enough numbers of steps yet: 3 of 4")

    def test_of_too_few_attempts_says_how_many_are_missing(self):
        found = answer.work_out(make_attempts([8, 10, 12, 14], [6.0, 6.1, 6.2, 6.2]))

        assert isinstance(found.distance, NotEnoughAttempts)
        assert answer.tell(found).more_attempts_needed == found.distance.needed - 4

    def test_of_a_run_up_that_was_never_scored_goes_from_the_most_that_were(self):
        found = answer.work_out(make_attempts(STEPS, 6.0 + SPREAD, steps_now=18))

        assert isinstance(found.distance, LengthStudy)
        assert found.distance.from_steps == 14

    def test_counts_no_distance_of_a_no_jump(self):
        toe = np.full(12, 0.06)
        toe[0] = -0.02

        found = answer.work_out(make_attempts(STEPS, 6.0 + SPREAD, board_toe_m=toe))

        assert isinstance(found.distance, LengthStudy)
        assert found.distance.n == 11


class TestBeforeAnythingWasTried:
    def sprint(self, start: str = "standing") -> Any:
        time = time_to(np.array(SPLITS_M), top_speed_mps=10.0, rise_time_s=1.2)
        return (start, SPLITS_M, tuple(time.tolist()))

    def test_the_sprint_says_what_a_pair_should_bring(self):
        """M 10, tau 1.2 after 20 m: 0.23 m/s and 0.19 m (docs/metrics/length_study.md)."""
        found = answer.work_out(make_attempts([], [], run_m=20.0, sprints=(self.sprint(),)))

        assert found.expected is not None
        assert found.expected.speed_gain_mps == pytest.approx(0.23, abs=0.005)
        assert "would bring 0.23 m/s and about 19 cm" in answer.tell(found).text

    def test_a_flying_sprint_says_nothing_of_it(self):
        assert answer.profile_of(*self.sprint("flying")) is None

    def test_three_splits_are_too_few(self):
        start, at_m, time_s = self.sprint()

        assert answer.profile_of(start, at_m[:3], time_s[:3]) is None

    def test_a_gate_that_started_the_clock_is_allowed_for(self):
        """The gate stood 0.5 m after the start: without it tau would come out far too low."""
        at = np.array([0.5, 5.5, 10.5, 15.5, 20.5, 30.5, 40.5])
        time = time_to(at, top_speed_mps=9.0, rise_time_s=1.1)

        found = answer.profile_of(
            "standing", tuple((at - 0.5).tolist()), tuple((time - time[0]).tolist())
        )

        assert found is not None
        assert found.rise_time_s == pytest.approx(1.1, rel=0.02)

    def test_without_a_plan_there_is_no_length_to_go_on_from(self):
        found = answer.work_out(make_attempts([], [], run_m=None, sprints=(self.sprint(),)))

        assert found.expected is None


@pytest.mark.parametrize(
    "attempts",
    [
        make_attempts(STEPS, 9.3 - 0.02 * (STEPS - 17) ** 2 + SPREAD),
        make_attempts(STEPS, 9.3 - 0.05 * (STEPS - 11) ** 2 + SPREAD),
        make_attempts([], []),
        make_attempts([8, 10, 12, 14], [6.0, 6.1, 6.2, 6.2]),
    ],
    ids=["more is better", "a best one", "none", "few"],
)
class TestWords:
    def test_can_be_translated_whole(self, attempts, monkeypatch: pytest.MonkeyPatch):
        found = answer.work_out(attempts)
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        said = answer.tell(found)

        texts = [said.text, *(each.text for each in said.reasons), *said.would_change]
        assert [text for text in texts if depth_0_of(text).strip()] == []

    def test_leave_no_gap(self, attempts):
        said = answer.tell(answer.work_out(attempts))

        for text in (said.text, *(each.text for each in said.reasons), *said.would_change):
            assert text.endswith("."), text
            assert not any(odd in text for odd in ("nan", "None", "{", "..", "  ")), text
