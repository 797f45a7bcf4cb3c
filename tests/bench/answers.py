"""`answers`: answers to a coach's questions over HTTP, and the arithmetic behind each."""

import cProfile
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import partial
from types import ModuleType
from uuid import UUID

from django.utils import timezone

from analytics import selectors
from analytics.answers import (
    aim,
    error_shares,
    mark_advice,
    outlook,
    practice_focus,
    rhythm,
    steering,
)
from analytics.core.simulator import Athlete
from analytics.selectors import RunUps, Series
from analytics.services import refreshing
from approaches.models import FinishClass
from athletes.services import coaching, joining
from clubs.models import Membership, Role
from clubs.selectors import find_caller
from common.club_scope import club_scope
from tests import factories
from tests.api.seasons import Season, make_season
from tests.approaches.conftest import make_scene
from tests.bench import profiling
from tests.bench.asking import Line
from tests.bench.options import AnswersOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.rounds import Spread, interleave
from tests.bench.stand import Stand
from tests.bench.trend import Contest

QUESTIONS: dict[str, ModuleType] = {
    "steering": steering,
    "error-shares": error_shares,
    "rhythm": rhythm,
    "outlook": outlook,
    "aim": aim,
    "mark-advice": mark_advice,
    "practice-focus": practice_focus,
}
SESSIONS = [5] * 8
LAST = 40
# A squad of as many with its coach; one of them is the season that is asked about.
SQUAD = 20


def measure(stand: Stand, options: AnswersOptions) -> Outcome:
    stand.migrate()
    stock_token = stand.make_stock()
    # Half of the no jumps are not measured: the dearest kind of attempts to expect others from.
    season = make_season(make_scene(), Athlete(unmeasured_no_jump_share=0.5))
    season.add(SESSIONS, seed=1)
    token = _make_coach(season)
    squad_id = _make_squad(season)
    run_ups = _read(season, token)
    spent = interleave(
        {name: _work_out(question, run_ups) for name, question in QUESTIONS.items()},
        rounds=options.rounds,
        clock=time.process_time,
    )
    path = f"/api/v1/clubs/{season.scene.club.slug}/{season.path}"
    with stand.web() as web, stand.stock_web() as stock:
        stock_line = partial(Line, stock.port, token=f"Token {stock_token}")
        contest = Contest(
            {
                **{
                    name: partial(Line, web.port, f"{path}/{name}", token=f"Bearer {token}")
                    for name in QUESTIONS
                },
                "overview": partial(
                    Line,
                    web.port,
                    f"/api/v1/clubs/{season.scene.club.slug}/overview?squad={squad_id}",
                    token=f"Bearer {token}",
                ),
                "stored": partial(Line, web.port, f"{path}/consistency", token=f"Bearer {token}"),
                "empty": partial(stock_line, "/empty/"),
            },
            options,
        )
        contest.run()
    if options.profile:
        profile = cProfile.Profile()
        for question in QUESTIONS.values():
            profile.runcall(question.work_out, run_ups)
        profiling.show(profile, title="Each answer once", stream=sys.stderr)
    return _outcome(contest, {name: Spread.of(taken) for name, taken in spent.items()}, options)


def _make_coach(season: Season) -> str:
    """Return the token of a coach who may see the athlete."""
    coach = factories.make_member(season.scene.club, Role.COACH)
    coaching.assign_coach(
        club=season.scene.club,
        coach=coach,
        athlete=season.scene.athlete,
        from_date=timezone.now().date() - timedelta(days=1),
    )
    return factories.make_person_token(coach)


def _make_squad(season: Season) -> UUID:
    """Return a squad whose every athlete has a season, heights and figures, and a coach."""
    club, today = season.scene.club, timezone.now().date()
    squad = factories.make_squad(club)
    seasons = [season]
    for number in range(1, SQUAD):
        scene = replace(season.scene, athlete=factories.make_athlete(club))
        other = make_season(scene, season.athlete)
        other.add(SESSIONS, seed=1 + number)
        seasons.append(other)
    with club_scope(club):
        coach = Membership.objects.get(role=Role.COACH)
    coaching.assign_coach(club=club, coach=coach, squad=squad, from_date=today)
    for each in seasons:
        joining.add_squad_member(
            club=club, squad=squad, athlete=each.scene.athlete, from_date=today
        )
        factories.make_measurement(each.scene.athlete)
        refreshing.refresh_series(
            club_id=club.id, approach_id=each.approach.id, finish_class=FinishClass.JUMP.value
        )
    return squad.id


def _read(season: Season, token: str) -> RunUps:
    coach = find_caller(token)
    with club_scope(season.scene.club):
        return selectors.read_run_ups_for(
            coach,
            Series(season.approach.id, FinishClass.JUMP),
            last=LAST,
            today=timezone.now().date(),
        )


def _work_out(question: ModuleType, run_ups: RunUps) -> Callable[[int], None]:
    def run(_: int) -> None:
        question.work_out(run_ups)

    return run


def _outcome(contest: Contest, spent: dict[str, Spread], options: AnswersOptions) -> Outcome:
    ratios = {f"p95_of_{name}_to_empty": contest.p95_ratio(name, "empty") for name in QUESTIONS}
    slowest = max(ratios, key=lambda name: ratios[name].median)
    overview = contest.p95_ratio("overview", "empty")
    return Outcome(
        name="answers",
        figures={
            "what": f"answers from the last {LAST} attempts, read by a coach over HTTP again and "
            "again; and the processor's time to work each out for the first time",
            "attempts": sum(SESSIONS),
            "clients": options.clients,
            "slowest": slowest,
            "work_out_cpu_s": spent,
            **{name: contest.figures(name) for name in QUESTIONS},
            "overview": {"athletes": SQUAD, **contest.figures("overview")},
        },
        peer={
            "what": "figures that are stored ready, of the same series, by the same web processes",
            **contest.figures("stored"),
        },
        limit={
            "what": "a view of the REST framework that finds who asks and answers {}",
            **contest.figures("empty"),
        },
        ratios={
            **ratios,
            "p95_of_overview_to_empty": overview,
            "p95_of_stored_to_empty": contest.p95_ratio("stored", "empty"),
        },
        targets={
            "p95_of_slowest_to_empty": Target(ratios[slowest].median, at_most=3.0),
            "p95_of_overview_to_empty": Target(overview.median, at_most=3.0),
        },
    )
