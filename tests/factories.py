"""Rows for tests, made through the services that make them in earnest."""

import csv
import io
import itertools
import json
from collections.abc import Collection
from datetime import UTC, date, datetime, timedelta
from typing import Any

import msgspec

from analytics.models import (
    Advice,
    AdviceDecision,
    AdviceKind,
    Alert,
    AlertKind,
    AskedWork,
    WorkKind,
    WorkState,
)
from analytics.services import squad_seasons
from analytics.services.method import METHOD
from approaches.models import (
    Approach,
    Attempt,
    FinishClass,
    GateRun,
    Plan,
    QuarantinedRow,
    Session,
    SessionKind,
    StartStyle,
)
from approaches.services import gate_runs, pushing
from approaches.services.batches import read_json_batch
from approaches.services.gate_times import GATE_RUNS, GateTimes
from approaches.services.readings import ATTEMPTS, Reading, Row
from athletes.models import Athlete, BodyMeasurement, Consent, SprintTest
from clubs.models import Club, Event, Membership, Role, Runway, Source, SourceKind, Squad
from clubs.selectors import Caller, find_caller
from clubs.services import access, founding, people, places
from common.club_scope import club_scope

_numbers = itertools.count(1)
_OF_A_CHART = {
    "value": 4.0,
    "limit": 3.2,
    "since_session_point": 3,
    "n_session_points": 6,
    "n_baseline_attempts": 22,
    "n_baseline_sessions": 4,
    "false_alarms_per_session": 0.005,
}
# Evidence by kind of alert, in the fields that its rule gives.
_EVIDENCE: dict[str, dict[str, Any]] = {
    AlertKind.NO_JUMP_SHARE: {
        "n": 20,
        "n_no_jumps": 11,
        "value": 0.55,
        "low": 0.32,
        "high": 0.77,
        "level": 0.95,
        "limit": 0.3,
        "false_alarms_per_look": 0.02,
    },
    AlertKind.LEVEL: {"level_m": 0.12, "side": "short", "aim_m": 0.06, **_OF_A_CHART},
    AlertKind.SPREAD: {"spread_m": 0.16, "usual_spread_m": 0.08, **_OF_A_CHART},
}


def make_club(**fields: Any) -> Club:
    number = next(_numbers)
    return founding.found_club(
        **{"slug": f"club-{number}", "name": f"Club {number}", "country": "AT", **fields}
    )


def make_member(club: Club, role: Role = Role.COACH, **fields: Any) -> Membership:
    return people.add_member(
        club=club, role=role, **{"email": f"person-{next(_numbers)}@example.org", **fields}
    )


def make_source(club: Club, kind: SourceKind = SourceKind.DEVICE, **fields: Any) -> Source:
    return access.add_source(club=club, kind=kind, **{"name": f"Gate {next(_numbers)}", **fields})


def make_runway(club: Club, **fields: Any) -> Runway:
    return places.add_runway(
        club=club, **{"name": f"Runway {next(_numbers)}", "surface": "polyurethane", **fields}
    )


def make_squad(club: Club, **fields: Any) -> Squad:
    return people.add_squad(club=club, **{"name": f"Squad {next(_numbers)}", **fields})


def make_device_token(
    club: Club, *, source: Source | None = None, scopes: Collection[str] | None = None
) -> str:
    return access.add_token(
        club=club,
        name="device",
        scopes=access.DEVICE_SCOPES if scopes is None else scopes,
        source=source or make_source(club),
    ).secret


def make_person_token(membership: Membership, *, scopes: Collection[str] | None = None) -> str:
    return access.add_token(
        club=Club(id=membership.club_id),
        name="person",
        scopes=access.PERSON_SCOPES if scopes is None else scopes,
        membership=membership,
    ).secret


def make_caller(club: Club, role: Role = Role.ADMIN) -> Caller:
    return find_caller(make_person_token(make_member(club, role)))


def make_athlete(club: Club, **fields: Any) -> Athlete:
    number = next(_numbers)
    with club_scope(club):
        return Athlete.objects.create(
            club=club,
            **{
                "code": f"A-{number}",
                "given_name": "Benno",
                "family_name": f"Berg {number}",
                "birth_date": date(2008, 3, 1),
                **fields,
            },
        )


def make_measurement(athlete: Athlete, **fields: Any) -> BodyMeasurement:
    return _make_for(
        BodyMeasurement, athlete, {"measured_date": date(2026, 3, 1), "height_m": 1.67, **fields}
    )


def make_sprint_test(athlete: Athlete, **fields: Any) -> SprintTest:
    splits = [{"at_m": 10.0, "time_s": 2.0}, {"at_m": 20.0, "time_s": 3.2}]
    return _make_for(
        SprintTest,
        athlete,
        {"tested_date": date(2026, 3, 1), "start": "standing", "splits": splits, **fields},
    )


def make_consent(athlete: Athlete, **fields: Any) -> Consent:
    return _make_for(
        Consent,
        athlete,
        {
            "purpose": Consent.Purpose.TRAINING_RECORDS,
            "given_by": Consent.GivenBy.GUARDIAN,
            "text_version": "2025-09",
            "from_date": date(2025, 9, 1),
            **fields,
        },
    )


def _make_for(kind: Any, athlete: Athlete, fields: dict[str, Any]) -> Any:
    with club_scope(athlete.club_id):
        return kind.objects.create(club_id=athlete.club_id, athlete=athlete, **fields)


def make_approach(athlete: Athlete, **fields: Any) -> Approach:
    with club_scope(athlete.club_id):
        return Approach.objects.create(
            club_id=athlete.club_id,
            athlete=athlete,
            **{
                "code": "LJ-16",
                "event": Event.LONG_JUMP,
                "steps": 16,
                "start_style": StartStyle.STANDING,
                **fields,
            },
        )


def make_plan(approach: Approach, **fields: Any) -> Plan:
    with club_scope(approach.club_id):
        return Plan.objects.create(
            club_id=approach.club_id,
            approach=approach,
            **{
                "revision": 1,
                "valid_from": datetime(2026, 1, 1, tzinfo=UTC),
                "start_mark_m": 34.20,
                "aim_m": 0.06,
                **fields,
            },
        )


def make_session(club: Club, **fields: Any) -> Session:
    with club_scope(club):
        return Session.objects.create(
            club=club,
            **{
                "code": f"session-{next(_numbers)}",
                "held_date": date(2026, 5, 2),
                "kind": SessionKind.TRAINING,
                **fields,
            },
        )


def make_reading(athlete: Athlete, session: Session, /, **fields: Any) -> dict[str, Any]:
    """Return an attempt as a source would send it; `fields` replace or, when None, remove."""
    reading = {
        "external_id": f"run-{next(_numbers):06}",
        "athlete": f"ext:{athlete.code}",
        "approach": "LJ-16",
        "session": session.code,
        "started_at": "2026-05-02T09:14:07.250+02:00",
        "finish": "jump",
        "start_mark_m": 34.20,
        "wind_mps": 0.8,
        "outcome": "valid",
        "official_m": "6.41",
        "footfalls": {
            "toe_m": [0.07, 2.21, 4.58],
            "touchdown_s": [5.312, 5.080, 4.826],
            "toe_off_s": [5.428, 5.181, 4.935],
            "contact": ["flat", "flat", "ball"],
        },
        "gates": {"at_m": [31, 11, 6, 1], "time_s": [1.052, 4.154, 4.700, 5.241]},
        **fields,
    }
    return {name: value for name, value in reading.items() if value is not None}


def make_gate_times(athlete: Athlete | None = None, /, **fields: Any) -> dict[str, Any]:
    """Return a gate run as a source would send it; `fields` replace or, when None, remove."""
    sent = {
        "external_id": f"gates-{next(_numbers):06}",
        "athlete": None if athlete is None else f"ext:{athlete.code}",
        "started_at": "2026-05-02T09:14:09.100+02:00",
        "at_m": [31, 11, 6, 1],
        "time_s": [1.052, 4.154, 4.700, 5.241],
        **fields,
    }
    return {name: value for name, value in sent.items() if value is not None}


def gate_rows_of(*sent: dict[str, Any]) -> list[Row[GateTimes]]:
    return read_json_batch(json.dumps(sent).encode(), GATE_RUNS)


def make_gate_run(source: Source, athlete: Athlete | None = None, /, **fields: Any) -> GateRun:
    sent = make_gate_times(athlete, **fields)
    club = Club(id=source.club_id)
    outcome = gate_runs.record_gate_runs(club=club, source_id=source.id, rows=gate_rows_of(sent))
    assert outcome.complete, outcome.rows
    with club_scope(club):
        return GateRun.objects.get(source=source, external_id=sent["external_id"])


def rows_of(*readings: dict[str, Any]) -> list[Row[Reading]]:
    return read_json_batch(json.dumps(readings).encode(), ATTEMPTS)


def make_attempt(source: Source, athlete: Athlete, session: Session, /, **fields: Any) -> Attempt:
    reading = make_reading(athlete, session, **fields)
    club = Club(id=source.club_id)
    outcome = pushing.record_attempts(club=club, source_id=source.id, rows=rows_of(reading))
    assert outcome.complete, outcome.rows
    with club_scope(club):
        return Attempt.objects.get(source=source, external_id=reading["external_id"])


def make_quarantined_row(source: Source, athlete: Athlete) -> QuarantinedRow:
    """Return a row that was refused, and can be stored now: its session came after it."""
    club = Club(id=source.club_id)
    late = Session(code=f"late-{next(_numbers)}")
    reading = make_reading(athlete, late)
    outcome = pushing.record_attempts(club=club, source_id=source.id, rows=rows_of(reading))
    assert outcome.rejected == 1, outcome
    make_session(club, code=late.code)
    with club_scope(club):
        return QuarantinedRow.objects.get(source=source, external_id=reading["external_id"])


def make_alert(attempt: Attempt, **fields: Any) -> Alert:
    kind = fields.get("kind", AlertKind.NO_JUMP_SHARE)
    with club_scope(attempt.club_id):
        return Alert.objects.create(
            club_id=attempt.club_id,
            approach_id=attempt.approach_id,
            **{
                "finish_class": FinishClass.JUMP,
                "kind": kind,
                "plan_id": attempt.plan_id,
                "opened_at_attempt": attempt,
                "opened_at": attempt.started_at,
                "evidence": _EVIDENCE[kind],
                **fields,
            },
        )


def make_work(*athletes: Athlete, **fields: Any) -> AskedWork:
    """Return a question about athletes of one club that waits for a worker."""
    club_id = athletes[0].club_id
    with club_scope(club_id):
        return AskedWork.objects.create(
            club_id=club_id,
            **{
                "kind": WorkKind.WHAT_IF,
                "asked": {
                    "approach": str(athletes[0].id),
                    "finish": "jump",
                    "last": 40,
                    "choices": {"move_mark_m": -0.1},
                },
                "athlete_ids": [each.id for each in athletes],
                "forget_at": datetime.now(UTC) + timedelta(days=7),
                "method": 1,
                **fields,
            },
        )


def make_squad_season(squad: Squad, *athletes: Athlete) -> AskedWork:
    """Return the season of a squad, worked out as a worker does."""
    asked = {
        "squad": str(squad.id),
        "athletes": [str(each.id) for each in athletes],
        "from_date": "2025-10-01",
        "to_date": "2026-09-30",
    }
    with club_scope(squad.club_id):
        rows = squad_seasons.read(asked)
    answer = squad_seasons.work_out(rows, asked, lambda _done, _of: None)
    return make_work(
        *athletes,
        kind=WorkKind.SQUAD_SEASON,
        asked=asked,
        state=WorkState.DONE,
        answer=msgspec.to_builtins(answer),
        method=METHOD,
    )


def make_advice(attempt: Attempt, **fields: Any) -> Advice:
    """Return an advice of after an attempt: move the mark by 12 cm toward the pit; declined."""
    with club_scope(attempt.club_id):
        return Advice.objects.create(
            club_id=attempt.club_id,
            approach_id=attempt.approach_id,
            **{
                "finish_class": FinishClass.JUMP,
                "kind": AdviceKind.MARK,
                "answer": "move",
                "figures": {
                    "move_m": -0.12,
                    "start_mark_m": 34.08,
                    "began_m": 34.20,
                    "footfall": 0,
                    "at_m": None,
                    "limit_m": 0.05,
                },
                "told": {"text": "Move the start mark by 12 cm toward the pit.", "reasons": []},
                "n": 1,
                "first_started_at": attempt.started_at,
                "through_attempt": attempt,
                "through_started_at": attempt.started_at,
                "as_of": attempt.created_at,
                "method": 1,
                "plan_id": attempt.plan_id,
                "decision": AdviceDecision.DECLINED,
                "reason": "The runway was wet.",
                "decided_at": attempt.created_at,
                **fields,
            },
        )


def csv_of(*readings: dict[str, Any], line_break: str = "\r\n") -> bytes:
    """Return readings as a table, written by Python's own writer; a key may be a column, too."""
    rows = [_cells_of(reading) for reading in readings]
    columns = list(dict.fromkeys(name for row in rows for name in row))
    table = io.StringIO(newline="")
    writer = csv.DictWriter(table, columns, lineterminator=line_break)
    writer.writeheader()
    writer.writerows(rows)
    return table.getvalue().encode()


_COLUMN_OF_GATES: dict[Any, str] = {"at_m": "gate_at_m", "time_s": "gate_time_s"}


def _cells_of(reading: dict[str, Any]) -> dict[str, Any]:
    cells: dict[str, Any] = {}
    for name, value in reading.items():
        if isinstance(value, dict):
            cells |= _cells_of({_COLUMN_OF_GATES.get(key) or key: value[key] for key in value})
        elif isinstance(value, list):
            cells |= {f"{name}_{place}": cell for place, cell in enumerate(value)}
        else:
            cells[name] = str(value).lower() if isinstance(value, bool) else value
    return cells
