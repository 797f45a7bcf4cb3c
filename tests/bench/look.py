"""`look`: pictures and a card over HTTP, beside what their libraries take at the least."""

import cProfile
import io
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from datetime import timedelta
from functools import partial
from zoneinfo import ZoneInfo

import numpy as np
from django.test import Client
from django.utils import timezone
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from analytics import selectors
from analytics.cards import approach_card, typesetting
from analytics.cards.typesetting import Paper
from analytics.charts.looks import Form
from analytics.core.simulator import Athlete
from analytics.selectors import Series
from analytics.services import refreshing
from approaches.models import FinishClass
from athletes.services import coaching
from clubs.models import Role
from common.club_scope import club_scope
from tests import factories
from tests.api.gated import GatedSeason
from tests.api.seasons import make_season
from tests.approaches.conftest import make_scene
from tests.bench import profiling
from tests.bench.asking import Dial, Line, ask_in_turn
from tests.bench.options import LookOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.rounds import Run, Spread, interleave, percentiles
from tests.bench.stand import Stand

# Without that of the number of steps, of which this athlete has one: it says so in words.
CHARTS = (
    "trend",
    "consistency",
    "spread",
    "steering",
    "error-shares",
    "rhythm",
    "speed",
    "wind-table",
    "outlook",
)
SESSIONS = [5] * 8
WARM_UP = 2
MOST_TIMES_EMPTY = 3.0
MOST_TIMES_TYPESETTING = 5.0
PDF = "application/pdf"
# Whatever is timed, by its name: how long each of so many in a row took.
Timed = Callable[[int], list[float]]


def measure(stand: Stand, options: LookOptions) -> Outcome:
    stand.migrate()
    season, token = _make_season()
    path = f"/api/v1/clubs/{season.scene.club.slug}/{season.path}"
    with ExitStack() as stack:
        anew = stack.enter_context(stand.web(name="anew", settings={"PICTURES_REMEMBERED": "0"}))
        kept = stack.enter_context(stand.web(name="kept"))

        def dial(port: int, what: str) -> Dial:
            return partial(
                Line, port, f"{path}/{what}/chart", token=f"Bearer {token}", accept=Form.SVG.value
            )

        card = partial(Line, anew.port, f"{path}/card", token=f"Bearer {token}", accept=PDF)
        timed: dict[str, Timed] = {
            **{each: partial(ask_in_turn, dial(anew.port, each)) for each in CHARTS},
            "remembered": partial(ask_in_turn, dial(kept.port, "trend")),
            "empty": _draw_empty,
            "card": partial(ask_in_turn, card),
            "typesetting": _typesetting_of(season),
        }
        seconds = _in_turn(timed, options)
        sizes = {}
        for each in CHARTS:
            with dial(anew.port, each)() as line:
                sizes[each] = line.ask()
        with card() as line:
            sizes["card"] = line.ask()
    if options.profile:
        _profile(f"{path}/trend/chart", token)
    return _outcome(seconds, sizes)


def _make_season() -> tuple[GatedSeason, str]:
    """Return a season of a coach's athlete with gates and figures, and the coach's token."""
    season = GatedSeason.of(make_season(make_scene(), Athlete(unmeasured_no_jump_share=0.5)))
    season.add(SESSIONS, seed=1)
    refreshing.refresh_series(
        club_id=season.scene.club.id,
        approach_id=season.approach.id,
        finish_class=FinishClass.JUMP.value,
    )
    coach = factories.make_member(season.scene.club, Role.COACH)
    coaching.assign_coach(
        club=season.scene.club,
        coach=coach,
        athlete=season.scene.athlete,
        from_date=timezone.now().date() - timedelta(days=1),
    )
    return season, factories.make_person_token(coach)


def _draw_empty(count: int) -> list[float]:
    """Draw empty axes with the library's own settings and write them to SVG; time each."""
    seconds = []
    for _ in range(count):
        began = time.perf_counter()
        figure = Figure()
        figure.add_subplot()
        FigureCanvasSVG(figure).print_svg(io.BytesIO())
        seconds.append(time.perf_counter() - began)
    return seconds


def _typesetting_of(season: GatedSeason) -> Timed:
    """Return what sets the card of a season again and again, filled in once; timed each."""
    club = season.scene.club
    caller = factories.make_caller(club)
    with club_scope(club):
        today = timezone.now().date()
        title = selectors.read_title_for(caller, season.approach.id, today=today)
        run_ups = selectors.read_run_ups_for(
            caller, Series(season.approach.id, FinishClass.JUMP), last=sum(SESSIONS), today=today
        )
    found = approach_card.work_out(run_ups)
    card = approach_card.fill_in(title, run_ups, found, zone=ZoneInfo(club.time_zone))

    def set_again(count: int) -> list[float]:
        seconds = []
        for _ in range(count):
            began = time.perf_counter()
            typesetting.print_sheet(card, paper=Paper.A4)
            seconds.append(time.perf_counter() - began)
        return seconds

    return set_again


def _in_turn(timed: Mapping[str, Timed], options: LookOptions) -> dict[str, list[list[float]]]:
    """Return, by contestant and round, the seconds of each picture."""
    seconds: dict[str, list[list[float]]] = {name: [] for name in timed}

    def run_of(name: str) -> Run:
        def run(number: int) -> None:
            taken = timed[name](options.reads)
            if number >= WARM_UP:
                seconds[name].append(taken)

        return run

    runs = {name: run_of(name) for name in timed}
    interleave(runs, rounds=options.rounds, warm_up=WARM_UP)
    return seconds


def _outcome(seconds: dict[str, list[list[float]]], sizes: dict[str, int]) -> Outcome:
    ratios = {f"p95_of_{name}_to_empty": _p95_ratio(seconds, name) for name in CHARTS}
    card = _p95_ratio(seconds, "card", limit="typesetting")
    slowest = max(ratios, key=lambda name: ratios[name].median)
    return Outcome(
        name="look",
        figures={
            "what": f"pictures of {sum(SESSIONS)} attempts as SVG and the approach card as PDF, "
            "read by a coach over HTTP, drawn and set anew each time",
            "attempts": sum(SESSIONS),
            "slowest": slowest,
            **{
                name: {"read_s": _percentiles(seconds[name]), "content_bytes": sizes[name]}
                for name in (*CHARTS, "card")
            },
        },
        peer={
            "what": "the picture of the trend where it is remembered, as it is for who asks again",
            "read_s": _percentiles(seconds["remembered"]),
        },
        limit={
            "what": "in this process: empty axes of the same library written to SVG (draw_s); the "
            "card, filled in once, set by its template (set_s)",
            "draw_s": _percentiles(seconds["empty"]),
            "set_s": _percentiles(seconds["typesetting"]),
        },
        ratios={
            **ratios,
            "p95_of_remembered_to_empty": _p95_ratio(seconds, "remembered"),
            "p95_of_card_to_typesetting": card,
        },
        targets={
            "p95_of_slowest_to_empty": Target(ratios[slowest].median, at_most=MOST_TIMES_EMPTY),
            "p95_of_card_to_typesetting": Target(card.median, at_most=MOST_TIMES_TYPESETTING),
        },
    )


def _p95_ratio(seconds: dict[str, list[list[float]]], name: str, *, limit: str = "empty") -> Spread:
    """Return, round by round, the 95th percentile as a multiple of that of a limit."""
    pairs = zip(seconds[name], seconds[limit], strict=True)
    return Spread.of(
        [float(np.quantile(mine, 0.95) / np.quantile(theirs, 0.95)) for mine, theirs in pairs]
    )


def _percentiles(rounds: list[list[float]]) -> dict[str, float]:
    return percentiles([each for round_ in rounds for each in round_])


def _profile(path: str, token: str) -> None:
    """Draw in this process, and show where the time goes."""
    client = Client(
        headers={"authorization": f"Bearer {token}", "host": "localhost", "accept": Form.SVG.value}
    )
    profile = cProfile.Profile()
    for number in range(60):
        if number == 10:  # the others warm up
            profile.enable()
        # Another number of points each time, so that none is remembered.
        answer = client.get(f"{path}?last={40 + number}")
    profile.disable()
    if answer.status_code != 200:
        raise RuntimeError(f"The picture was not drawn: {answer.content[:500]!r}")
    profiling.show(profile, title="50 pictures of the trend", stream=sys.stderr)
