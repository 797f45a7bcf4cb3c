"""Random histories: whatever happened in whatever order, the figures are those of a rebuild.

Sessions overlap, attempts share a moment, plans change in between, and attempts are pushed late,
corrected, moved to another session or series, and voided, and alert rules change, with refreshes in
between.
"""

import random
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from analytics.models import Alert, AlertRule, SeriesPoint, SeriesState, SessionPoint
from analytics.services import ruling
from approaches.models import Attempt, Finish, PendingRefresh, Session
from approaches.services import correcting
from approaches.services.changes import Correction
from approaches.services.forms import read_form
from clubs.selectors import Caller
from common.club_scope import club_scope
from common.versions import ANY_VERSION
from tests.analytics.conftest import LATER, Season, run_up_of
from tests.factories import make_caller, make_plan, make_reading, make_session

START = datetime(2026, 3, 2, 14, tzinfo=UTC)
DAYS = 14
# What each rule may change to; None is the default.
RULES: tuple[tuple[str, dict[str, tuple[Any, ...]]], ...] = (
    ("level", {"calm_sessions": (None, 1, 3)}),
    ("spread", {}),
    ("no_jump_share", {"no_jump_share_limit": (0.06, 0.15)}),
    ("progress", {"progress_block_attempts": (20, 25, 30)}),
)
PLAN_CHANGES = (START + timedelta(days=9, minutes=31), START + timedelta(days=11))


@dataclass
class History:
    """A season and the dice that decide what happens to it."""

    season: Season
    chance: random.Random
    sessions: list[Session]
    caller: Caller

    def readings(self) -> list[dict[str, Any]]:
        """Return some attempts a day, in two sessions at a time; the second half lands short."""
        readings: list[dict[str, Any]] = []
        for day in range(DAYS):
            for _ in range(self.chance.randint(3, 11)):
                minute = self.chance.choice((0, 10, 30, 31, 32, 45, 60, 70, 110))
                mean = 0.05 if day < DAYS / 2 else 0.22
                toe_m = round(self.chance.gauss(mean, 0.08), 3)
                beyond = toe_m < 0
                hidden = beyond and self.chance.random() < 0.5
                readings.append(
                    make_reading(
                        self.season.scene.athlete,
                        self.chance.choice(self.sessions[2 * day : 2 * day + 2]),
                        started_at=(START + timedelta(days=day, minutes=minute)).isoformat(),
                        finish=self.chance.choice(("jump", "jump", "pop_up", "run_through")),
                        outcome="no_jump" if beyond else "not_judged",
                        official_m=None,
                        **run_up_of(None if hidden else toe_m, day, len(readings) % 5),
                    )
                )
        return readings

    def refresh(self, *, now: datetime, whole: bool = False) -> None:
        for finish_class in ("jump", "run_through"):
            self.season.refresh(finish_class=finish_class, now=now, whole=whole)

    def disturb(self) -> None:
        """Void or correct one attempt."""
        with club_scope(self.season.scene.club):
            stored = list(Attempt.objects.filter(voided_at=None).order_by("external_id"))
        if not stored:
            return
        attempt = self.chance.choice(stored)
        what = self.chance.randrange(6)
        of_attempt: dict[str, Any] = {
            "club": self.season.scene.club,
            "attempt_id": attempt.id,
            "expected": ANY_VERSION,
            "reason": "By the dice.",
            "caller": self.caller,
        }
        if what == 0:
            correcting.void_attempt(**of_attempt)
            return
        sent = {
            1: self._measure_again,
            2: self._move,
            3: self._finish_otherwise,
            4: self._change_session,
            5: self._pass_gates_otherwise,
        }[what](attempt)
        correction = read_form({"changes": sent, "reason": "By the dice."}, Correction)
        correcting.correct_attempt(**of_attempt, changes=correction.changes)

    def change_rule(self) -> None:
        """Switch a rule off or on, or give it another threshold."""
        kind, thresholds = self.chance.choice(RULES)
        changes: dict[str, Any] = {"is_active": self.chance.random() < 0.7}
        if thresholds:
            changes["thresholds"] = {
                name: self.chance.choice(values) for name, values in thresholds.items()
            }
        ruling.change_alert_rule(
            club=self.season.scene.club, kind=kind, expected=ANY_VERSION, changes=changes
        )

    def _measure_again(self, attempt: Attempt) -> dict[str, Any]:
        toe_m = round(self.chance.gauss(0.10, 0.1), 3)
        return {"footfalls": {"toe_m": [toe_m, *attempt.toe_m[1:]]}}

    def _move(self, attempt: Attempt) -> dict[str, Any]:
        moved = attempt.started_at + timedelta(minutes=self.chance.randint(-2000, 2000))
        return {"started_at": moved.isoformat()}

    def _finish_otherwise(self, attempt: Attempt) -> dict[str, Any]:
        return {"finish": "run_through" if attempt.finish == Finish.JUMP else "jump"}

    def _pass_gates_otherwise(self, attempt: Attempt) -> dict[str, Any]:
        first_s = round(self.chance.uniform(0.5, 0.6), 3)
        times_s = [3.2, 3.8, 3.8 + first_s, 4.4 + first_s]
        return {"gates": {"at_m": [16, 11, 6, 1], "time_s": times_s}}

    def _change_session(self, attempt: Attempt) -> dict[str, Any]:
        return {"session": str(self.chance.choice(self.sessions).id)}


def make_history(season: Season, seed: int) -> History:
    club = season.scene.club
    for revision, valid_from in enumerate(PLAN_CHANGES, 2):
        make_plan(
            season.scene.approach, revision=revision, valid_from=valid_from, aim_m=0.04 * revision
        )
    with club_scope(club):
        # Rules that open and close within a short history.
        AlertRule.objects.create(
            club=club,
            kind="no_jump_share",
            thresholds={"no_jump_share_limit": 0.06, "no_jump_attempts": 5},
        )
        AlertRule.objects.create(
            club=club,
            kind="progress",
            thresholds={
                "progress_block_attempts": 25,
                "progress_probability": 0.6,
                "progress_lost_probability": 0.5,
                "calm_sessions": 1,
            },
        )
    sessions = [
        make_session(club, held_date=date(2026, 3, 2) + timedelta(days=number // 2))
        for number in range(2 * DAYS)
    ]
    dice = random.Random(seed)  # noqa: S311  # a test's dice
    return History(season, dice, sessions, make_caller(club))


@pytest.mark.parametrize("seed", range(12))
def test_any_history_ends_as_a_rebuild(season: Season, seed: int):
    history = make_history(season, seed)
    readings = history.readings()
    # Mostly in order with latecomers, as gates send them; now and then in any order at all.
    if seed % 3:
        readings.sort(key=lambda each: history.chance.gauss(0, seed) + _hour(each))
    else:
        history.chance.shuffle(readings)
    while readings:
        count = history.chance.randint(1, 15)
        batch, readings = readings[:count], readings[count:]
        season.push(batch)
        now = START + timedelta(hours=_hour(batch[-1]) + history.chance.uniform(0, 30))
        if history.chance.random() < 0.7:
            history.refresh(now=now)
        if history.chance.random() < 0.4:
            history.disturb()
        if history.chance.random() < 0.15:
            history.change_rule()
    history.refresh(now=LATER)
    with club_scope(season.scene.club):
        assert not PendingRefresh.objects.exists(), PendingRefresh.objects.values()
    by_and_by = season.stored()

    with club_scope(season.scene.club):
        # Nothing is left to go by but the attempts and the rules as they are now.
        for model in (Alert, SessionPoint, SeriesPoint, SeriesState):
            model.objects.all().delete()
        off = set(AlertRule.objects.filter(is_active=False).values_list("kind", flat=True))
    history.refresh(now=LATER, whole=True)

    rebuilt = season.stored()
    # What was told and closed while a rule was on stays as it was told.
    by_and_by["alerts"] = [each for each in by_and_by["alerts"] if each["kind"] not in off]
    for part, stored in by_and_by.items():
        assert stored == rebuilt[part], f"seed {seed}: {part}"
    assert len(rebuilt["sessions"]) > DAYS


def _hour(reading: dict[str, Any]) -> float:
    return (datetime.fromisoformat(reading["started_at"]) - START).total_seconds() / 3600
