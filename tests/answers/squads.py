"""Athletes as they are stored, made by hand for the overview."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from analytics.selectors import AthleteFacts, OpenAlert, RunUpFacts, SquadFacts
from analytics.selectors.squads import StandingAdvice, StandingFocus, StandingMark
from tests.answers.run_ups import uuid_of

TODAY = date(2026, 5, 20)
NOW = datetime(2026, 5, 20, 9, tzinfo=UTC)
PLAN = uuid_of(1, 1)
THROUGH = uuid_of(3, 9)


def days_ago(days: int) -> datetime:
    return NOW - timedelta(days=days)


def ordinal(days: int) -> int:
    return (TODAY - timedelta(days=days)).toordinal()


def make_mark(**fields: Any) -> StandingMark:
    return StandingMark(
        **{
            "answer": "move",
            "place": "board",
            "n": 12,
            "move_m": -0.12,
            "start_mark_m": 34.08,
            "mean_m": 0.12,
            "low_m": 0.07,
            "high_m": 0.17,
            "probability_off": 0.97,
            **fields,
        }
    )


def make_focus(**fields: Any) -> StandingFocus:
    return StandingFocus(
        **{
            "n": 20,
            "trouble": "unsteady_part",
            "probability": 0.9,
            "estimate": 0.14,
            "size_m": 0.14,
            "part": "acceleration",
            **fields,
        }
    )


def make_advice(**fields: Any) -> StandingAdvice:
    return StandingAdvice(
        **{
            "through_attempt": str(THROUGH),
            "plan": str(PLAN),
            "mark": None,
            "focus": None,
            **fields,
        }
    )


def make_run_up(**fields: Any) -> RunUpFacts:
    return RunUpFacts(
        **{
            "id": uuid_of(2, 1),
            "athlete_id": uuid_of(5, 1),
            "code": "LJ-16",
            "event": "long_jump",
            "steps": 16,
            "plan_id": PLAN,
            "plan_date": date(2026, 3, 1),
            "n": 20,
            "as_of": days_ago(2),
            "is_stale": False,
            "last_started_at": days_ago(2),
            "advice": make_advice(),
            "decided_through": None,
            "decided_answer": None,
            "session_ids": (),
            "session_jumps": (),
            **fields,
        }
    )


def make_athlete(number: int = 1, **fields: Any) -> AthleteFacts:
    """Return an athlete of 16 who needs nobody: measured lately, agreed to, jumped two days ago."""
    return AthleteFacts(
        **{
            "id": uuid_of(5, number),
            "code": f"A-{number:02}",
            "birth_date": date(2010, 1, 1),
            "heights": ((ordinal(130), 1.700), (ordinal(30), 1.702)),
            "has_consent": True,
            "run_ups": (make_run_up(),),
            "alerts": (),
            **fields,
        }
    )


EVIDENCE = {
    "level": '{"level_m": 0.14, "aim_m": 0.06, "side": "short"}',
    "spread": '{"spread_m": 0.16, "usual_spread_m": 0.08}',
    "no_jump_share": '{"n": 20, "n_no_jumps": 11, "value": 0.55, "low": 0.32, "high": 0.77}',
    "progress": '{"spread_before_m": 0.14, "spread_after_m": 0.08, "n_before": 20, "n_after": 20}',
}


def make_alert(kind: str, **fields: Any) -> OpenAlert:
    return OpenAlert(
        **{
            "id": uuid_of(6, 1),
            "approach_id": uuid_of(2, 1),
            "kind": kind,
            "opened_at": days_ago(3),
            "evidence": EVIDENCE[kind],
            **fields,
        }
    )


def make_squad(*athletes: AthleteFacts) -> SquadFacts:
    return SquadFacts(athletes=athletes, ahead=())
