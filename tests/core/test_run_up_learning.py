"""Footfalls learned from attempts: by hand, against least squares, by simulated athletes."""

import dataclasses
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core import run_up_learning, run_up_steering, simulator
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.run_up_learning import MIN_ATTEMPTS, Attempts, Learned, learn_footfalls
from analytics.core.run_up_model import Footfalls, StepFrequency, model_footfalls
from analytics.core.run_up_pace import RunUpSettings, Sprint
from analytics.core.run_up_steering import MOST_GAIN, USUAL_HABITS, Habits
from analytics.core.simulator import Athlete

NAN = float("nan")
TINY = 1e-6
NOBODY_STEERS = Habits(steered_steps=0, early_gain_sd=TINY, session_sd_m=TINY)


def model(*, steps: int = 16, top_speed_mps: float = 9.2, top_hz: float = 4.3) -> Footfalls:
    return model_footfalls(Sprint(top_speed_mps, 1.15), StepFrequency(top_hz), RunUpSettings(steps))


def learn(prior: Footfalls, toe, mark, session=None, habits: Habits = USUAL_HABITS) -> Learned:
    found = learn_footfalls(prior, Attempts(toe, mark, session), habits=habits)
    assert isinstance(found, Learned)
    return found


def in_rounds(
    athlete: Athlete, prior: Footfalls, *, rounds: int, attempts: int, seed: int
) -> tuple[Footfalls, np.ndarray]:
    """Let an athlete run from the mark that was learned so far; return what was learned last.

    Beside it, the plain means of all measured positions.
    """
    truth = simulator.plan_run_up(athlete).toe_m
    rng = np.random.default_rng(seed)
    toe, mark, session, known = [], [], [], prior
    for label in range(rounds):
        start = float(known.toe_m[-1])
        made = simulator.simulate(
            dataclasses.replace(athlete, mark_error_m=start - truth[-1]),
            attempts_by_session=[attempts],
            rng=rng,
        )
        toe.append(made.toe_m)
        mark += [start] * attempts
        session += [label] * attempts
        known = learn(prior, np.vstack(toe), mark, session).footfalls
    return known, np.nanmean(np.vstack(toe), axis=0)


class TestConvergence:
    """The designed run-up becomes the athlete's within 30 attempts."""

    # The model is 3.5 m too short or 1.8 m too long for these.
    LONG = (Athlete(n_steps=16, top_speed_mps=9.2, top_frequency_hz=4.1), model())
    SHORT = (
        Athlete(n_steps=18, top_speed_mps=8.6, steering_from=6, steering_gain=0.6),
        model(steps=18, top_speed_mps=9.8),
    )

    @pytest.mark.parametrize(("athlete", "prior"), [LONG, SHORT], ids=["long", "short"])
    def test_within_thirty_attempts(self, athlete: Athlete, prior: Footfalls):
        truth = simulator.plan_run_up(athlete).toe_m
        away = np.abs(prior.toe_m - truth)

        left = [
            np.abs(in_rounds(athlete, prior, rounds=5, attempts=6, seed=seed)[0].toe_m - truth)
            for seed in range(3)
        ]

        assert away[-1] > 1.5
        assert np.max(left, axis=0)[-1] < 0.20
        assert np.mean(left) < 0.07
        # The last steps, which the ground markers are laid for.
        assert np.max(left, axis=0)[:4] == pytest.approx(0.0, abs=0.10)

    def test_the_plain_mean_keeps_much_of_a_wrong_mark(self):
        athlete, _ = self.LONG
        truth = simulator.plan_run_up(athlete).toe_m
        prior = model(top_speed_mps=9.6, top_hz=4.1)
        assert truth[-1] - prior.toe_m[-1] > 0.5

        known, mean = in_rounds(athlete, prior, rounds=1, attempts=30, seed=5)

        assert abs(known.toe_m[-1] - truth[-1]) < abs(mean[-1] - truth[-1]) / 4


class TestByHand:
    def test_one_unsteered_step_is_a_weighted_mean(self):
        # A "run-up" whose only doubt is each step's own habit, nobody steers. Marks and readings
        # are exact, so the attempts tell of each step by itself.
        n_steps, step = 4, 2.0
        toe = np.array([0.06 + step * k for k in range(n_steps + 1)])
        prior = Footfalls(toe, np.minimum.outer(*[0.03**2 * np.arange(n_steps + 1)] * 2))
        exact = dataclasses.replace(NOBODY_STEERS, start_sd_m=TINY, reading_sd_m=TINY)
        # Each attempt starts at 8.06 m and makes each step 2.04 m, with no spread at all.
        own = 8.06 - (step + 0.04) * np.arange(n_steps + 1)[::-1]

        found = learn(prior, np.tile(own, (4, 1)), 8.06, habits=exact)

        # 4 attempts leave 2 degrees of freedom in each of 4 steps, beside 4 of the usual variance:
        # 0.0025 x 4 / 12 = 0.000833. Prior 0.0009, four attempts 0.000208: weight 0.812.
        weight = 0.03**2 / (0.03**2 + 0.05**2 / 3 / 4)
        steps = np.diff(found.footfalls.toe_m)
        assert steps == pytest.approx(step + weight * 0.04, abs=1e-4)
        assert found.own_share[1] == pytest.approx(weight, abs=1e-4)
        assert np.isnan(found.own_share[0])

    def test_a_wrong_mark_that_nobody_steers_against_is_moved_by_the_error(self):
        prior = model()
        # All land 0.50 m short of the model throughout: the mark was 0.50 m too far back.
        found = learn(
            prior,
            np.tile(prior.toe_m + 0.50, (40, 1)),
            prior.toe_m[-1] + 0.50,
            habits=NOBODY_STEERS,
        )

        assert found.footfalls.toe_m == pytest.approx(prior.toe_m, abs=1e-6)
        assert found.footfalls.n_attempts == 40

    def test_what_steering_hides_is_seen_before_it(self):
        # Natural steps as in the model, the mark 0.40 m too far back, and the last five steps take
        # 35 % each of it back, as is usual: the model is right, and stays.
        prior = model()
        deviation = np.full(17, 0.40)
        for k in range(5, 0, -1):
            deviation[k - 1] = deviation[k] * (1 - 0.35)

        found = learn(prior, np.tile(prior.toe_m + deviation, (12, 1)), prior.toe_m[-1] + 0.40)

        assert found.gain[:5] == pytest.approx(0.35)
        assert found.footfalls.toe_m == pytest.approx(prior.toe_m, abs=1e-6)

    def test_two_marks_tell_of_the_gains(self):
        # The model is right, and 60 % are taken back in each of the last five steps, which shows
        # only between the sessions: one from the right mark, one from 0.50 m too far back.
        prior = model()
        deviation = np.full(17, 0.50)
        for k in range(5, 0, -1):
            deviation[k - 1] = deviation[k] * (1 - 0.60)
        toe = np.vstack([np.tile(prior.toe_m + by * deviation, (10, 1)) for by in (0, 1)])
        mark = prior.toe_m[-1] + np.repeat([0.0, 0.50], 10)
        steady = dataclasses.replace(USUAL_HABITS, session_sd_m=0.01, step_sd_m=0.02)

        found = learn(prior, toe, mark, np.repeat([0, 1], 10), habits=steady)

        assert found.footfalls.toe_m == pytest.approx(prior.toe_m, abs=0.01)

    def test_gains_are_slopes_drawn_to_the_usual(self):
        # Footfall 1 varies by ±0.10 m in four attempts each way, and step 1 takes half of it back.
        # Weight of the attempts: 8 x 0.1^2 / 0.05^2 = 32; of the usual gain 1 / 0.25^2 = 16; so
        # (32 x 0.5 + 16 x 0.35) / 48 = 0.45.
        prior = model(steps=4)
        deviation = np.zeros((8, 5))
        deviation[:, 1:] = np.repeat([0.10, -0.10], 4)[:, None]
        deviation[:, 0] = 0.5 * deviation[:, 1]

        exact = dataclasses.replace(USUAL_HABITS, reading_sd_m=0.0)
        found = learn(prior, prior.toe_m + deviation, prior.toe_m[-1], habits=exact)

        assert found.gain[0] == pytest.approx(0.45)

    def test_the_reading_error_lends_no_gain(self):
        # Footfall 1 misread by ±0.10 m, nothing else: a mean square of 8 x 0.1^2 / 7, all of it the
        # reading error's.
        prior = model(steps=4)
        deviation = np.zeros((8, 5))
        deviation[:, 1] = np.repeat([0.10, -0.10], 4)

        habits = dataclasses.replace(USUAL_HABITS, reading_sd_m=0.10 * np.sqrt(8 / 7))
        found = learn(prior, prior.toe_m + deviation, prior.toe_m[-1], habits=habits)

        assert found.gain[0] == pytest.approx(0.35)


class TestLibraries:
    def test_without_steering_it_is_generalised_least_squares(self):
        # Each attempt alone is a random walk from its mark, so the runs to each footfall have the
        # covariance min(i, j) of their steps; the posterior of normal means is textbook.
        rng = np.random.default_rng(3)
        prior = model(steps=6)
        n = 9
        exact = dataclasses.replace(
            NOBODY_STEERS, step_sd_m=0.05, start_sd_m=TINY, reading_sd_m=1e-5
        )
        natural = prior.toe_m * 1.02
        steps = rng.normal(np.diff(natural), 0.05, (n, 6))
        mark = natural[-1] + rng.normal(0, 0.3, n)
        run = np.cumsum(steps[:, ::-1], axis=1)
        toe = np.column_stack([mark[:, None] - run[:, ::-1], mark])

        found = learn(prior, toe, mark, habits=exact)

        # The variance of a step that was used, worked out as the module says.
        centred = steps - steps.mean(axis=0)
        variance = (np.sum(centred**2) + 4 * 0.05**2) / (6 * (n - 2) + 4)
        noise = variance * np.minimum.outer(np.arange(1, 7), np.arange(1, 7)) / n
        # Runs from the start to footfalls n-1 .. 0, from the positions: run = theta_n - theta_k.
        to_run = np.zeros((6, 7))
        to_run[:, 6] = 1.0
        to_run[np.arange(6), 5 - np.arange(6)] = -1.0
        before = to_run @ prior.covariance_m2 @ to_run.T
        gain = before @ np.linalg.inv(before + noise)
        expected = to_run @ prior.toe_m + gain @ (run.mean(axis=0) - to_run @ prior.toe_m)
        assert to_run @ found.footfalls.toe_m == pytest.approx(expected, abs=1e-4)


class TestMissing:
    def test_any_footfalls_may_be_missing(self):
        rng = np.random.default_rng(8)
        made = simulator.simulate(Athlete(), attempts_by_session=[10, 10], rng=rng)
        truth = simulator.plan_run_up(Athlete()).toe_m
        toe = made.toe_m.copy()
        toe[rng.random(toe.shape) < 0.3] = NAN
        toe[:, 7] = NAN

        found = learn(model(), toe, truth[-1], made.session)

        assert np.abs(found.footfalls.toe_m - truth).max() < 0.2
        # Its neighbours tell of the one that was never measured, but not all.
        assert found.footfalls.sd_m[7] > found.footfalls.sd_m[[6, 8]].mean()

    def test_marks_alone_do_not_need_the_foot_at_the_start(self):
        made = simulator.simulate(
            Athlete(start_sd_m=0.02), attempts_by_session=[12], rng=np.random.default_rng(4)
        )
        truth = simulator.plan_run_up(Athlete()).toe_m
        toe = made.toe_m.copy()
        toe[:, -1] = NAN

        found = learn(model(), toe, truth[-1])

        assert np.abs(found.footfalls.toe_m - truth).max() < 0.25

    def test_sessions_tell_less_than_as_many_attempts_of_their_own(self):
        prior = model()
        toe, mark = np.tile(prior.toe_m, (12, 1)), prior.toe_m[-1]

        one = learn(prior, toe, mark, [1] * 12).footfalls.sd_m
        four = learn(prior, toe, mark, [0, 1, 2, 3] * 3).footfalls.sd_m

        assert one[-1] > 1.1 * four[-1]

    @pytest.mark.parametrize("n", range(MIN_ATTEMPTS))
    def test_too_few_attempts(self, n: int):
        prior = model()
        toe = np.full((5, 17), NAN)
        toe[:, 0] = 0.06  # the board alone tells nothing of the steps
        toe[:n] = prior.toe_m

        found = learn_footfalls(prior, Attempts(toe, prior.toe_m[-1]))

        assert found == NotEnoughAttempts(n=n, needed=MIN_ATTEMPTS)


def all_at_once(prior: Footfalls, toe, mark, session, *, near_m: float, habits: Habits):
    """Solve for positions, gains and every session's stretch in one system, row by row.

    The same normal regression without its shortcuts: one row for each measured footfall.
    """
    steering = run_up_steering.estimate_steering(toe, session, natural_m=prior.toe_m, habits=habits)
    n, n_days = toe.shape[1] - 1, session.max() + 1
    size = 2 * n + n_days
    precision, weighted = np.zeros((size, size)), np.zeros(size)
    inverse = np.linalg.inv(prior.covariance_m2[1:, 1:])
    precision[:n, :n], weighted[:n] = inverse, inverse @ prior.toe_m[1:]
    precision[n:, n:] = np.diag(np.append(1 / steering.gain_variance, np.ones(n_days)))
    for places, start, day in zip(toe, mark, session, strict=True):
        rows = np.zeros((n + 1, size))
        rows[1:, :n] = np.eye(n)
        rows[:, n - 1] -= steering.passed
        rows[:, n : 2 * n] = steering.bent * (start - near_m)
        rows[:, 2 * n + day] = steering.stretched
        rest = places - steering.passed * start - np.append(prior.toe_m[0], np.zeros(n))
        seen = ~np.isnan(places)
        weight = np.linalg.inv(steering.noise[np.ix_(seen, seen)])
        precision += rows[seen].T @ weight @ rows[seen]
        weighted += rows[seen].T @ weight @ rest[seen]
    covariance = np.linalg.inv(precision)
    return (covariance @ weighted)[:n], covariance[:n, :n]


class TestManySessions:
    def run(self, *, sessions: int, attempts: int, seed: int):
        rng = np.random.default_rng(seed)
        # An unmeasured no jump is no accident: without it the mean toe lies too far back.
        athlete = Athlete(unmeasured_no_jump_share=0.0)
        made = simulator.simulate(athlete, attempts_by_session=[attempts] * sessions, rng=rng)
        toe = made.toe_m.copy()
        toe[rng.random(toe.shape) < 0.15] = NAN
        return toe, made.session

    @pytest.mark.parametrize("sessions", [1, 9])
    def test_taken_out_one_by_one_leave_what_one_system_finds(self, sessions: int):
        toe, session = self.run(sessions=sessions, attempts=5, seed=12)
        prior = model()
        mark = 27.0 + 0.3 * np.sin(np.arange(session.size))

        found = learn(prior, toe, mark, session).footfalls

        mean, covariance = all_at_once(
            prior, toe, mark, session, near_m=found.toe_m[-1], habits=USUAL_HABITS
        )
        # It stops a tenth of a millimetre from where it would settle.
        assert found.toe_m[1:] == pytest.approx(mean, abs=1e-4)
        assert found.covariance_m2[1:, 1:] == pytest.approx(covariance, rel=1e-3, abs=1e-7)

    def test_a_thousand_need_little_room(self):
        """One system for all would hold 6000 x 17 x 1032 numbers, 0.8 GB, and take a minute."""
        toe, session = self.run(sessions=1000, attempts=6, seed=13)
        truth = simulator.plan_run_up(Athlete()).toe_m

        tracemalloc.start()
        found = learn(model(), toe, truth[-1], session)
        _, most_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()

        assert found.footfalls.n_attempts == 6000
        assert np.abs(found.footfalls.toe_m - truth).max() < 0.05
        assert most_bytes < 1e8


class TestProperties:
    @settings(deadline=None, max_examples=20)
    @given(st.integers(0, 10_000), st.integers(3, 12), st.floats(-1, 1))
    def test_the_doubt_only_shrinks(self, seed: int, n: int, off_m: float):
        athlete = Athlete(mark_error_m=off_m)
        made = simulator.simulate(athlete, attempts_by_session=[n], rng=np.random.default_rng(seed))
        prior = model()

        found = learn(prior, made.toe_m, simulator.plan_run_up(athlete).toe_m[-1] + off_m)

        assert found.footfalls.toe_m[0] == prior.toe_m[0]
        assert np.all(np.diff(found.footfalls.toe_m) > 0)
        assert np.all((found.own_share[1:] > 0) & (found.own_share[1:] < 1))
        assert np.all((found.gain >= 0) & (found.gain <= MOST_GAIN))
        assert np.linalg.eigvalsh(found.footfalls.covariance_m2).min() > -1e-12

    @settings(deadline=None, max_examples=20)
    @given(st.integers(0, 10_000))
    def test_the_order_of_attempts_does_not_count(self, seed: int):
        rng = np.random.default_rng(seed)
        made = simulator.simulate(Athlete(), attempts_by_session=[4, 3], rng=rng)
        order = rng.permutation(7)
        mark = 27.0 + rng.normal(0, 0.1, 7)

        one = learn(model(), made.toe_m, mark, made.session)
        other = learn(model(), made.toe_m[order], mark[order], made.session[order])

        assert other.footfalls.toe_m == pytest.approx(one.footfalls.toe_m)
        assert other.gain == pytest.approx(one.gain)


class TestRefusals:
    def test_a_model_without_doubt(self):
        prior = dataclasses.replace(model(), covariance_m2=np.zeros((17, 17)))

        with pytest.raises(ValueError, match="no doubt"):
            learn_footfalls(prior, Attempts(np.tile(prior.toe_m, (3, 1)), 26.4))

    @pytest.mark.parametrize(
        ("change", "mark", "match"),
        [
            (lambda toe: toe[:, :-1], 26.4, "17 footfalls"),
            (lambda toe: toe[0], 26.4, "17 footfalls"),
            (lambda toe: toe[:, ::-1], 26.4, "must grow"),
            (lambda toe: np.where(toe > 26, np.inf, toe), 26.4, "infinite"),
            (lambda toe: toe, NAN, "start_mark_m"),
            (lambda toe: toe, [26.4, 26.4], "start_mark_m"),
        ],
    )
    def test_what_cannot_be(self, change, mark, match: str):
        prior = model()

        with pytest.raises(ValueError, match=match):
            learn_footfalls(prior, Attempts(change(np.tile(prior.toe_m, (40, 1))), mark))

    def test_attempts_that_would_leave_a_step_no_length(self):
        # Footfall 1 a metre farther goes with footfall 2 a metre nearer: in nobody, but a model may
        # say so.
        way = np.array([1.0, -1.0, 0.0, 0.0])
        covariance = np.zeros((5, 5))
        covariance[1:, 1:] = 1e-4 * np.eye(4) + np.outer(way, way)
        prior = Footfalls(np.array([0.06, 2.06, 4.06, 6.06, 8.06]), covariance)
        toe = np.tile([0.06, 3.3, NAN, NAN, 8.06], (10, 1))

        with pytest.raises(ValueError, match="no length"):
            learn_footfalls(prior, Attempts(toe, 8.06), habits=NOBODY_STEERS)

    def test_attempts_that_no_start_mark_fits(self, monkeypatch: pytest.MonkeyPatch):
        monkeypatch.setattr(run_up_learning, "_MOST_PASSES", 1)
        prior = model()

        with pytest.raises(ValueError, match="no start mark"):
            learn_footfalls(prior, Attempts(np.tile(prior.toe_m + 0.3, (5, 1)), 26.0))
