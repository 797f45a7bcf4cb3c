"""Diagnosis: planted troubles are named, an athlete without one is left alone."""

import collections

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core import diagnosis
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.diagnosis import Diagnosis, Trouble
from analytics.core.simulator import SimulatedAttempts
from tests.core import troubles

SESSIONS = {6: [6], 12: [6, 6], 20: [5] * 4, 40: [5] * 8}


def diagnosed(made: SimulatedAttempts, **options) -> Diagnosis:
    options.setdefault("plan", troubles.PLAN)
    options.setdefault("wind_mps", made.wind_mps)
    found = diagnosis.diagnose(
        made.toe_m, made.no_jump, rng=np.random.default_rng(1), session=made.session, **options
    )
    assert isinstance(found, Diagnosis)
    return found


def named(trouble: str, n: int, runs: int) -> collections.Counter[Trouble | None]:
    """Return which trouble was named first, how often."""
    return collections.Counter(
        diagnosed(troubles.attempts_with(trouble, SESSIONS[n], seed=seed)).main
        for seed in range(runs)
    )


class TestAPlantedTrouble:
    @pytest.mark.parametrize(
        ("trouble", "name", "share"),
        [
            ("wrong mark", Trouble.WRONG_MARK, 0.9),
            ("unsteady part", Trouble.UNSTEADY_PART, 0.65),
            ("late steering", Trouble.LATE_STEERING, 0.75),
            ("fatigue", Trouble.FATIGUE, 0.8),
            ("growth", Trouble.GROWTH, 0.85),
        ],
    )
    def test_is_named_with_40_attempts(self, trouble: str, name: Trouble, share: float):
        counts = named(trouble, 40, runs=30)

        assert counts[name] >= share * 30, counts

    def test_the_part_that_is_unsteady_is_named(self):
        found = diagnosed(troubles.attempts_with("unsteady part", SESSIONS[40], seed=1))

        finding = next(each for each in found.findings if each.trouble is Trouble.UNSTEADY_PART)
        assert (finding.shown, finding.part) == (True, "acceleration")

    def test_of_the_last_steps_is_not_laid_on_the_mark(self):
        made = troubles.attempts_with("none", SESSIONS[20], seed=3)
        made.toe_m[:, 0] += 0.15

        found = diagnosed(made)

        assert found.main is Trouble.LAST_STEPS
        mark = next(each for each in found.findings if each.trouble is Trouble.WRONG_MARK)
        assert not mark.shown

    def test_nobody_has_is_seldom_named(self):
        counts = named("none", 20, runs=60)

        assert counts[None] >= 0.8 * 60, counts


class TestTheAnswer:
    def test_puts_shown_findings_first_and_the_larger_before_the_smaller(self):
        found = diagnosed(troubles.attempts_with("wrong mark", SESSIONS[20], seed=2))

        assert [each.shown for each in found.findings] == sorted(
            (each.shown for each in found.findings), reverse=True
        )
        shown = [each.size_m for each in found.findings if each.shown]
        assert shown == sorted(shown, reverse=True)
        assert found.main is found.findings[0].trouble

    def test_says_how_far_off_the_mark_is(self):
        found = diagnosed(troubles.attempts_with("wrong mark", SESSIONS[40], seed=2))

        mark = found.findings[0]
        assert mark.interval.low < 0.25 < mark.interval.high
        assert mark.size_m == abs(mark.estimate)

    def test_leaves_out_what_cannot_be_judged(self):
        made = troubles.attempts_with("none", [8], seed=2)

        found = diagnosed(made, wind_mps=None)

        judged = {each.trouble for each in found.findings}
        assert Trouble.WIND not in judged
        assert Trouble.GROWTH not in judged


class TestEdges:
    def test_five_attempts_are_not_enough(self):
        made = troubles.attempts_with("none", [5], seed=1)

        assert diagnosis.diagnose(
            made.toe_m, made.no_jump, plan=troubles.PLAN, rng=np.random.default_rng(1)
        ) == NotEnoughAttempts(n=5, needed=6)

    def test_equal_attempts_show_nothing(self):
        plan = np.asarray(troubles.PLAN.toe_m)
        found = diagnosis.diagnose(
            np.tile(plan, (12, 1)),
            np.zeros(12, bool),
            plan=troubles.PLAN,
            rng=np.random.default_rng(1),
        )

        assert isinstance(found, Diagnosis)
        assert found.main is None

    def test_bad_input_is_refused(self):
        made = troubles.attempts_with("none", [8], seed=1)
        rng = np.random.default_rng(1)
        with pytest.raises(ValueError, match="footfalls of the plan"):
            diagnosis.diagnose(made.toe_m[:, :5], made.no_jump, plan=troubles.PLAN, rng=rng)
        with pytest.raises(ValueError, match="check footfall"):
            diagnosis.diagnose(
                made.toe_m,
                made.no_jump,
                plan=diagnosis.Plan(troubles.PLAN.toe_m, troubles.PLAN.phase_starts, 16),
                rng=rng,
            )
        with pytest.raises(ValueError, match="wind_mps"):
            diagnosis.diagnose(
                made.toe_m, made.no_jump, plan=troubles.PLAN, rng=rng, wind_mps=[1.0]
            )


class TestProperties:
    @settings(max_examples=25, deadline=None)
    @given(seed=st.integers(0, 2**31), missing=st.floats(0, 0.4))
    def test_finite_findings_whatever_is_missing(self, seed, missing):
        made = troubles.attempts_with("none", [6] * 4, seed=seed)
        rng = np.random.default_rng(seed)
        made.toe_m[rng.random(made.toe_m.shape) < missing] = np.nan

        found = diagnosis.diagnose(
            made.toe_m,
            made.no_jump,
            plan=troubles.PLAN,
            rng=rng,
            session=made.session,
            wind_mps=made.wind_mps,
        )

        if isinstance(found, Diagnosis):
            for finding in found.findings:
                assert np.isfinite(finding.probability)
                assert 0 <= finding.probability <= 1
                assert np.isfinite(finding.size_m)


class TestALineThatChanceDrew:
    def test_does_not_carry_the_mean_off(self):
        """Without a shown line on the place the mean error is the mean of the errors."""
        made = troubles.attempts_with("wrong mark", [6] * 3, seed=5)
        planned = np.asarray(troubles.PLAN.toe_m)
        error = made.toe_m[:, troubles.PLAN.check_footfall] - planned[troubles.PLAN.check_footfall]

        found = diagnosed(made, wind_mps=None)

        finding = {each.trouble: each for each in found.findings}
        lines = {Trouble.FATIGUE, Trouble.LONGER_EACH_TIME} & set(finding)
        assert not any(finding[each].shown for each in lines)
        assert finding[Trouble.WRONG_MARK].estimate == pytest.approx(error.mean())

    def test_over_sessions_hides_no_wrong_mark_of_who_did_not_grow(self):
        """A mark 0.5 m wrong, and a drift toward the pit of 8 cm a session."""
        made = troubles.attempts_with("none", [5] * 6, seed=1)
        made.toe_m[:] += 0.7 - 0.08 * made.session[:, None]

        unknown, denied = (diagnosed(made, grew=each) for each in (None, False))

        assert unknown.main is Trouble.GROWTH
        assert denied.main is Trouble.WRONG_MARK
        assert {each.trouble for each in denied.findings if each.shown} >= {
            Trouble.WRONG_MARK,
            Trouble.LONGER_LATER,
        }


class TestSides:
    @pytest.mark.parametrize(
        ("toward_the_pit_m", "trouble"),
        [(0.08, Trouble.GROWTH), (-0.08, Trouble.SHORTER_LATER)],
    )
    def test_of_a_line_over_sessions(self, toward_the_pit_m: float, trouble: Trouble):
        """Longer steps end nearer the pit (Meyers et al. 2017): only that is called growth."""
        made = troubles.attempts_with("none", [5] * 8, seed=1)
        made.toe_m[:] -= toward_the_pit_m * made.session[:, None]

        found = diagnosed(made)

        assert {each.trouble for each in found.findings if each.shown} >= {trouble}
        both = {Trouble.GROWTH, Trouble.SHORTER_LATER}
        assert both & {each.trouble for each in found.findings} == {trouble}

    @pytest.mark.parametrize(
        ("short_m", "trouble"), [(0.06, Trouble.FATIGUE), (-0.06, Trouble.LONGER_EACH_TIME)]
    )
    def test_of_a_line_within_sessions(self, short_m: float, trouble: Trouble):
        """Shorter steps end farther from the pit (Girard et al. 2013): only that is tiredness."""
        made = troubles.attempts_with("none", [8] * 4, seed=1)
        made.toe_m[:] += short_m * np.tile(np.arange(8), 4)[:, None]

        found = diagnosed(made)

        assert {each.trouble for each in found.findings if each.shown} >= {trouble}
        both = {Trouble.FATIGUE, Trouble.LONGER_EACH_TIME}
        assert both & {each.trouble for each in found.findings} == {trouble}


class TestTiredness:
    """From attempt to attempt 8 cm farther from the pit, among 17 cm of chance; two sessions."""

    def missed(self, at_first_m: float, *, each_m: float = 0.08) -> SimulatedAttempts:
        made = troubles.attempts_with("none", [6, 6], seed=1)
        chance = 0.17 * np.array([1, -1, -1, 1, 1, -1])
        made.toe_m[:] = troubles.PLAN.toe_m
        made.toe_m[:, 5:] += np.tile(at_first_m + each_m * np.arange(6) + chance, 2)[:, None]
        made.no_jump[:] = False
        return made

    def test_that_is_hardly_shown_is_no_wrong_mark_where_the_mark_is_met_at_first(self):
        found = {each.trouble: each for each in diagnosed(self.missed(0.02)).findings}

        # The mean is off by 22 cm, so the mark would be wrong; the line alone would not be shown.
        assert found[Trouble.WRONG_MARK].probability >= 0.8
        assert not found[Trouble.WRONG_MARK].shown
        assert 0.90 < found[Trouble.FATIGUE].probability < 0.98
        assert found[Trouble.FATIGUE].shown

    def test_leaves_a_mark_wrong_that_is_missed_from_the_first_attempt_on(self):
        found = {each.trouble: each for each in diagnosed(self.missed(0.2)).findings}

        assert found[Trouble.WRONG_MARK].shown
        assert not found[Trouble.FATIGUE].shown

    def test_that_is_hardly_shown_is_not_named_where_nothing_is_missed(self):
        assert diagnosed(self.missed(-0.2)).main is None

    def test_goes_one_way_only(self):
        toward_the_pit = diagnosed(self.missed(-0.02, each_m=-0.08))

        assert toward_the_pit.main is Trouble.WRONG_MARK
