"""A season in sum over HTTP, against seasons whose truth is known."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest

from analytics.core.simulator import Athlete
from tests import factories
from tests.answers.pages import depth_0_of
from tests.api.by_hand import ByHand
from tests.api.conftest import World
from tests.api.seasons import FIRST_DAY, Season, make_season
from tests.conftest import Keep
from tests.contract.openapi import find_operation, read_schema

UNSTEADY = Athlete(
    unmeasured_no_jump_share=0.0,
    start_sd_m=0.10,
    unsteady_steps=(16, 11),
    unsteady_sd_m=0.20,
    steering_gain=0.3,
)
STEADY = Athlete(unmeasured_no_jump_share=0.0, start_sd_m=0.03, step_sd_m=0.01)
PATH = "reports/season/athletes/{}?from=2026-03-01&to=2026-06-30"


@pytest.fixture(scope="module")
def kept_season(keep: Keep[Season], kept_world: World) -> Season:
    """Return a season that begins unsteady and ends steady, twelve sessions of six."""

    def make() -> Season:
        season = make_season(kept_world, UNSTEADY)
        season.add([6] * 6, seed=1)
        season.athlete = STEADY
        season.add([6] * 5, seed=2)
        season.add([6], seed=3, kind="competition")
        return season

    return keep(make)


@pytest.fixture
def season(kept_season: Season, world: World) -> Season:
    return kept_season


def read(world: World, path: str | None = None, **headers: str) -> dict[str, Any]:
    answer = world.as_("admin").get(path or PATH.format(world.athlete.id), **headers)
    assert answer.status_code == 200, answer.content
    body: dict[str, Any] = answer.json()
    return body


def run_up_of(report: dict[str, Any], season: Season) -> dict[str, Any]:
    (found,) = [each for each in report["run_ups"] if each["approach"] == str(season.approach.id)]
    return dict(found)


def texts_in(told: Any) -> Iterator[str]:
    """Find every sentence of a report."""
    if isinstance(told, list):
        for each in told:
            yield from texts_in(each)
    elif isinstance(told, dict):
        for name, each in told.items():
            if name in {"text", "caution"} and each is not None:
                yield each
            else:
                yield from texts_in(each)


@pytest.fixture
def by_hand(world: World) -> ByHand:
    return ByHand(world)


DAY = date(2026, 5, 2)


class TestReport:
    def test_is_what_the_schema_says(self, world: World, season: Season, by_hand: ByHand):
        described = find_operation("GET", "reports/season/athletes/{athlete_id}")
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        for report in (read(world), by_hand.read()):
            jsonschema.validate(report, {**read_schema(), **schema})

    def test_says_how_much_was_jumped(self, world: World, season: Season):
        report = read(world)

        assert (report["n"], report["n_sessions"]) == (72, 12)
        assert "72 attempts in 12 sessions. 1 session was a competition." in report["text"]
        assert report["caution"].startswith("The coach on the spot decides.")

    def test_is_the_same_until_an_attempt_comes(self, world: World, season: Season):
        admin, path = world.as_("admin"), PATH.format(world.athlete.id)
        first = admin.get(path)
        same = admin.get(path, **{"If-None-Match": first["ETag"]})
        season.add([1], seed=9)
        changed = admin.get(path, **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code) == (304, 200)
        assert changed.json()["n"] == 73

    def test_speaks_the_readers_language(self, world: World, season: Season):
        assert "From 1 Mar 2026 to" in read(world)["text"]
        assert "1. März 2026" in read(world, Accept_Language="de")["text"]

    def test_can_be_translated_whole(
        self, world: World, season: Season, by_hand: ByHand, monkeypatch: pytest.MonkeyPatch
    ):
        """With a language that puts every message in brackets, nothing stands outside of them."""
        by_hand.jump(DAY, [(6.0, 0.1)] * 9, kind="competition")
        factories.make_measurement(by_hand.athlete, measured_date=DAY)
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        texts = [*texts_in(read(world)), *texts_in(by_hand.read())]

        assert len(texts) > 40
        assert [text for text in texts if depth_0_of(text).strip()] == []

    def test_leaves_no_gap_and_no_odd_number(self, world: World, season: Season):
        for text in texts_in(read(world)):
            assert text[0].isupper() or text[0].isdigit(), text
            assert text.endswith("."), text
            for odd in ("nan", "inf", "None", "-0", "  ", "..", "{", "}"):
                assert odd not in text, text

    def test_of_nothing_says_what_is_not_known(self, by_hand: ByHand):
        report = by_hand.read()

        assert (report["n"], report["run_ups"], report["bests"]) == (0, [], [])
        assert report["as_of"] is None
        assert report["competitions"]["text"] == "No competition was written down."
        assert report["lengths"]["text"] == "No full jump was written down."
        assert [each["code"] for each in report["unknown"]] == ["growth"]


class TestConsistency:
    def test_that_was_gained_is_shown(self, world: World, season: Season):
        found = run_up_of(read(world), season)["consistency"]

        change = found["change"]
        assert change["spread_shown"] == "lower"
        assert change["sd_last_m"] < change["sd_first_m"] / 2
        assert change["sd_ratio_interval"]["high"] < 1
        assert (change["n_first"], change["n_last"]) == (24, 24)
        assert found["text"].startswith("Steadier: the toe spread by")

    def test_that_is_too_little_is_said_to_be(self, by_hand: ByHand):
        by_hand.jump(DAY, [(6.0, 0.10)] * 6)

        (run_up,) = by_hand.read()["run_ups"]

        assert run_up["consistency"]["change"] == {
            "not_enough_attempts": "not enough attempts (0 of 5)",
            "n": 0,
            "needed": 5,
        }
        assert "0 of 5" in run_up["consistency"]["text"]

    def test_looks_at_the_season_alone(self, by_hand: ByHand):
        """What was jumped before belongs to the season before."""
        for week in range(8):
            by_hand.jump(
                date(2026, 1, 5) + timedelta(weeks=week), [(6.0, 0.1 * each) for each in range(5)]
            )
        for week in range(4):
            by_hand.jump(
                date(2026, 3, 9) + timedelta(weeks=week),
                [(6.0, 0.06 + 0.01 * each) for each in range(5)],
            )

        (run_up,) = by_hand.read()["run_ups"]

        assert run_up["n"] == 20
        assert run_up["consistency"]["change"]["sd_first_m"] == pytest.approx(0.0158, abs=1e-4)
        assert run_up["consistency"]["change"]["spread_shown"] == "not_shown"

    def test_counts_days_where_the_club_is(self, by_hand: ByHand):
        """Half past midnight in Vienna is the evening before in UTC."""
        with_zone = by_hand.world.as_("admin").patch("", {"time_zone": "Europe/Vienna"})
        assert with_zone.status_code == 200
        session = factories.make_session(by_hand.world.club, held_date=DAY)
        factories.make_attempt(
            by_hand.world.source,
            by_hand.athlete,
            session,
            started_at="2026-05-02T00:30:00+02:00",
        )

        assert by_hand.read("from=2026-05-02&to=2026-05-02")["n"] == 1
        assert by_hand.read("from=2026-05-01&to=2026-05-01")["n"] == 0


class TestShift:
    def test_of_the_level_is_dated(self, by_hand: ByHand):
        days = [date(2026, 3, 2) + timedelta(days=3 * each) for each in range(14)]
        for place, day in enumerate(days):
            off = (0.0 if place < 7 else 0.15) + 0.01 * (place % 3)
            by_hand.jump(day, [(6.0, 0.06 + off + each) for each in (0.0, 0.02, 0.04)])

        (run_up,) = by_hand.read()["run_ups"]

        found = run_up["shift"]["found"]
        assert found["first_session_date"] == days[7].isoformat()
        assert found["change_m"] == pytest.approx(0.15, abs=0.02)
        assert "away from the pit" in run_up["shift"]["text"]

    def test_that_is_not_there_is_not_shown(self, world: World, by_hand: ByHand):
        for place in range(12):
            day = date(2026, 3, 2) + timedelta(days=3 * place)
            by_hand.jump(day, [(6.0, 0.06 + 0.01 * (place % 3))] * 2)

        (run_up,) = by_hand.read()["run_ups"]

        assert run_up["shift"]["text"].startswith("No lasting shift of the level is shown")
        assert run_up["shift"]["found"]["n_sessions"] == 12


class TestPlans:
    def test_tell_how_the_mark_moved(self, world: World, season: Season):
        factories.make_plan(
            season.approach,
            revision=2,
            start_mark_m=round(season.plan.start_mark_m - 0.30, 2),
            valid_from=FIRST_DAY + timedelta(days=30),
            reason="Short all month.",
        )

        plans = run_up_of(read(world), season)["plans"]

        assert [each["moved_m"] for each in plans["revisions"]] == [None, -0.3]
        assert plans["revisions"][0]["n"] == 72
        assert plans["revisions"][1]["reason"] == "Short all month."
        assert "30 cm toward the pit" in plans["text"]

    def test_begin_with_the_one_in_force_on_the_first_day(self, by_hand: ByHand):
        for revision, day in ((2, 10), (3, 20)):
            factories.make_plan(
                by_hand.approach,
                revision=revision,
                start_mark_m=34.2 + revision / 10,
                valid_from=FIRST_DAY.replace(month=2, day=day),
            )
        by_hand.jump(DAY, [(6.0, 0.1)])

        (run_up,) = by_hand.read()["run_ups"]

        assert [each["revision"] for each in run_up["plans"]["revisions"]] == [3]
        assert "One plan all season, the start mark at 34.50 m." in run_up["plans"]["text"]


class TestSpeedAndNext:
    def test_speed_without_gates_is_not_known_and_why(self, by_hand: ByHand):
        for week in range(3):
            by_hand.jump(DAY + timedelta(weeks=week), [(6.0, 0.1)] * 6)

        report = by_hand.read()

        assert {"speed", "rhythm", "shift", "growth"} <= {
            each["code"] for each in report["unknown"]
        }
        (speed,) = [each for each in report["unknown"] if each["code"] == "speed"]
        assert speed["text"].startswith("LJ-16: Too few attempts with gate times")

    def test_what_is_next_is_what_practice_focus_says(self, world: World, season: Season):
        asked = world.as_("admin").get(f"{season.path}/practice-focus").json()

        told = run_up_of(read(world), season)["next"]

        assert told["text"] == asked["text"]
        assert [each["code"] for each in told["reasons"]] == [
            each["code"] for each in asked["reasons"]
        ]

    def test_speed_that_rose_is_shown(self, by_hand: ByHand):
        for week, split_s in enumerate((0.60, 0.60, 0.58, 0.56, 0.55, 0.55)):
            gates = {"at_m": [11, 6, 1], "time_s": [4.0, 4.6, round(4.6 + split_s, 3)]}
            by_hand.jump(DAY + timedelta(weeks=week), [(6.0, 0.1)] * 6, gates=gates)

        (run_up,) = by_hand.read()["run_ups"]

        speed = run_up["speed"]["speed_6_1_mps"]
        assert speed["shown"] == "higher"
        assert speed["first"] == pytest.approx((5 / 0.60 + 5 / 0.60 + 5 / 0.58) / 3, abs=1e-3)
        assert run_up["speed"]["text"].startswith("Faster: from 6 to 1 m")


class TestPeriod:
    @pytest.mark.parametrize(
        "query",
        [
            "from=2026-06-02&to=2026-06-01",
            "from=2025-01-01&to=2026-06-01",
            "from=yesterday",
            "to=2026-02-30",
            "to=0001-01-01",
        ],
    )
    def test_is_refused_when_it_makes_no_sense(self, by_hand: ByHand, query: str):
        path = f"reports/season/athletes/{by_hand.athlete.id}?{query}"
        answer = by_hand.world.as_("admin").get(path)

        assert (answer.status_code, answer.json()["code"]) == (400, "invalid_parameter")

    def test_is_the_last_year_unless_said(self, by_hand: ByHand):
        report = by_hand.read("to=2026-06-30")

        assert (report["from_date"], report["to_date"]) == ("2025-07-01", "2026-06-30")
