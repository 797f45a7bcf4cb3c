"""What came after an advice, in words and without a database."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from analytics.answers import looking_back
from analytics.answers.looking_back import Afterwards
from analytics.models import Advice
from analytics.selectors import Landings
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import STARTED_AT, uuid_of

AIM_M, BEGAN_M = 0.06, 34.20
JITTER = np.array([-0.02, 0.02, -0.01, 0.01, -0.02, 0.02, 0.0, 0.0])
DECIDED_AT = STARTED_AT + timedelta(days=1)


def advice(**fields: Any) -> Advice:
    given = {
        "move_m": -0.12,
        "start_mark_m": 34.08,
        "began_m": BEGAN_M,
        "footfall": 0,
        "at_m": None,
        "limit_m": 0.05,
        **fields.pop("figures", {}),
    }
    return Advice(
        **{
            "kind": "mark",
            "answer": "move",
            "decision": "followed",
            "finish_class": "jump",
            "figures": given,
            "through_attempt_id": uuid_of(3, 7),
            "through_started_at": STARTED_AT + timedelta(minutes=7),
            "decided_at": DECIDED_AT,
            **fields,
        }
    )


def landings(
    before_m: float, after_m: float | None, *, mark_m: float = 34.08, footfall: int = 0
) -> Landings:
    """Return eight attempts with a mean error before, and eight after, unless None."""
    errors = [before_m + JITTER, *([] if after_m is None else [after_m + JITTER])]
    n = 8 * len(errors)
    toe_m = np.full((n, footfall + 1), np.nan)
    toe_m[:, footfall] = AIM_M + 2.1 * footfall + np.concatenate(errors)
    return Landings(
        ids=[uuid_of(3, place) for place in range(n)],
        started_at=[
            STARTED_AT + timedelta(days=2 * (place // 8), minutes=place % 8) for place in range(n)
        ],
        session_ids=[uuid_of(4, place // 4) for place in range(n)],
        no_jump=np.zeros(n, dtype=np.bool_),
        aim_m=np.full(n, AIM_M),
        start_mark_m=np.array([BEGAN_M] * 8 + [mark_m] * (n - 8)),
        toe_m=toe_m,
    )


def looked(record: Advice, found: Landings) -> Afterwards:
    afterwards = looking_back.look_back(record, found)
    assert afterwards is not None
    return afterwards


KEEP = {"answer": "keep", "figures": {"move_m": 0.0, "start_mark_m": BEGAN_M}}
CHECK = {"figures": {"footfall": 6, "at_m": AIM_M + 2.1 * 6, "limit_m": 0.10}}
CASES: dict[str, tuple[Afterwards, str]] = {
    "moved, right": (
        looked(advice(), landings(0.12, 0.01)),
        "The start mark was moved. Before, from 8 attempts, the foot landed 12 cm short at the "
        "board on the mean; since then, from 8 attempts, 1 cm short. It went the advised way: the "
        "advice was right.",
    ),
    "moved, wrong": (
        looked(advice(), landings(0.12, -0.20)),
        "The start mark was moved. Before, from 8 attempts, the foot landed 12 cm short at the "
        "board on the mean; since then, from 8 attempts, 20 cm too far toward the pit. It came no "
        "nearer: the advice was wrong.",
    ),
    "moved, not shown": (
        looked(advice(), landings(0.12, 0.12)),
        "The start mark was moved. Before, from 8 attempts, the foot landed 12 cm short at the "
        "board on the mean; since then, from 8 attempts, 12 cm short. That does not show yet "
        "whether the advice was right.",
    ),
    "left, right": (
        looked(advice(**CHECK), landings(0.2, 0.2, mark_m=BEGAN_M, footfall=6)),
        "The start mark was left where it was. Since then, from 8 attempts, the foot lands 20 cm "
        "short at the check mark on the mean. That is as the advice said: it was right.",
    ),
    "kept, wrong": (
        looked(advice(**KEEP), landings(0.0, 0.2, mark_m=BEGAN_M)),
        "The start mark was left where it was. Since then, from 8 attempts, the foot lands 20 cm "
        "short at the board on the mean. That is not what the advice said: it was wrong.",
    ),
    "moved otherwise": (
        looked(advice(), landings(0.12, 0.0, mark_m=34.50)),
        "The start mark was moved otherwise than advised: these attempts say nothing about the "
        "advice.",
    ),
    "mark unknown": (
        looked(advice(), landings(0.12, 0.0, mark_m=np.nan)),
        "Nobody said where these runs began: they say nothing about the advice.",
    ),
    "nothing since": (
        looked(advice(), landings(0.12, None)),
        "Not enough attempts since then: 0 of 5 measured at the board.",
    ),
    "little before": (
        looked(advice(), landings(np.nan, 0.0)),
        "Not enough attempts before it to compare with: 0 of 5 measured at the board.",
    ),
}


@pytest.mark.parametrize(("found", "said"), CASES.values(), ids=CASES)
class TestSentences:
    def test_say_what_was_found(self, found: Afterwards, said: str):
        assert looking_back.tell_of(found) == said

    def test_can_be_translated_whole(
        self, found: Afterwards, said: str, monkeypatch: pytest.MonkeyPatch
    ):
        put_in_brackets(monkeypatch)

        assert depth_0_of(looking_back.tell_of(found)).strip() == ""


def put_in_brackets(monkeypatch: pytest.MonkeyPatch) -> None:
    active = "django.utils.translation._trans"
    monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
    monkeypatch.setattr(f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]")


class TestAttempts:
    def test_after_the_decision_alone_count_as_after(self):
        found = looked(advice(decided_at=STARTED_AT + timedelta(days=2, minutes=1)), _both())

        # The first two of the later ones had started.
        assert found.after.n == 6

    def test_from_another_mark_do_not_count_as_before(self):
        others = landings(0.12, 0.0)
        others.start_mark_m[:3] = 34.50

        assert looked(advice(), others).before.n == 5

    def test_of_earlier_than_the_nearest_twenty_do_not_count(self):
        many = _times(_both(), 4)

        assert looked(advice(through_started_at=DECIDED_AT), many).before.n == 20

    @pytest.mark.parametrize("answer", ["undecided", "last_steps"])
    def test_cannot_check_what_claims_nothing(self, answer: str):
        assert looking_back.look_back(advice(answer=answer), _both()) is None


def _both() -> Landings:
    return landings(0.12, 0.0)


def _times(found: Landings, n: int) -> Landings:
    """Return the attempts of before n times over."""
    return Landings(
        ids=[uuid_of(3, place) for place in range(8 * n)],
        started_at=[STARTED_AT + timedelta(minutes=place) for place in range(8 * n)],
        session_ids=[uuid_of(4, place // 8) for place in range(8 * n)],
        no_jump=np.tile(found.no_jump[:8], n),
        aim_m=np.tile(found.aim_m[:8], n),
        start_mark_m=np.tile(found.start_mark_m[:8], n),
        toe_m=np.tile(found.toe_m[:8], (n, 1)),
    )


class TestTallies:
    def test_count_each_verdict_by_what_was_decided(self):
        pairs: Sequence[tuple[Advice, Afterwards | None]] = [
            (advice(plan_id=uuid_of(1, 1)), CASES["moved, right"][0]),
            (advice(plan_id=uuid_of(1, 2)), CASES["moved, wrong"][0]),
            (advice(plan_id=uuid_of(1, 3), decision="declined"), CASES["left, right"][0]),
            (advice(plan_id=uuid_of(1, 3), answer="undecided"), None),
        ]

        declined, followed = looking_back.count_up(pairs)

        assert (declined.decision, declined.n, declined.right) == ("declined", 1, 1)
        assert (followed.n, followed.right, followed.wrong) == (3, 1, 1)
        assert followed.nothing_to_check == 1
        assert looking_back.tell_tallies([declined, followed]) == (
            "4 decisions about advice. Of 3 that the attempts since then have shown, 2 were right "
            "and 1 wrong."
        )

    def test_count_the_latest_decision_on_one_answer_under_one_plan(self):
        later = advice(decision="declined", decided_at=DECIDED_AT + timedelta(hours=1))
        pairs = [(later, CASES["moved, right"][0]), (advice(), CASES["moved, right"][0])]

        (tally,) = looking_back.count_up(pairs)

        assert (tally.decision, tally.n) == ("declined", 1)

    @pytest.mark.parametrize("names", [[], ["nothing since"], ["moved, right"]])
    def test_can_be_translated_whole(self, names: list[str], monkeypatch: pytest.MonkeyPatch):
        put_in_brackets(monkeypatch)

        said = looking_back.tell_tallies(
            looking_back.count_up((advice(), CASES[name][0]) for name in names)
        )

        assert depth_0_of(said).strip() == ""


def spread_out(before_sd: float, after_sd: float | None, *, n: int = 12) -> Landings:
    """Return attempts of two sessions before and after, with these spreads about the aim."""
    wave = np.tile([1.0, -1.0, 0.5, -0.5], n // 4)
    wave = wave / wave.std(ddof=2)
    errors = [before_sd * wave, *([] if after_sd is None else [after_sd * wave])]
    total = n * len(errors)
    return Landings(
        ids=[uuid_of(3, place) for place in range(total)],
        started_at=[
            STARTED_AT + timedelta(days=2 * (place // n), minutes=place % n)
            for place in range(total)
        ],
        session_ids=[uuid_of(4, place // (n // 2)) for place in range(total)],
        no_jump=np.zeros(total, dtype=np.bool_),
        aim_m=np.full(total, AIM_M),
        start_mark_m=np.full(total, BEGAN_M),
        toe_m=AIM_M + np.concatenate(errors)[:, None],
    )


def of_kind(kind: str, answer: str, **fields: Any) -> Advice:
    return advice(
        kind=kind,
        answer=answer,
        through_attempt_id=uuid_of(3, 11),
        through_started_at=STARTED_AT + timedelta(minutes=11),
        **fields,
    )


class TestPractice:
    @pytest.mark.parametrize(
        ("after_sd", "verdict", "said"),
        [
            (0.04, "right", "It is steadier: the advice was right, as far as attempts can say."),
            (0.40, "wrong", "It is less steady: the advice did not help."),
            (0.15, "not_shown", "That does not show yet whether the advice was right."),
        ],
    )
    def test_is_held_against_the_spread(self, after_sd: float, verdict: str, said: str):
        found = looked(of_kind("practice", "late_steering"), spread_out(0.15, after_sd))

        assert (found.look.verdict, found.look.mark) == (verdict, None)
        assert found.look.sd_ratio == pytest.approx(after_sd / 0.15)
        text = looking_back.tell_of(found)
        assert text.startswith("Before, from 12 attempts, the toe spread by 15 cm at the board;")
        assert text.endswith(said)

    def test_that_was_declined_cannot_be_judged(self):
        record = of_kind("practice", "late_steering", decision="declined")

        assert looking_back.look_back(record, spread_out(0.15, 0.04)) is None

    @pytest.mark.parametrize(
        "answer", ["wrong_mark", "growth", "fatigue", "wind", "aim", "nothing"]
    )
    def test_against_anything_but_spread_cannot_be_judged(self, answer: str):
        assert looking_back.look_back(of_kind("practice", answer), spread_out(0.15, 0.04)) is None

    def test_waits_for_attempts(self):
        found = looked(of_kind("practice", "unsteady_part"), spread_out(0.15, None))

        assert found.look.verdict == "not_enough"
        assert looking_back.tell_of(found).startswith("Not enough attempts since then: 0 of")


class TestTheNumberOfSteps:
    @pytest.mark.parametrize(
        ("after_sd", "verdict", "said"),
        [
            (0.04, "right", "That is steady enough for more steps: the advice was right."),
            (0.30, "wrong", "That is not steady enough for more steps: the advice was wrong."),
            (0.10, "not_shown", "That does not show yet whether the advice was right."),
        ],
    )
    @pytest.mark.parametrize("decision", ["followed", "declined"])
    def test_is_held_against_the_steadiness_it_rested_on(
        self, after_sd: float, verdict: str, said: str, decision: str
    ):
        record = of_kind("length", "ready", figures={"ready_sd_m": 0.10}, decision=decision)

        found = looked(record, spread_out(0.08, after_sd))

        assert found.look.verdict == verdict
        assert looking_back.tell_of(found).endswith(said)

    @pytest.mark.parametrize("answer", ["not_yet", "undecided", "shorten"])
    def test_of_other_answers_claims_nothing_to_check(self, answer: str):
        record = of_kind("length", answer, figures={"ready_sd_m": 0.10})

        assert looking_back.look_back(record, spread_out(0.08, 0.04)) is None
