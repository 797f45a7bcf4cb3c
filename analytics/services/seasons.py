"""A season in sum: of an athlete, in figures and plain words."""

import dataclasses
from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from analytics import selectors
from analytics.answers import (
    alert_words,
    looking_back,
    practice_focus,
    season,
    season_athlete_words,
    season_words,
    told,
)
from analytics.answers.remembered import memory
from analytics.answers.season import AthleteSeason
from analytics.answers.season_run_up import RunUpSeason
from analytics.models import Alert
from analytics.selectors import Season
from analytics.services import afterwards
from analytics.services.figures import as_json
from analytics.services.method import METHOD
from clubs.selectors import Caller

Report = dict[str, Any]


def report_on(
    caller: Caller, athlete_id: UUID, *, from_date: date, to_date: date, today: date
) -> Report:
    """Return the season of an athlete whom the caller may see, in the language that is in use.

    Raises
    ------
    UnknownAthleteError
        There is none, or it is a stranger.
    """
    read = selectors.read_season_for(
        caller, athlete_id, from_date=from_date, to_date=to_date, today=today
    )
    return report_of(read)


def report_of(read: Season) -> Report:
    """Return a season as it is answered, printed and shown: sections with a text and figures."""
    found = work_out(read)
    changed = [at for each in read.run_ups for at in each.run_ups.changed_at]
    return {
        "athlete": read.athlete.id,
        "athlete_code": read.athlete.code,
        "from_date": read.from_date,
        "to_date": read.to_date,
        "as_of": max(changed, default=None),
        "n": found.n,
        "n_sessions": found.n_sessions,
        "stale": read.is_stale,
        "method": METHOD,
        "text": season_athlete_words.summary_text(found),
        "caution": told.caution(),
        "run_ups": [_run_up(each) for each in found.run_ups],
        "bests": [
            {"text": season_athlete_words.best_text(each), **as_json(each)} for each in found.bests
        ],
        "competitions": {
            "text": season_athlete_words.competitions_text(found.competitions),
            "results": [
                {"text": season_athlete_words.competition_text(each), **as_json(each)}
                for each in found.competitions
            ],
        },
        "lengths": {
            "text": season_athlete_words.lengths_text(found.lengths),
            "results": as_json(found.lengths),
        },
        "growth": _growth(found),
        "load": _load(found),
        "alerts": {
            "text": season_athlete_words.alerts_text(read.alerts),
            "results": [_alert(each, _codes(read)) for each in read.alerts],
        },
        "advice": _advice(read),
        "unknown": _unknown(found),
    }


def work_out(read: Season) -> AthleteSeason:
    """Return the figures of a season; of the same attempts they are not worked out again."""
    found = memory.recall(("season", read.athlete.id, read.key), lambda: season.work_out(read))
    # What else a season holds may have changed meanwhile.
    return dataclasses.replace(found, season=read)


def _run_up(found: RunUpSeason) -> Report:
    approach = found.found.approach
    said = practice_focus.tell(found.focus)
    return {
        "approach": approach.id,
        "code": approach.code,
        "event": approach.event,
        "steps": approach.steps,
        "start_style": approach.start_style,
        "n": len(found.found.run_ups),
        "n_sessions": found.n_sessions,
        "n_run_throughs": found.found.n_run_throughs,
        "first_date": found.first_date,
        "last_date": found.last_date,
        "plans": {
            "text": season_words.plans_text(found.revisions),
            "revisions": as_json(found.revisions),
        },
        "consistency": {
            "text": season_words.change_text(found.change),
            "change": as_json(found.change),
        },
        "shift": {"text": season_words.shift_text(found.shift), "found": as_json(found.shift)},
        "board": {
            "text": season_words.board_text(found.board),
            "on_board": as_json(found.board.on_board),
            "no_jumps": as_json(found.board.no_jumps),
        },
        "no_jumps": {
            "text": season_words.kinds_text(found.board),
            "by_kind": as_json(found.board.by_kind),
        },
        "rhythm": {
            "text": season_words.rhythm_text(found),
            "length_ratio_2": as_json(found.length_ratio_2),
            "length_ratio_1": as_json(found.length_ratio_1),
        },
        "speed": {
            "text": season_words.speed_text(found),
            "speed_6_1_mps": as_json(found.speed_6_1_mps),
            "speed_gain_mps": as_json(found.speed_gain_mps),
        },
        "next": {
            "text": said.text,
            "reasons": as_json([dataclasses.asdict(each) for each in said.reasons]),
            "would_change": list(said.would_change),
        },
    }


def _growth(found: AthleteSeason) -> Report:
    grown = found.grown
    figures = as_json(grown.growth)
    return {
        "text": season_athlete_words.growth_text(grown),
        "heights": [{"measured_date": day, "height_m": height} for day, height in grown.heights],
        "grown_m": grown.grown_m,
        "velocity_m_per_year": figures.get("velocity_m_per_year"),
        "velocity_interval": figures.get("velocity_interval"),
        "caution": season_athlete_words.body_caution(),
    }


def _load(found: AthleteSeason) -> Report:
    load = found.load.load
    return {
        "text": season_athlete_words.load_text(found.load),
        "n": load.n,
        "longest_steps": found.load.longest_steps,
        "most_in_session": load.most_in_session,
        "session_limit": load.session_limit,
        "most_in_week": load.most_in_week,
        "first_week_from_date": found.load.first_week_from_date,
        "weeks": list(load.weeks),
        "caution": season_athlete_words.body_caution(),
    }


def _codes(read: Season) -> Mapping[UUID, str]:
    return {each.approach.id: each.approach.code for each in read.run_ups}


def _alert(alert: Alert, codes: Mapping[UUID, str]) -> Report:
    return {
        "id": alert.id,
        "kind": alert.kind,
        "text": alert_words.say_found(alert.kind, alert.evidence),
        "approach": alert.approach_id,
        "approach_code": codes.get(alert.approach_id),
        "opened_at": alert.opened_at,
        "closed_at": alert.closed_at,
        "closed_because": alert.closed_because,
    }


def _advice(read: Season) -> Report:
    """Return what was decided about advice in the season, and how often it was right afterwards."""
    looked = afterwards.look_back_on(read.advice)
    tallies = looking_back.count_up((each, looked[each.id]) for each in read.advice)
    codes = _codes(read)
    results = []
    for each in read.advice:
        after = looked[each.id]
        results.append(
            {
                "id": each.id,
                "kind": each.kind,
                "approach": each.approach_id,
                "approach_code": codes.get(each.approach_id),
                "answer": each.answer,
                "decision": each.decision,
                "decided_at": each.decided_at,
                "verdict": None if after is None else after.look.verdict.value,
                "afterwards_text": None if after is None else looking_back.tell_of(after),
            }
        )
    return {
        "text": looking_back.tell_tallies(tallies),
        "results": results,
        "tallies": as_json(tallies),
    }


def _unknown(found: AthleteSeason) -> list[Report]:
    """Return what the season does not tell, and why."""
    lacking = [
        {"code": code, "approach": each.found.approach.id, "text": text}
        for each in found.run_ups
        for code, text in season_words.unknown_of(each)
    ]
    if len(found.grown.heights) < 2:  # one height tells no growth
        text = season_athlete_words.growth_text(found.grown)
        lacking.append({"code": "growth", "approach": None, "text": text})
    return lacking
