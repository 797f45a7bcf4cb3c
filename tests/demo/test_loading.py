"""The demo club: loaded once, and with something to find for everybody who has a story."""

import json
import stat
from collections import defaultdict
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from analytics.models import Alert
from approaches.models import Attempt, Plan, Session
from approaches.services import pushing
from athletes.models import Athlete, Consent
from clubs import selectors as club_selectors
from clubs.models import AccessToken, AuditEntry, Source, User
from common.club_scope import club_scope
from fixtures_demo import loading
from fixtures_demo.cast import JUMPERS
from fixtures_demo.season import pushed_session
from tests.factories import make_club, rows_of

MODELS = (Athlete, Consent, Plan, Session, Attempt, Alert, AccessToken, AuditEntry)


@pytest.fixture
def few_athletes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the club small where the season does not matter."""
    monkeypatch.setattr(loading, "JUMPERS", JUMPERS[:1])


def load(tokens: Path) -> dict[str, str]:
    call_command("load_demo_club", output=tokens)
    access: dict[str, str] = json.loads(tokens.read_text())
    return access


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("few_athletes")
class TestLoadDemoClub:
    def test_changes_nothing_the_second_time(self, tmp_path, capsys):
        tokens = tmp_path / "demo" / "tokens.json"
        first = load(tokens)
        with club_scope(loading.CLUB_ID):
            counts = [model.objects.count() for model in MODELS]

        second = load(tokens)

        assert second == first
        with club_scope(loading.CLUB_ID):
            assert [model.objects.count() for model in MODELS] == counts
        assert stat.S_IMODE(tokens.stat().st_mode) == 0o600
        assert "there already" in capsys.readouterr().out

    def test_gives_access_anew_where_the_old_one_is_gone(self, tmp_path):
        first = load(tmp_path / "tokens.json")
        (tmp_path / "tokens.json").write_text("{")

        second = load(tmp_path / "tokens.json")

        assert second["device_token"] != first["device_token"]
        device = club_selectors.find_caller(second["device_token"])
        coach = club_selectors.find_caller(second["coach_token"])
        assert (device.role, coach.role) == (club_selectors.DEVICE, "coach")
        assert club_selectors.find_caller(second["admin_token"]).role == "admin"
        for who in ("admin", "coach"):
            person = User.objects.get(email=second[f"{who}_email"])
            assert person.check_password(second[f"{who}_password"])

    def test_leaves_another_club_of_its_name_alone(self, tmp_path):
        make_club(slug=loading.SLUG)

        with pytest.raises(CommandError, match="not the demo club"):
            load(tmp_path / "tokens.json")


@pytest.mark.django_db(transaction=True)
class TestStories:
    def test_raise_the_alerts_that_were_planted_and_no_other(self, tmp_path):
        access = load(tmp_path / "tokens.json")
        with club_scope(loading.CLUB_ID):
            source = Source.objects.get(name=loading.SOURCE_NAME)
        club = club_selectors.find_caller(access["coach_token"]).club
        pushing.record_attempts(
            club=club, source_id=source.id, rows=rows_of(*pushed_session()), make_sessions=True
        )
        loading.finish_figures(progress=lambda _counted, _done, _total: None)

        raised, ever = defaultdict(set), set()
        with club_scope(loading.CLUB_ID):
            for alert in Alert.objects.select_related("approach__athlete"):
                ever.add(alert.approach.athlete.code)
                if alert.closed_at is None:
                    raised[alert.approach.athlete.code].add(alert.kind)

        assert raised == {each.code: each.raises for each in JUMPERS if each.raises}
        with_story = {each.code for each in JUMPERS if each.raises or each.changes}
        assert ever == with_story
