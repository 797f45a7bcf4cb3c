"""The command that makes figures anew: of what it is told to, and no other."""

import io
from typing import Any
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command

from analytics.models import SeriesState
from analytics.services import figures
from common.club_scope import club_scope
from tests.analytics.conftest import Season
from tests.approaches.conftest import make_scene

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def seasons() -> list[Season]:
    """Return two clubs, each with jumps and a run-through on a run-up of the same code."""
    made = [Season(make_scene()) for _ in range(2)]
    for season in made:
        season.add_session([0.1, 0.2, 0.3])
        season.push()
        season.push([season.readings[0] | {"external_id": "through", "finish": "run_through"}])
        for finish_class in ("jump", "run_through"):
            season.refresh(finish_class=finish_class)
    return made


def rebuild(**options: str) -> str:
    told = io.StringIO()
    call_command("rebuild_figures", stdout=told, stderr=told, **options)
    return told.getvalue()


def revisions(season: Season) -> list[int]:
    """Return how often each series of a club was refreshed."""
    with club_scope(season.scene.club):
        return list(SeriesState.objects.values_list("revision", flat=True))


class TestRebuilding:
    def test_one_run_up_by_its_id(self, seasons: list[Season]):
        told = rebuild(approach=str(seasons[0].scene.approach.id))

        assert "2 of 2 series" in told
        assert told.endswith("2 series made anew.\n")
        assert [revisions(season) for season in seasons] == [[2, 2], [1, 1]]

    def test_one_run_up_by_its_code_in_a_club(self, seasons: list[Season]):
        rebuild(approach=seasons[1].scene.approach.code, club=seasons[1].scene.club.slug)

        assert [revisions(season) for season in seasons] == [[1, 1], [2, 2]]

    def test_every_club(self, seasons: list[Season]):
        assert "4 series made anew." in rebuild()

        assert [revisions(season) for season in seasons] == [[2, 2], [2, 2]]

    def test_is_refused_for_what_is_not_there(self, seasons: list[Season]):
        first, second = (season.scene for season in seasons)
        refused: tuple[tuple[dict[str, str], str], ...] = (
            ({"approach": first.approach.code}, "name the club"),
            ({"approach": "LJ-99", "club": first.club.slug}, "no run-up LJ-99"),
            ({"approach": str(uuid4())}, "no run-up"),
            ({"approach": str(second.approach.id), "club": first.club.slug}, "no run-up"),
            ({"club": "no-such-club"}, "no club"),
        )
        for options, words in refused:
            with pytest.raises(CommandError, match=words):
                rebuild(**options)

        assert [revisions(season) for season in seasons] == [[1, 1], [1, 1]]

    def test_says_what_could_not_be_made(
        self, seasons: list[Season], monkeypatch: pytest.MonkeyPatch
    ):
        latest = figures.latest_figures

        def poison(series: Any) -> Any:
            if series.finish_class == "jump":
                raise ZeroDivisionError
            return latest(series)

        monkeypatch.setattr(figures, "latest_figures", poison)

        with pytest.raises(CommandError, match="1 series could not"):
            rebuild(approach=str(seasons[0].scene.approach.id))
