"""What can be chosen for a benchmark on the command line."""

import argparse
from dataclasses import dataclass, fields


@dataclass(frozen=True)
class PushOptions:
    attempts: int
    peer_attempts: int
    rounds: int
    profile: bool


@dataclass(frozen=True)
class PushOneOptions:
    pushes: int
    rounds: int
    profile: bool


@dataclass(frozen=True)
class VisibleOptions:
    seconds: float
    other_seconds: float
    rate: int
    batch: int
    polls: int
    profile: bool


@dataclass(frozen=True)
class StartOptions:
    rounds: int
    tests: bool
    profile: bool


@dataclass(frozen=True)
class TrendOptions:
    reads: int
    rounds: int
    clients: int
    series: int
    attempts: int
    profile: bool


@dataclass(frozen=True)
class AnswersOptions:
    reads: int
    rounds: int
    clients: int
    profile: bool


@dataclass(frozen=True)
class AimOptions:
    rounds: int
    competitions: int
    profile: bool


@dataclass(frozen=True)
class RebuildOptions:
    rounds: int
    series: int
    attempts: int
    profile: bool


@dataclass(frozen=True)
class RefreshOptions:
    rounds: int
    short: int
    series: int
    profile: bool


@dataclass(frozen=True)
class LookOptions:
    reads: int
    rounds: int
    profile: bool


Options = (
    PushOptions
    | PushOneOptions
    | VisibleOptions
    | StartOptions
    | TrendOptions
    | AnswersOptions
    | AimOptions
    | RebuildOptions
    | RefreshOptions
    | LookOptions
)
_KINDS: dict[str, type[Options]] = {
    "aim": AimOptions,
    "answers": AnswersOptions,
    "push": PushOptions,
    "push-one": PushOneOptions,
    "visible": VisibleOptions,
    "start": StartOptions,
    "trend": TrendOptions,
    "rebuild": RebuildOptions,
    "refresh": RefreshOptions,
    "look": LookOptions,
}


def parse(arguments: list[str] | None = None) -> tuple[str, bool, Options]:
    """Return the name of the benchmark, whether JSON is wanted, and the benchmark's options."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench",
        description="Time what Penult does beside a peer and a limit, in one run.",
        formatter_class=argparse.ArgumentDefaultsHelpFormatter,
    )
    every = argparse.ArgumentParser(add_help=False)
    every.add_argument("--json", action="store_true", help="print one JSON object")
    every.add_argument("--profile", action="store_true", help="say on stderr where the time goes")
    names = parser.add_subparsers(dest="name", required=True)

    push = names.add_parser("push", parents=[every], help="a batch over HTTP")
    push.add_argument("--attempts", type=_count, default=1000, help="in a batch")
    push.add_argument("--peer-attempts", type=_count, default=100, help="in a batch of the peer")
    push.add_argument("--rounds", type=_count, default=9, help="counted rounds")

    push_one = names.add_parser("push-one", parents=[every], help="a single attempt over HTTP")
    push_one.add_argument("--pushes", type=_count, default=100, help="in a round, one by one")
    push_one.add_argument("--rounds", type=_count, default=15, help="counted rounds")

    visible = names.add_parser("visible", parents=[every], help="from a push to its figures")
    visible.add_argument("--seconds", type=_count, default=60, help="under load")
    visible.add_argument("--other-seconds", type=_count, default=15, help="for peer and limit")
    visible.add_argument("--rate", type=_count, default=200, help="attempts a second")
    visible.add_argument("--batch", type=_count, default=10, help="attempts in a push")
    visible.add_argument("--polls", type=_count, default=48, help="reads a second")

    start = names.add_parser("start", parents=[every], help="from the command to an answer")
    start.add_argument("--rounds", type=_count, default=3, help="counted rounds")
    start.add_argument("--tests", action="store_true", help="time script/test as well")

    trend = names.add_parser("trend", parents=[every], help="the last 100 points of a series")
    trend.add_argument("--reads", type=_count, default=200, help="in a round, of each contestant")
    trend.add_argument("--rounds", type=_count, default=15, help="counted rounds")
    trend.add_argument("--clients", type=_count, default=4, help="that ask side by side")
    trend.add_argument("--series", type=_count, default=10_000, help="attempts in the long series")
    trend.add_argument("--attempts", type=_count, default=1_000_000, help="in the large database")

    answers = names.add_parser("answers", parents=[every], help="answers to a coach's questions")
    answers.add_argument("--reads", type=_count, default=200, help="in a round, of each contestant")
    answers.add_argument("--rounds", type=_count, default=9, help="counted rounds")
    answers.add_argument("--clients", type=_count, default=4, help="that ask side by side")

    aim = names.add_parser("aim", parents=[every], help="the best aim for the attempts left")
    aim.add_argument("--rounds", type=_count, default=40, help="counted rounds")
    aim.add_argument("--competitions", type=_count, default=1_000_000, help="thrown by dice")

    refresh = names.add_parser("refresh", parents=[every], help="the figures after one attempt")
    refresh.add_argument("--rounds", type=_count, default=30, help="counted rounds")
    refresh.add_argument("--short", type=_count, default=200, help="attempts in the short series")
    refresh.add_argument("--series", type=_count, default=10_000, help="attempts in the long one")

    rebuild = names.add_parser("rebuild", parents=[every], help="all rolling figures of arrays")
    rebuild.add_argument("--rounds", type=_count, default=2, help="counted rounds")
    rebuild.add_argument("--series", type=_count, default=100, help="of as many attempts each")
    rebuild.add_argument("--attempts", type=_count, default=10_000, help="in a series")

    look = names.add_parser("look", parents=[every], help="pictures over HTTP")
    look.add_argument("--reads", type=_count, default=40, help="in a round, of each picture")
    look.add_argument("--rounds", type=_count, default=5, help="counted rounds")

    chosen = parser.parse_args(arguments)
    kind = _KINDS[chosen.name]
    wanted = {field.name: getattr(chosen, field.name) for field in fields(kind)}
    return chosen.name, chosen.json, kind(**wanted)


def _count(text: str) -> int:
    count = int(text)
    if count < 1:
        raise argparse.ArgumentTypeError("at least 1")
    return count
