"""Points are written many at once, and are the same however many."""

import math

import pytest

from analytics.models import SeriesPoint
from analytics.services import points
from common import prepared
from common.club_scope import club_scope
from tests.analytics.conftest import Season, draw


def count_writes(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the statements that write points from now on."""
    written: list[str] = []
    write = prepared.write

    def counted(statement: str, parameters: list[object]) -> None:
        if "analytics_seriespoint" in statement:
            written.append(statement)
        write(statement, parameters)

    monkeypatch.setattr(prepared, "write", counted)
    return written


def make_season(season: Season) -> Season:
    for toes in draw(4, 9):
        season.add_session(toes)
    season.push()
    return season


class TestWriting:
    def test_takes_one_statement_for_all(self, season: Season, monkeypatch: pytest.MonkeyPatch):
        make_season(season)
        written = count_writes(monkeypatch)

        season.refresh()

        assert len(written) == 1
        with club_scope(season.scene.club):
            assert SeriesPoint.objects.count() == 45

    def test_in_parts_gives_the_same_points(self, season: Season, monkeypatch: pytest.MonkeyPatch):
        make_season(season)
        season.refresh()
        at_once = season.stored()
        monkeypatch.setattr(points, "_AT_ONCE", 20)
        written = count_writes(monkeypatch)

        season.refresh(whole=True)

        assert len(written) == 3
        assert season.stored() == at_once

    def test_leaves_a_gap_where_there_is_not_enough_to_say(self, season: Season):
        season.add_session([0.1, None])
        season.push()
        season.refresh()

        with club_scope(season.scene.club):
            first, second = SeriesPoint.objects.order_by("started_at").values()
        assert (first["toe_m"], second["toe_m"]) == (0.1, None)
        assert (first["no_jump"], second["no_jump"]) == (False, True)
        assert (second["n"], second["n_measured"], second["n_no_jumps"]) == (2, 1, 1)
        for point in (first, second):
            assert point["bias_m"] is None
            assert point["length_ratio_1_sd"] is None
            numbers = [value for value in point.values() if isinstance(value, float)]
            assert all(map(math.isfinite, numbers))

    def test_leaves_a_gap_before_the_first_plan(self, season: Season):
        season.add_session([0.1] * 2)
        early = [
            each | {"started_at": each["started_at"].replace("2026", "2019")}
            for each in season.readings
        ]
        season.push(early)
        season.refresh()

        with club_scope(season.scene.club):
            revisions = set(SeriesPoint.objects.values_list("plan_revision", flat=True))
        assert revisions == {None}
