"""What to practise, and the rhythm of the last steps, in figures and words."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.answers import aim, practice_focus, rhythm
from analytics.core.conventions import Interval, NotEnoughAttempts
from analytics.core.diagnosis import Diagnosis, Finding, Trouble
from analytics.core.last_steps import LastSteps
from analytics.core.simulator import Athlete
from analytics.selectors import Marks
from analytics.services.figures import as_json
from tests.answers.run_ups import make_marks, make_run_ups, marks_of, simulated
from tests.core.troubles import TROUBLES

PLAN = marks_of(TROUBLES["none"])
STEADY = Athlete(unmeasured_no_jump_share=0.0)


class TestPracticeFocus:
    @pytest.mark.parametrize(
        ("trouble", "main", "said"),
        [
            ("wrong mark", Trouble.WRONG_MARK, "See to the start mark first"),
            ("unsteady part", Trouble.UNSTEADY_PART, "Rehearse the acceleration"),
            ("late steering", Trouble.LATE_STEERING, "Practise to steer earlier"),
            ("fatigue", Trouble.FATIGUE, "Shorten the sessions or rest longer"),
            ("growth", Trouble.GROWTH, "Take all marks anew"),
            ("none", None, "These attempts show nothing that should be put right first"),
        ],
    )
    def test_names_what_was_put_in(self, trouble: str, main: Trouble | None, said: str):
        found = practice_focus.work_out(simulated(TROUBLES[trouble], [5] * 8, seed=1, marks=PLAN))

        assert isinstance(found.diagnosis, Diagnosis)
        assert found.diagnosis.main is main
        told = practice_focus.tell(found)
        assert told.text.startswith(said)
        assert told.caution is not None
        # A line is judged on the side on which it goes; of growth speaks a reason of its own.
        assert {each.code for each in told.reasons} - {"outgrown"} == {
            each.trouble.value for each in found.diagnosis.findings
        }
        assert len(found.diagnosis.findings) == 7

    def test_says_why_a_mark_is_not_wrong_that_the_tired_miss_later(self):
        toe = np.tile(np.asarray(PLAN.toe_m), (12, 1))
        chance = 0.17 * np.array([1, -1, -1, 1, 1, -1])
        toe[:, 5:] += np.tile(0.02 + 0.08 * np.arange(6) + chance, 2)[:, None]

        found = practice_focus.work_out(make_run_ups(toe, marks=PLAN, session=[0] * 6 + [1] * 6))

        told = practice_focus.tell(found)
        reasons = {each.code: each for each in told.reasons}
        assert told.text.startswith("Shorten the sessions or rest longer")
        assert "the first attempts of a session more likely meet it" in reasons["wrong_mark"].text
        assert "it counts below 10%" in reasons["fatigue"].text
        assert reasons["fatigue"].numbers["limit"] == 0.9

    @pytest.mark.parametrize(
        ("athlete", "trouble", "said", "named"),
        [
            (
                replace(TROUBLES["none"], growth=-0.006),
                Trouble.SHORTER_LATER,
                "lands 8 cm farther from the pit. Growth would do the opposite",
                "A shortening of the steps from session to session is shown",
            ),
            (
                replace(TROUBLES["none"], fatigue=-0.006),
                Trouble.LONGER_EACH_TIME,
                "lands 7 cm farther toward the pit than the one before. Tiredness would do the",
                "A lengthening of the steps within sessions is shown",
            ),
        ],
    )
    def test_calls_nothing_growth_or_tiredness_that_goes_the_other_way(
        self, athlete: Athlete, trouble: Trouble, said: str, named: str
    ):
        """Growth lengthens the steps of a run-up from the same mark, tiredness shortens them."""
        runs = simulated(athlete, [5] * 8, seed=1, marks=PLAN)
        found = practice_focus.work_out(runs).diagnosis
        assert isinstance(found, Diagnosis)
        first = found.findings[0]
        assert first.trouble is trouble
        assert first.shown

        told = practice_focus.tell(practice_focus.work_out(runs))

        assert said in told.text
        assert told.reasons[0].text.startswith(named)
        assert told.reasons[0].numbers["estimate"] == first.estimate

    def test_says_of_a_line_how_seldom_chance_draws_it(self):
        """1 - p is no chance that the trouble is there."""
        found = practice_focus.work_out(simulated(STEADY, [5] * 8, seed=1, marks=PLAN))
        assert isinstance(found.diagnosis, Diagnosis)
        (line,) = [
            each
            for each in found.diagnosis.findings
            if each.trouble in {Trouble.GROWTH, Trouble.SHORTER_LATER}
        ]

        (reason,) = [
            each for each in practice_focus.tell(found).reasons if each.code == line.trouble.value
        ]

        chance = 100 * (1 - line.probability)
        assert f"Chance alone would make as much in {chance:.0f}% of cases" in reason.text
        assert reason.numbers["limit"] == 0.98

    @pytest.mark.parametrize(
        ("trouble", "first", "estimate", "why"),
        [
            (Trouble.UNSTEADY_PART, Trouble.LATE_STEERING, 0.2, "But late steering goes first."),
            (Trouble.UNSTEADY_PART, Trouble.WRONG_MARK, 0.2, "But no one part of the run-up"),
            (Trouble.WRONG_MARK, Trouble.GROWTH, 0.3, "But it changes from session to session"),
            (Trouble.WIND, Trouble.WRONG_MARK, 0.1, "But the foot came down farther from the pit"),
        ],
    )
    def test_says_why_it_does_not_name_what_is_likely_enough(
        self, trouble: Trouble, first: Trouble, estimate: float, why: str
    ):
        """Else "not shown" would stand beside a chance above its own limit."""
        shown, hidden = (
            Finding(
                trouble=each,
                shown=each is first,
                probability=0.99,
                estimate=estimate,
                interval=Interval(estimate, estimate, 0.95),
                size_m=0.1,
                part="attack",
            )
            for each in (first, trouble)
        )
        found = practice_focus.work_out(simulated(STEADY, [5] * 8, seed=1, marks=PLAN))
        told = practice_focus.tell(
            replace(found, diagnosis=Diagnosis(40, 8, first, (shown, hidden)))
        )

        reasons = {each.code: each.text for each in told.reasons}
        assert why in reasons[trouble.value]
        assert any(why in each for each in told.would_change)
        assert "But " not in reasons[first.value]

    def test_says_what_could_not_be_judged(self):
        runs = simulated(STEADY, [6], seed=1, marks=PLAN, wind_mps=np.full(6, np.nan))

        changes = practice_focus.tell(practice_focus.work_out(runs)).would_change

        assert any("Wind readings" in each for each in changes)
        assert any("Four sessions" in each for each in changes)

    def test_looks_at_the_latest_revision_only(self):
        late = marks_of(STEADY, revision=2)
        runs = simulated(STEADY, [6] * 3, seed=1, marks=PLAN)
        runs = replace(
            runs, plan_ids=[PLAN.id] * 6 + [late.id] * 12, marks={PLAN.id: PLAN, late.id: late}
        )

        found = practice_focus.work_out(runs).diagnosis

        assert isinstance(found, Diagnosis)
        assert found.n == 12

    @pytest.mark.parametrize(
        "plan", [replace(PLAN, toe_m=None), replace(PLAN, transition_footfall=None)]
    )
    def test_asks_for_what_the_plan_lacks(self, plan: Marks):
        found = practice_focus.work_out(simulated(STEADY, [9], seed=1, marks=plan))

        assert not found.is_planned
        assert practice_focus.tell(found).would_change == (
            "A plan with its footfalls, and where transition and attack begin.",
        )

    def test_takes_the_start_mark_where_the_first_footfall_was_not_measured(self):
        runs = simulated(TROUBLES["unsteady part"], [5] * 8, seed=1, marks=PLAN)
        runs.toe_m[:, -1] = np.nan

        found = practice_focus.work_out(runs).diagnosis

        assert isinstance(found, Diagnosis)
        assert found.main is Trouble.UNSTEADY_PART

    @pytest.mark.parametrize("trouble", ["none", "late steering"])
    def test_finds_the_same_without_the_aim_and_works_out_none(
        self, trouble: str, monkeypatch: pytest.MonkeyPatch
    ):
        runs = simulated(TROUBLES[trouble], [5] * 8, seed=1, marks=PLAN)
        found = practice_focus.work_out(runs)
        monkeypatch.setattr(aim, "work_out", lambda _: 1 / 0)

        alone = practice_focus.diagnose(runs)

        assert as_json(alone.diagnosis) == as_json(found.diagnosis)
        assert as_json(alone.growing) == as_json(found.growing)


class TestRhythm:
    def test_says_the_lengths_as_in_the_worked_example(self):
        """Steps of 2.15, 2.25 and 2.00 m (docs/metrics/last_steps.md): 12.5 % longer."""
        found = rhythm.work_out(make_run_ups([[0.06, 2.06, 4.31, 6.46]] * 6))

        assert isinstance(found.last_steps, LastSteps)
        said = rhythm.tell(found)
        assert said.text.startswith("The last but one step is 12% longer than the last.")
        assert "The usual medium, long, short came in 6 of 6 attempts." in said.text
        assert "To look for chopped or reaching steps takes 15 attempts; there are 6." in said.text

    def test_says_when_the_last_step_is_the_longer_one(self):
        said = rhythm.tell(rhythm.work_out(make_run_ups([[0.06, 2.31, 4.31, 6.46]] * 6)))

        assert said.text.startswith("The last but one step is 11% shorter than the last.")

    def test_holds_contacts_against_the_plan(self):
        marks = make_marks(last_contacts=("ball", "heel", "flat"))
        seen = [("ball", "heel", "flat")] * 4 + [("ball", "flat", "flat")] * 2
        runs = make_run_ups([[0.06, 2.06, 4.31, 6.46]] * 6, marks=marks, contacts=seen)

        said = rhythm.tell(rhythm.work_out(runs))

        assert "The feet met the ground as planned (ball, heel, flat) in 4 of 6." in said.text

    def test_names_the_attempts_with_chopped_steps(self):
        """Twenty even runs; in the fifth, steps 3 and 4 are short and quick, for no need."""
        rng = np.random.default_rng(3)
        toe = 0.06 + 2.2 * np.arange(7) + rng.normal(0, 0.02, (20, 7))
        down = -0.24 * np.arange(7) + np.zeros((20, 1))
        toe[4, :4] += [0.50, 0.50, 0.50, 0.25]
        down[4, 3:] += 0.04
        down[4, 4:] += 0.04
        runs = make_run_ups(toe, touchdown_s=down)

        found = rhythm.work_out(runs)

        assert not isinstance(found.step_faults, NotEnoughAttempts)
        assert [each.attempt for each in found.step_faults.flagged] == [runs.ids[4]]
        assert "Of 20 attempts 1 had chopped steps before the board and 0 a reaching step." in (
            rhythm.tell(found).text
        )

    def test_does_not_call_steps_good_that_nobody_timed(self):
        toe = 0.06 + 2.2 * np.arange(7) + np.zeros((20, 1))

        said = rhythm.tell(rhythm.work_out(make_run_ups(toe)))

        assert "Without touchdown times nobody can tell" in said.text
        assert "Touchdown times." in said.would_change

    def test_of_a_run_up_of_two_steps_has_no_third_last(self):
        assert rhythm.tell(rhythm.work_out(make_run_ups([[0.06, 2.0, 4.0]] * 6))).text
