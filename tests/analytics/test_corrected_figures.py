"""A correction of an old attempt changes the figures that it should, and no others."""

from typing import Any

import pytest

from analytics.core import rolling
from approaches.models import Attempt
from approaches.services import correcting
from approaches.services.changes import Correction
from approaches.services.forms import read_form
from clubs.selectors import Caller
from common.club_scope import club_scope
from common.versions import ANY_VERSION
from tests.analytics.conftest import Season, draw
from tests.factories import make_approach, make_caller

SESSIONS, PER_SESSION = 12, 5
CORRECTED = 17  # the place of the attempt in the season, counted from 0


@pytest.fixture
def corrector(season: Season) -> Caller:
    return make_caller(season.scene.club)


@pytest.fixture
def attempts(season: Season) -> list[Attempt]:
    """Push and compute a season, and return its attempts in order."""
    for toes in draw(seed=7, sessions=SESSIONS, per_session=PER_SESSION, mean=0.30):
        season.add_session(toes)
    season.push()
    season.refresh()
    with club_scope(season.scene.club):
        return list(Attempt.objects.order_by("started_at"))


def correct(attempt: Attempt, caller: Caller, **changes: Any) -> None:
    correction = read_form(
        {"changes": changes, "reason": "Measured from the wrong edge."}, Correction
    )
    correcting.correct_attempt(
        club=caller.club,
        attempt_id=attempt.id,
        expected=ANY_VERSION,
        changes=correction.changes,
        reason=correction.reason,
        caller=caller,
    )


def changed_places(before: dict[str, Any], after: dict[str, Any]) -> list[int]:
    """Return the places of the series at which a point became another one."""
    assert len(before["points"]) == len(after["points"])
    pairs = zip(before["points"], after["points"], strict=True)
    return [place for place, (old, new) in enumerate(pairs) if old != new]


def rebuilt(season: Season, *finish_classes: str) -> dict[str, Any]:
    for finish_class in finish_classes or ("jump",):
        season.refresh(finish_class=finish_class, whole=True)
    return season.stored()


class TestACorrectedToe:
    def test_changes_the_points_whose_window_holds_it(
        self, season: Season, attempts: list[Attempt], corrector: Caller
    ):
        before = season.stored()
        toes = [0.41, *attempts[CORRECTED].toe_m[1:]]

        correct(attempts[CORRECTED], corrector, footfalls={"toe_m": toes})
        season.refresh()

        after = season.stored()
        window = range(CORRECTED, CORRECTED + rolling.DEFAULT_WINDOW)
        assert changed_places(before, after) == list(window)
        assert after == rebuilt(season)

    def test_changes_no_session_before_it(
        self, season: Season, attempts: list[Attempt], corrector: Caller
    ):
        before = season.stored()["sessions"]
        toes = [0.41, *attempts[CORRECTED].toe_m[1:]]

        correct(attempts[CORRECTED], corrector, footfalls={"toe_m": toes})
        season.refresh()

        after = season.stored()["sessions"]
        first = CORRECTED // PER_SESSION
        assert after[:first] == before[:first]
        assert after[first] != before[first]


class TestACorrectionThatFiguresDoNotSee:
    def test_changes_no_point(self, season: Season, attempts: list[Attempt], corrector: Caller):
        before = season.stored()

        correct(attempts[CORRECTED], corrector, wind_mps=1.4)
        season.refresh()

        assert changed_places(before, season.stored()) == []


class TestAMovedAttempt:
    def test_changes_both_series(self, season: Season, attempts: list[Attempt], corrector: Caller):
        before = season.stored()

        correct(attempts[CORRECTED], corrector, finish="run_through")
        season.refresh()
        season.refresh(finish_class="run_through")

        after = season.stored()
        jumps = [point for point in after["points"] if point["finish_class"] == "jump"]
        assert len(jumps) == len(before["points"]) - 1
        assert jumps[:CORRECTED] == before["points"][:CORRECTED]
        assert len(after["points"]) == len(before["points"])
        assert after == rebuilt(season, "jump", "run_through")

    def test_counts_from_its_new_place_on(
        self, season: Season, attempts: list[Attempt], corrector: Caller
    ):
        before = season.stored()
        to = attempts[3].started_at

        correct(attempts[CORRECTED], corrector, started_at=to.isoformat())
        season.refresh()

        after = season.stored()
        assert after["points"][:3] == before["points"][:3]
        assert after["points"][4] != before["points"][4]
        assert after == rebuilt(season)

    def test_leaves_the_approach_that_it_was_never_run_from(
        self, season: Season, attempts: list[Attempt], corrector: Caller
    ):
        other = make_approach(season.scene.athlete, code="LJ-18", steps=18)

        correct(attempts[CORRECTED], corrector, approach="LJ-18")
        season.refresh()
        season.refresh(approach_id=other.id)

        after = season.stored()
        by_approach = {point["attempt_id"]: point["approach_id"] for point in after["points"]}
        assert by_approach[attempts[CORRECTED].id] == other.id
        season.refresh(approach_id=other.id, whole=True)
        assert after == rebuilt(season)


class TestAVoidedAttempt:
    def test_leaves_the_series(self, season: Season, attempts: list[Attempt], corrector: Caller):
        before = season.stored()

        correcting.void_attempt(
            club=corrector.club,
            attempt_id=attempts[CORRECTED].id,
            expected=ANY_VERSION,
            reason="Somebody else ran.",
            caller=corrector,
        )
        season.refresh()

        after = season.stored()
        assert len(after["points"]) == len(before["points"]) - 1
        assert after["points"][:CORRECTED] == before["points"][:CORRECTED]
        # Windows that did not hold it are those of the same attempts as before.
        untouched = CORRECTED + rolling.DEFAULT_WINDOW
        assert after["points"][untouched:] == before["points"][untouched + 1 :]
        assert after == rebuilt(season)
