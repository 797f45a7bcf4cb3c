"""Figures are always those of the data, whichever way the data came."""

import random
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analytics import selectors
from analytics.core import alert_rules
from analytics.models import SeriesPoint, SeriesState
from analytics.services import figures, refreshing, sweeping
from analytics.services.method import METHOD
from approaches.models import Approach, Attempt, FinishClass, PendingRefresh
from approaches.services import storing
from common import broker
from common.club_scope import club_scope
from tests.analytics.conftest import LATER, SEASON_START, Season, draw
from tests.factories import make_caller, make_plan


class TestAgainstPandas:
    def test_rolling_figures_equal_a_plain_recomputation(self, season: Season):
        for toes in draw(1, 9):
            season.add_session(toes)
        season.push()
        season.refresh()

        with club_scope(season.scene.club):
            toes = pd.Series(
                [
                    np.nan if toe is None else toe
                    for toe in Attempt.objects.order_by("started_at").values_list(
                        "toe_m__0", flat=True
                    )
                ],
                dtype=float,
            )
            points = list(SeriesPoint.objects.order_by("started_at"))
        error = toes - season.scene.plan.aim_m
        # pandas: rolling mean and SD over the measured of the last 20 attempts.
        window = error.rolling(20, min_periods=1)
        counts = error.notna().rolling(20, min_periods=1).sum()
        assert len(points) == 45
        for point, mean, sd, count in zip(points, window.mean(), window.std(), counts, strict=True):
            assert point.n_measured == count
            if count >= 5:
                assert point.bias_m == pytest.approx(mean, abs=1e-12)
                assert point.spread_m == pytest.approx(sd, abs=1e-12)
            else:
                assert point.bias_m is None

    def test_speeds_and_rhythm_equal_a_plain_recomputation(self, season: Season):
        for toes in draw(1, 9):
            season.add_session(toes)
        season.push()
        season.refresh()

        with club_scope(season.scene.club):
            points = list(SeriesPoint.objects.order_by("started_at"))
        lengths: list[float] = []
        gains: list[float] = []
        for reading in season.readings:
            toe = pd.Series(reading["footfalls"]["toe_m"], dtype=float)
            steps = toe.diff().iloc[1:].tolist()
            lengths.append(steps[0] / steps[2] if len(steps) == 3 else np.nan)
            gates = reading.get("gates") or {"at_m": [0]}
            # Those that stand elsewhere are interpolated, which has tests of its own.
            if gates["at_m"][1:] == [11, 6, 1]:
                first_s, second_s = np.diff(gates["time_s"])[1:]
                gains.append(5 / second_s - 5 / first_s)
            else:
                gains.append(np.nan)
        ratio = pd.Series(lengths).rolling(20, min_periods=5)
        at_gates = pd.Series(gains).rolling(20, min_periods=1)
        expected = zip(points, ratio.mean(), ratio.std(), at_gates.count(), strict=True)
        for point, mean, sd, n_at_gates in expected:
            assert point.n_speeds_at_gates == n_at_gates <= point.n_speeds
            if np.isnan(mean):
                assert point.length_ratio_1 is None
            else:
                assert point.length_ratio_1 == pytest.approx(mean, abs=1e-12)
                assert point.length_ratio_1_sd == pytest.approx(sd, abs=1e-12)
        # Every second of five attempts passed gates elsewhere, every third none.
        assert (points[-1].n, points[-1].n_speeds) == (20, 16)
        assert points[-1].n_speeds_at_gates == 12
        gain, low = points[-1].speed_gain_mps, points[-1].speed_gain_low_mps
        assert gain is not None
        assert low is not None
        assert low < gain

    def test_only_gates_where_they_are_needed_give_the_gain_of_the_last_window(
        self, season: Season
    ):
        for toes in draw(2, 4):
            season.add_session(toes)
        gates = {"at_m": [11, 6, 1], "time_s": [4.0, 4.5, 5.02]}
        season.push([each | {"gates": gates} for each in season.readings])
        season.refresh()

        with club_scope(season.scene.club):
            point = SeriesPoint.objects.order_by("started_at").last()
        # 5 m in 0.50 s and in 0.52 s.
        assert point is not None
        assert (point.n_speeds, point.n_speeds_at_gates) == (20, 20)
        assert point.speed_gain_mps == pytest.approx(5 / 0.52 - 10)


class TestAnyOrder:
    @pytest.mark.parametrize("seed", range(6))
    def test_shuffled_pushes_and_refreshes_end_as_a_rebuild(self, season: Season, seed: int):
        chance = random.Random(seed)  # noqa: S311  # a test's dice
        print(f"seed {seed}")
        for toes in draw(seed, 6):
            season.add_session(toes)
        for toes in draw(seed + 100, 8, mean=0.30):
            season.add_session(toes)
        readings = season.readings * 2
        chance.shuffle(readings)
        while readings:
            count = chance.randint(1, 25)
            batch, readings = readings[:count], readings[count:]
            season.push(batch)
            if chance.random() < 0.6:
                season.refresh(now=SEASON_START + timedelta(days=chance.uniform(0, 40)))
        season.refresh()
        by_and_by = season.stored()

        season.refresh(whole=True)

        assert by_and_by == season.stored()
        assert len(by_and_by["points"]) == 70
        assert len(by_and_by["sessions"]) == 14
        assert any(alert["kind"] == "level" for alert in by_and_by["alerts"])

    def test_a_voided_attempt_leaves_no_trace(self, season: Season):
        for toes in draw(3, 6):
            season.add_session(toes)
        season.push()
        season.refresh()
        with club_scope(season.scene.club):
            victim = Attempt.objects.order_by("started_at")[7]
            Attempt.objects.filter(id=victim.id).update(voided_at=LATER)
            storing.mark_changed(
                club=season.scene.club,
                first_changed={(season.scene.approach.id, "jump"): victim.started_at},
            )

        season.refresh()

        after = season.stored()
        season.refresh(whole=True)
        assert after == season.stored()
        assert after["states"][0]["n_attempts"] == 29

    def test_a_second_refresh_finds_nothing_to_do(self, season: Season):
        season.add_session([0.1] * 3)
        season.push()

        assert season.refresh() is True
        assert season.refresh() is False


class TestCoalescing:
    @pytest.fixture(autouse=True)
    def all_are_quick(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Let no refresh count as a long one, however busy the machine is."""
        monkeypatch.setattr(refreshing, "LONGEST_WAIT_S", 60.0)

    def test_many_pushes_are_one_refresh(self, season: Season):
        for toes in draw(2, 10):
            season.add_session(toes)
        for reading in season.readings:
            season.push([reading])

        assert season.refresh() is True

        with club_scope(season.scene.club):
            assert SeriesState.objects.get().revision == 1
            assert SeriesPoint.objects.count() == 50
            assert not PendingRefresh.objects.exists()

    def test_a_push_during_a_refresh_keeps_its_row(
        self, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        season.add_session([0.1] * 3)
        season.push()
        latest = figures.latest_figures

        def push_meanwhile(series: Any) -> Any:
            PendingRefresh.objects.update(revision=99)
            return latest(series)

        monkeypatch.setattr(figures, "latest_figures", push_meanwhile)
        season.refresh()

        with club_scope(season.scene.club):
            assert PendingRefresh.objects.get().revision == 99

    def test_work_that_came_during_a_refresh_waits_since_then_only(
        self, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        season.add_session([0.1] * 3)
        season.push()
        with club_scope(season.scene.club):
            PendingRefresh.objects.update(waiting_since=SEASON_START, failures=3)
            PendingRefresh.objects.update(next_try_at=SEASON_START)
        latest = figures.latest_figures

        def push_meanwhile(series: Any) -> Any:
            PendingRefresh.objects.update(revision=99)
            return latest(series)

        monkeypatch.setattr(figures, "latest_figures", push_meanwhile)
        season.refresh()

        with club_scope(season.scene.club):
            waiting = PendingRefresh.objects.get()
        assert waiting.failures == 0
        assert waiting.waiting_since > SEASON_START + timedelta(days=100)


@pytest.mark.django_db(transaction=True)
class TestPoison:
    def test_a_series_that_raises_backs_off_and_stops_no_other(
        self, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        season.add_session([0.1] * 3)
        season.push()
        run_through = season.readings[0] | {"external_id": "other", "finish": "run_through"}
        season.push([run_through])
        latest = figures.latest_figures

        def poison(series: selectors.Series) -> Any:
            if series.finish_class is FinishClass.JUMP:
                raise ZeroDivisionError
            return latest(series)

        monkeypatch.setattr(figures, "latest_figures", poison)
        monkeypatch.setattr(broker, "note_sweep", lambda: None)

        assert sweeping.sweep_refreshes() == 2
        assert sweeping.sweep_refreshes() == 0  # it waits its turn

        with club_scope(season.scene.club):
            poisoned = PendingRefresh.objects.get()
            (computed,) = SeriesState.objects.all()
        assert (poisoned.finish_class, poisoned.failures) == ("jump", 1)
        assert poisoned.last_error == "ZeroDivisionError"
        assert computed.finish_class == "run_through"

    def test_waits_twice_as_long_each_time(self, season: Season, monkeypatch: pytest.MonkeyPatch):
        season.add_session([0.1])
        season.push()
        monkeypatch.setattr(figures, "latest_figures", lambda _series: 1 / 0)
        waits, now = [], LATER
        for _ in range(3):
            season.refresh(now=now)
            with club_scope(season.scene.club):
                next_try_at = PendingRefresh.objects.get().next_try_at
            waits.append((next_try_at - now).total_seconds())
            now = next_try_at

        assert waits == [2, 4, 8]

    def test_a_push_does_not_bring_it_forward(
        self, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        season.add_session([0.1, 0.2])
        season.push(season.readings[:1])
        with monkeypatch.context() as patched:
            patched.setattr(figures, "latest_figures", lambda _series: 1 / 0)
            season.refresh()
        season.push(season.readings[1:])

        assert season.refresh(now=LATER + timedelta(seconds=1)) is False
        assert season.refresh(now=LATER + timedelta(seconds=2)) is True

    def test_a_session_that_cannot_be_judged_is_seen_and_put_off(
        self, season: Season, monkeypatch: pytest.MonkeyPatch
    ):
        season.add_session([0.1])
        season.push()
        season.refresh(now=SEASON_START)
        monkeypatch.setattr(alert_rules, "judge_progress", lambda *_, **__: 1 / 0)

        season.refresh(now=SEASON_START + timedelta(hours=1))

        with club_scope(season.scene.club):
            assert PendingRefresh.objects.get().failures == 1


class TestMethod:
    def test_figures_of_another_method_are_made_anew(self, season: Season):
        season.add_session([0.1] * 6)
        season.push()
        season.refresh()
        admin = make_caller(season.scene.club)
        with club_scope(season.scene.club):
            SeriesState.objects.update(method=0)
            SeriesPoint.objects.update(bias_m=9.0)
            standing = selectors.get_standing_for(
                admin,
                selectors.Series(season.scene.approach.id, FinishClass.JUMP),
                today=LATER.date(),
            )
        assert standing.is_stale(method=METHOD)

        season.refresh()

        with club_scope(season.scene.club):
            assert not SeriesPoint.objects.filter(bias_m=9.0).exists()


def test_plans_of_another_approach_do_not_mix_in(season: Season):
    season.add_session([0.1] * 5)
    season.push()
    with club_scope(season.scene.club):
        other = Approach.objects.create(
            club=season.scene.club,
            athlete=season.scene.athlete,
            code="LJ-12",
            event="long_jump",
            steps=12,
            start_style="standing",
        )
    make_plan(other, start_mark_m=25.0, aim_m=0.2)

    season.refresh()

    with club_scope(season.scene.club):
        assert SeriesState.objects.get().figures["window"]["aim_m"] == 0.06
