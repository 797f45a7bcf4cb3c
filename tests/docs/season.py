"""A season with one athlete, from the record to looking back, by HTTP and by nothing else.

`docs/tutorial.md` tells such a season to people. Here a program walks it with a jumper whose truth
is known, so that what the service says can be held against it (`test_season.py`).
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import uuid4

from analytics.core.simulator import Athlete
from tests.docs.jumper import Caller, Jumper
from tests.faults.stack import wait_until

SHORT_STEPS, LONG_STEPS = 14, 16
MARK_ERROR_M = 0.30
CUT_M = 5.60
SAFE_AIM_M = 0.12
FIELD_SIZE = 12

# With these the attempts on the longer run-up show what is planted. How often attempts do is in
# docs/metrics/decisions.md.
SHORT_SEED, LONG_SEED = 100, 300

# Steady with few steps; with more of them the board is looked for too late.
SETTLED = Athlete(
    n_steps=SHORT_STEPS,
    start_sd_m=0.05,
    step_sd_m=0.035,
    perception_sd_m=0.03,
    unmeasured_no_jump_share=0.0,
    effective_m=5.55,
)
LENGTHENED = Athlete(
    n_steps=LONG_STEPS,
    mark_error_m=MARK_ERROR_M,
    step_sd_m=0.06,
    steering_from=2,
    steering_gain=0.35,
    unmeasured_no_jump_share=0.0,
    effective_m=5.70,
)
RUNWAY_M = 38.0

PERSON_SCOPES = [
    "club:read",
    "athletes:read",
    "athletes:write",
    "plans:read",
    "plans:write",
    "attempts:read",
    "attempts:write",
    "analytics:read",
    "analytics:write",
]


@dataclass
class Season:
    """Who walks, who is walked with, and what was answered on the way, by stage."""

    admin: Caller
    coach: Caller = field(init=False)
    gates: Caller = field(init=False)
    now: datetime = field(default_factory=lambda: datetime.now(UTC))
    code: str = field(default_factory=lambda: f"W-{uuid4().hex[:6]}")
    said: dict[str, Any] = field(default_factory=dict)
    jumps: dict[str, list[Any]] = field(default_factory=dict)

    def day(self, ago: int) -> date:
        return (self.now - timedelta(days=ago)).date()

    def afternoon(self, ago: int) -> datetime:
        return datetime.combine(self.day(ago), datetime.min.time(), UTC) + timedelta(hours=14)

    def keep(self, attempt: dict[str, Any]) -> None:
        """Remember a jump as it was sent, to be reckoned with afterwards."""
        if attempt["finish"] == "jump":
            self.jumps.setdefault(attempt["approach"], []).append(attempt)

    def named(self, name: str) -> str:
        """Return a name that no other walk in this club has."""
        return f"{self.code} {name}"


def walk(admin: Caller) -> Season:
    """Walk the season, and return what was answered."""
    season = Season(admin)
    keep_records(season)
    short = plan_and_rehearse(season)
    train_until_ready(season, short)
    long = lengthen(season)
    find_the_wrong_mark(season, long)
    move_the_mark(season, long)
    practise(season, long)
    compete(season, long)
    look_back(season)
    return season


def keep_records(season: Season) -> None:
    """Have the admin write down who there is, and hand out tokens."""
    admin = season.admin
    athlete = admin.post(
        "athletes/",
        {
            "code": season.code,
            "given_name": "Hanne",
            "family_name": "Eschwald",
            "birth_date": season.day(17 * 365 + 120).isoformat(),
            "take_off_foot": "left",
            "shoe_length_m": 0.27,
        },
    )
    season.said["athlete"] = athlete
    admin.post(
        "consents/",
        {
            "athlete": athlete["id"],
            "purpose": "training_records",
            "given_by": "guardian",
            "text_version": "2026-01",
            "from_date": season.day(240).isoformat(),
        },
    )
    squad = admin.post("squads/", {"name": season.named("squad")})
    admin.post(
        f"squads/{squad['id']}/members/",
        {"athlete": athlete["id"], "from_date": season.day(240).isoformat()},
    )
    member = admin.post(
        "members/", {"email": f"{season.code.lower()}@example.org", "role": "coach"}
    )
    admin.post(
        "coach-assignments/",
        {"coach": member["id"], "squad": squad["id"], "from_date": season.day(240).isoformat()},
    )
    season.coach = caller_of(
        admin, f"members/{member['id']}/tokens/", {"name": "Notebook", "scopes": PERSON_SCOPES}
    )
    source = admin.post("sources/", {"name": season.named("gates"), "kind": "device"})
    season.gates = caller_of(
        admin,
        f"sources/{source['id']}/tokens/",
        {"name": "Gates", "scopes": ["attempts:write", "gates:write", "plans:read"]},
    )
    season.said["squad"] = squad
    of_athlete = f"athletes/{athlete['id']}"
    for ago, height_m in ((200, 1.702), (20, 1.706)):
        season.coach.post(
            f"{of_athlete}/measurements/",
            {
                "measured_date": season.day(ago).isoformat(),
                "height_m": height_m,
                "leg_length_m": 0.86,
            },
        )
    season.coach.post(
        f"{of_athlete}/sprint-tests/",
        {
            "tested_date": season.day(200).isoformat(),
            "start": "standing",
            "splits": [
                {"at_m": 5, "time_s": 1.28},
                {"at_m": 10, "time_s": 2.01},
                {"at_m": 20, "time_s": 3.27},
                {"at_m": 30, "time_s": 4.44},
                {"at_m": 40, "time_s": 5.60},
            ],
        },
    )


def caller_of(admin: Caller, path: str, token: dict[str, Any]) -> Caller:
    made = admin.post(path, token, Idempotency_Key=uuid4().hex)
    return Caller(admin.base_url, admin.club, made["secret"])


def make_run_up(season: Season, habits: Athlete, *, ago: int, seed: int) -> Jumper:
    """Have the coach write down a run-up, with the plan that the service designs for it.

    The jumper's natural run-up is the designed one. Who really runs is off by metres at first; how
    a design learns from that is tested by itself.
    """
    approach = season.coach.post(
        "approaches/",
        {
            "athlete": season.said["athlete"]["id"],
            "code": f"LJ-{habits.n_steps}",
            "event": "long_jump",
            "steps": habits.n_steps,
            "start_style": "standing",
        },
    )
    season.said[approach["code"]] = approach
    design = season.coach.post(
        "approaches/design/", {"approach": approach["id"], "runway_m": RUNWAY_M}
    )
    season.said[f"design of {approach['code']}"] = design
    plan = season.coach.post(
        f"approaches/{approach['id']}/plans/",
        {**design["plan"], "valid_from": season.afternoon(ago).isoformat()},
        If_Match='"0"',
        Idempotency_Key=uuid4().hex,
    )
    return Jumper(
        habits=habits,
        code=season.code,
        approach=approach["code"],
        planned_toe_m=plan["toe_m"][::-1],
        start_mark_m=plan["start_mark_m"],
        seed=seed,
    )


def push(season: Season, attempts: list[Any]) -> None:
    outcome = season.gates.post("attempts/batch/?make_sessions=true", attempts)
    assert outcome["complete"], outcome
    for attempt in attempts:
        season.keep(attempt)


def train(season: Season, jumper: Jumper, *agos: int, n: int = 6) -> None:
    for ago in agos:
        name = season.named(f"{jumper.approach} {ago}")
        push(season, jumper.jump(name, season.afternoon(ago), n))


def plan_and_rehearse(season: Season) -> Jumper:
    """Lay out the short run-up, and rehearse it phase by phase."""
    short = make_run_up(season, SETTLED, ago=150, seed=SHORT_SEED)
    transition = season.said["design of LJ-14"]["plan"]["phase_starts"]["transition"]
    session, begin = season.named("rehearsal"), season.afternoon(148)
    drills = short.drill(session, begin, 4, to_footfall=transition)
    through = short.jump(session, begin + timedelta(hours=1), 3, finish="run_through")
    push(season, drills + through)
    return short


def train_until_ready(season: Season, short: Jumper) -> None:
    train(season, short, 140, 133, 126, 119)
    path = path_of(season, short)
    season.said["consistency"] = fresh(season, f"{path}/consistency", lambda read: read["n"] == 24)
    season.said["early practice"] = season.coach.get(f"{path}/practice-focus")
    season.said["length advice"] = season.coach.get(f"{path}/length-advice")


def lengthen(season: Season) -> Jumper:
    """Follow the advice and lay out two steps more; the tape was laid wrongly, and nobody knows."""
    read = season.said["length advice"]
    season.said["lengthened"] = season.coach.post(
        f"approaches/{season.said[f'LJ-{SHORT_STEPS}']['id']}/advice/",
        {
            "kind": "length",
            "through_attempt": read["through_attempt"],
            "answer": read["advice"]["answer"],
            "decision": "followed",
        },
        Idempotency_Key=uuid4().hex,
    )
    return make_run_up(season, LENGTHENED, ago=100, seed=LONG_SEED)


def find_the_wrong_mark(season: Season, long: Jumper) -> None:
    train(season, long, 90, 83, 76, 69)
    path = path_of(season, long)
    season.said["trouble"] = season.coach.get(f"{path}/practice-focus")
    season.said["mark advice"] = season.coach.get(f"{path}/mark-advice")
    season.said["needs the coach"] = overview_of(season)


def move_the_mark(season: Season, long: Jumper) -> None:
    """Follow the advice: one call records it and publishes the plan."""
    path = path_of(season, long)
    plans = season.coach.ask("GET", f"{path}/plans/")
    read = season.said["mark advice"]
    season.said["decision"] = season.coach.post(
        f"{path}/advice/",
        {
            "kind": "mark",
            "through_attempt": read["through_attempt"],
            "answer": read["advice"]["answer"],
            "start_mark_m": read["advice"]["start_mark_m"],
            "decision": "followed",
            "publish": True,
            "reason": "Short in four sessions.",
        },
        If_Match=plans.etag,
        Idempotency_Key=uuid4().hex,
    )
    season.said["moved plan"] = season.coach.get(f"{path}/plans/current/")
    long.move_mark(season.said["moved plan"]["start_mark_m"])
    season.said["left_m"] = long.habits.mark_error_m


def train_later(season: Season, jumper: Jumper, hours: int, n: int) -> None:
    begin = season.now + timedelta(hours=hours)
    push(season, jumper.jump(season.named(f"new mark {hours}"), begin, n))


def practise(season: Season, long: Jumper) -> None:
    """Two sessions from the new mark and a short one, in the hours to come.

    A plan holds from its moment on. Two sessions show what to practise; how sure it is what
    another aim would change, two cannot show.
    """
    path = path_of(season, long)
    for hours, n in ((1, 8), (4, 8)):
        train_later(season, long, hours, n)
    season.said["practice"] = season.coach.get(f"{path}/practice-focus")
    season.said["steering"] = season.coach.get(f"{path}/steering")
    train_later(season, long, 6, 2)
    season.said["what if"] = worked_out(season, f"{path}/what-if", {"aim_m": SAFE_AIM_M})
    season.said["needs the coach still"] = overview_of(season)
    season.said["mark after"] = season.coach.get(f"{path}/mark-advice")
    long.change(steering_from=5)  # the coach saw to it


def compete(season: Season, long: Jumper) -> None:
    """Warm up with three run-throughs, then jump until the cut, and three times more."""
    begin = season.now + timedelta(hours=8)
    coach = season.coach
    session = coach.post(
        "sessions/",
        {
            "code": season.named("championships"),
            "held_date": begin.date().isoformat(),
            "kind": "competition",
            "field_size": FIELD_SIZE,
        },
    )
    season.said["card"] = coach.read_text(f"{path_of(season, long)}/card", "text/html")
    path = f"sessions/{session['id']}"
    for each in long.jump(session["code"], begin, 3, finish="run_through"):
        type_in(season, path, each)
    season.said["warm-up"] = coach.get(f"{path}/warm-up")["results"]
    said, jumps = [], []
    mark_m, aim_moves_m = long.start_mark_m, 0.0
    for place in range(6):
        (jump,) = long.jump(
            session["code"],
            begin + timedelta(hours=1, minutes=20 * place),
            1,
            from_mark_m=mark_m,
            aim_moves_m=aim_moves_m,
        )
        type_in(season, path, jump)
        jumps.append(jump)
        # Only before the third does anybody know what the best eight will take.
        query = "?attempts=6" + (f"&cut_m={CUT_M}" if place == 1 else "")
        (answer,) = coach.get(f"{path}/next-attempt{query}")["results"]
        said.append(answer)
        mark_m, aim_moves_m = answer["start_mark_m"], answer["aim_moves_m"]
    season.said["jumps"], season.said["next attempts"] = jumps, said
    season.said["competition"] = session


def type_in(season: Season, path: str, attempt: dict[str, Any]) -> None:
    """Enter an attempt by hand, as from the side of the runway."""
    sheet = {name: value for name, value in attempt.items() if name not in _OF_A_SOURCE}
    season.coach.post(f"{path}/attempts/", sheet, Idempotency_Key=uuid4().hex)
    season.keep(attempt)


_OF_A_SOURCE = {"external_id", "session"}


def look_back(season: Season) -> None:
    path = f"approaches/{season.said[f'LJ-{LONG_STEPS}']['id']}"
    season.said["afterwards"] = season.coach.get(f"{path}/advice/")["results"][0]["afterwards"]
    season.said["report"] = season.coach.get(
        f"reports/season/athletes/{season.said['athlete']['id']}"
        f"?from={season.day(240)}&to={season.day(-1)}"
    )
    season.said["summary"] = season.coach.get(f"{path}/advice/summary")
    season.said["plans"] = season.coach.get(f"{path}/plans/")["results"]
    season.said["alerts"] = season.coach.get(f"alerts/?athlete={season.said['athlete']['id']}")[
        "results"
    ]


def overview_of(season: Season) -> Any:
    """Return what the overview of the squad says of its only athlete."""
    path = f"overview?squad={season.said['squad']['id']}"
    (row,) = fresh(season, path, lambda read: True)["results"]
    return row


def worked_out(season: Season, path: str, question: dict[str, Any]) -> Any:
    """Ask what takes longer, and return the answer once a worker has it."""
    asked = season.coach.ask("POST", path, question)
    address = f"work/{asked.body['id']}/"
    kept = [asked.body]

    def is_over() -> bool:
        kept[:] = [season.coach.ask("GET", address, Prefer="wait=5").body]
        return kept[0]["state"] not in {"waiting", "running"}

    wait_until(is_over, path, patience_seconds=120)
    assert kept[0]["state"] == "done", kept[0]
    return kept[0]["answer"]


def path_of(season: Season, jumper: Jumper) -> str:
    return f"approaches/{season.said[jumper.approach]['id']}"


def fresh(season: Season, path: str, holds: Callable[[Any], bool]) -> Any:
    """Return a stored figure once the worker has brought it up to date."""
    kept: list[Any] = []

    def is_fresh() -> bool:
        kept[:] = [season.coach.get(path)]
        return not kept[0]["stale"] and holds(kept[0])

    wait_until(is_fresh, path)
    return kept[0]
