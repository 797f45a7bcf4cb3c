"""Print what a coach reads after a session, with the standard library only.

    python fixtures_demo/report.py --tokens .local/demo/tokens.json

Ends with status 0 when every row of the session is accounted for, the figures of its athletes are
fresh, and an alert tells what was hidden in the demo season; else with 1 and the reason.
"""

import argparse
import io
import json
import re
import sys
import textwrap
import time
import unicodedata
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

SESSION_FILE = Path(__file__).with_name("session.jsonl")
WIDTH = 100
NARROW = 80
PATIENCE_S, PAUSE_S = 30.0, 0.2
TIMEOUT_S = 30.0
PAGE_SIZE = "500"

Json = dict[str, Any]


class MissingError(Exception):
    """Something that the report needs is not there."""


@dataclass(frozen=True)
class Line:
    """A run-up of the session with its latest figures."""

    athlete: str
    approach: str
    approach_id: str
    figures: Json


@dataclass(frozen=True)
class Answered:
    """What the club was told about a run-up, in its own words, the first to see to first.

    `about` names the trouble, or the question; None where nothing is to be put right first.
    """

    line: Line
    about: str | None
    based_on: str
    texts: Sequence[str]
    caution: str | None


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description="Print what a coach reads after a session.")
    parser.add_argument("--tokens", type=Path, required=True, help="tokens.json of the demo club")
    parser.add_argument("--base-url", help="where Penult serves, unless as in the tokens' file")
    parser.add_argument("--session-file", type=Path, default=SESSION_FILE, help="what was pushed")
    chosen = parser.parse_args(arguments)
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A terminal that cannot show a sign shows a question mark instead of ending the report.
        sys.stdout.reconfigure(errors="replace")
    try:
        access = json.loads(chosen.tokens.read_text(encoding="utf-8"))
        base_url = (chosen.base_url or access["base_url"]).rstrip("/")
        rows = [json.loads(line) for line in chosen.session_file.read_bytes().splitlines()]
        report(Club(base_url, access), rows, say=print)
    except (MissingError, OSError) as error:
        print(f"\nThe report is not complete: {error}", file=sys.stderr)
        return 1
    return 0


class Club:
    """The club's door: the coach's token reads figures, the device's own refused rows."""

    def __init__(self, base_url: str, access: Json) -> None:
        self.base_url = base_url
        self.access = access
        self.url = f"{base_url}/api/v1/clubs/{access['club']}/"

    def read(self, path: str, *, token: str = "coach_token", **query: str) -> Json:  # noqa: S107  # the name of a key in the file
        url = self.url + path + (f"?{urllib.parse.urlencode(query)}" if query else "")
        request = urllib.request.Request(  # noqa: S310  # the address is the club's own choice
            url, headers={"Authorization": f"Bearer {self.access[token]}"}
        )
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:  # noqa: S310  # as above
                found: Json = json.load(answer)
                return found
        except urllib.error.HTTPError as error:
            raise MissingError(f"{url} answers {error.code}.") from error

    def read_all(self, path: str, *, token: str = "coach_token", **query: str) -> Iterator[Json]:  # noqa: S107  # the name of a key in the file
        """Yield the items of every page of a list."""
        query = {"page_size": PAGE_SIZE, **query}
        while True:
            page = self.read(path, token=token, **query)
            yield from page["results"]
            if not page["next"]:
                return
            query = dict(urllib.parse.parse_qsl(urllib.parse.urlsplit(page["next"]).query))


def report(club: Club, rows: Sequence[Json], *, say: Callable[[str], None]) -> None:
    """Print the report on the session that the rows belong to.

    Raises
    ------
    MissingError
        A row is lost, figures stay stale, or no alert is open.
    """
    code = rows[0]["session"]
    session = next(club.read_all("sessions/", code=code), None)
    if session is None:
        raise MissingError(f"there is no session {code}; push it first.")
    attempts = list(club.read_all(f"sessions/{session['id']}/attempts/"))
    lines = read_lines(club, attempts)
    alerts = read_alerts(club, lines)
    answers = read_answers(club, lines, alerts)
    refused = read_refused(club, rows)

    say(f"Session {code}, {session['held_date']}: {len(attempts)} attempts stored.\n")
    for each in (
        describe_figures(lines),
        describe_alerts(lines, alerts, began=min(each["started_at"] for each in attempts)),
        describe_answers(club, answers),
        describe_refused(refused),
        describe_ways(club, lines[0]),
    ):
        say("\n".join([*each, ""]))

    sent = {row["external_id"] for row in rows}
    lost = sent - {each["external_id"] for each in [*attempts, *refused]}
    if lost:
        raise MissingError(f"{len(lost)} rows are lost, among them {min(lost)}.")
    if not any(alerts.values()):
        raise MissingError("no alert is open, though the season has reasons for some.")


def read_lines(club: Club, attempts: Sequence[Json]) -> list[Line]:
    """Return the run-ups that were jumped from, once the figures hold every attempt."""
    jumped = {each["approach"]: each["athlete"] for each in attempts if each["finish"] == "jump"}
    if not jumped:
        raise MissingError("nobody jumped in the session.")
    athletes = {each["id"]: each for each in club.read_all("athletes/")}
    approaches = {each["id"]: each for each in club.read_all("approaches/")}
    deadline = time.monotonic() + PATIENCE_S
    lines = []
    for approach_id, athlete_id in jumped.items():
        athlete = athletes[athlete_id]
        lines.append(
            Line(
                athlete=f"{athlete['given_name']} {athlete['family_name']}",
                approach=approaches[approach_id]["code"],
                approach_id=approach_id,
                figures=read_fresh(club, approach_id, deadline=deadline),
            )
        )
    return sorted(lines, key=lambda line: line.athlete)


def read_fresh(club: Club, approach_id: str, *, deadline: float) -> Json:
    """Return the figures once no newer attempt waits to be computed."""
    while True:
        figures = club.read(f"approaches/{approach_id}/consistency")
        if not figures["stale"]:
            return figures
        if time.monotonic() > deadline:
            raise MissingError(
                f"after {PATIENCE_S:g} s newer attempts still wait to be computed; "
                "is a worker running?"
            )
        time.sleep(PAUSE_S)


def read_alerts(club: Club, lines: Sequence[Line]) -> dict[str, list[Json]]:
    """Return the open alerts about jumps, by approach."""
    found: dict[str, list[Json]] = {line.approach_id: [] for line in lines}
    for alert in club.read_all("alerts/", open="true", finish="jump"):
        if alert["approach"] in found:
            found[alert["approach"]].append(alert)
    return found


def read_answers(
    club: Club, lines: Sequence[Line], alerts: dict[str, list[Json]]
) -> list[Answered]:
    """Return what to see to first with each run-up, asked in the order in which a coach would."""
    found = []
    for line in lines:
        kinds = {alert["kind"] for alert in alerts[line.approach_id]}
        found.append(ask_about(club, line, too_many_no_jumps="no_jump_share" in kinds))
    return found


def ask_about(club: Club, line: Line, *, too_many_no_jumps: bool) -> Answered:
    """Ask what is wrong; then, as the answer is, for the mark, the aim or the number of steps."""
    approach = f"approaches/{line.approach_id}"
    focus = club.read(f"{approach}/practice-focus")
    diagnosis = focus["diagnosis"]
    trouble = diagnosis.get("main")
    about, texts = trouble, [focus["text"]]
    if "not_enough_attempts" in diagnosis:
        about = "not enough attempts"
    elif trouble in {"wrong_mark", "growth"}:
        texts.append(first_sentences(club.read(f"{approach}/mark-advice")["text"], 1))
    elif trouble is None and too_many_no_jumps:
        about = "aim"
        texts = [
            first_sentences(club.read(f"{approach}/outlook")["text"], 2),
            first_sentences(club.read(f"{approach}/aim")["text"], 1),
        ]
    elif trouble is None:
        length = club.read(f"{approach}/length-advice")
        if length["advice"].get("answer") in {"ready", "shorten"}:
            about = {"ready": "ready for more steps", "shorten": "too many steps"}[
                length["advice"]["answer"]
            ]
            texts = [first_sentences(length["text"], 2)]
    window = focus["window"] or {"n": 0, "n_sessions": 0}
    return Answered(
        line=line,
        about=about,
        based_on=f"{window['n']} attempts, {window['n_sessions']} sessions",
        texts=texts,
        caution=focus["caution"],
    )


def first_sentences(text: str, count: int) -> str:
    """Return the beginning of an answer. A full stop within a number ends no sentence."""
    return " ".join(re.split(r"(?<=\.) ", text)[:count])


def read_refused(club: Club, rows: Sequence[Json]) -> list[Json]:
    """Return those of the rows that wait in quarantine, with the device's own token."""
    sent = {row["external_id"] for row in rows}
    waiting = club.read_all("quarantine/", token="device_token")  # noqa: S106  # a name in the file
    return [row for row in waiting if row["external_id"] in sent]


def describe_figures(lines: Sequence[Line]) -> list[str]:
    """Return the table, a line for each run-up, and how to read it."""
    head = (
        f"{'athlete':<19}{'run-up':<7}{'n':>2} {'bias':>12}  {'spread':<18}"
        f"{'board':>5} {'no jump':>7} change of spread"
    )
    return [
        head,
        f"{'':<28} {'cm':>12}  cm",
        *(_figures_line(line) for line in lines),
        *textwrap.wrap(
            "n: the last attempts of the current plan, 20 at most. bias: mean toe-to-board "
            "distance less the aim, plus: lands short; ± and brackets are 95 % intervals. board: "
            "share of toes on the board. change: spread over the last 20 attempts as a ratio to "
            "that over the 20 before, and how sure it is lower. *: with no jumps whose toe nobody "
            "measured, from a fit that counts them as beyond the line.",
            WIDTH,
        ),
    ]


def _figures_line(line: Line) -> str:
    accuracy, window = line.figures["accuracy"], line.figures["window"]
    begins = f"{fit_width(line.athlete, 19)}{fit_width(line.approach, 7)}"
    if "not_enough_attempts" in accuracy:
        return f"{begins} {accuracy['not_enough_attempts']}"
    bias_m, bias, sd_m, sd, mark = _bias_and_spread(line.figures)
    half_m = (bias["high"] - bias["low"]) / 2
    spread = f"{100 * sd_m:.1f} ({100 * sd['low']:.1f}-{100 * sd['high']:.1f}){mark}"
    return (
        # Adding nothing turns a rounded -0.0 into 0.0.
        f"{begins}{window['n']:>2} {round(100 * bias_m, 1) + 0.0:>+5.1f} ± {100 * half_m:>4.1f}"
        f"  {spread:<18}"
        f"{100 * accuracy['share_on_board']:>3.0f} % {100 * accuracy['share_no_jump']:>5.0f} %"
        f" {_change(line.figures['change'])}"
    )


def _bias_and_spread(figures: Json) -> tuple[float, Json, float, Json, str]:
    """Return bias and spread with their intervals, and a mark where unmeasured toes count."""
    accuracy, censored = figures["accuracy"], figures["censored"]
    if accuracy["n_unmeasured_no_jumps"] and "not_enough_attempts" not in censored:
        aim_m = figures["window"]["aim_m"]
        bias = {end: censored["mean_interval"][end] - aim_m for end in ("low", "high")}
        return (
            censored["mean_m"] - aim_m,
            bias,
            censored["adjusted_sd_m"],
            censored["sd_interval"],
            "*",
        )
    # Over whole sessions, so that one good or bad day does not pass for a habit.
    bias = accuracy["bias_interval_over_sessions"] or accuracy["bias_interval"]
    return accuracy["bias_m"], bias, accuracy["sd_m"], accuracy["sd_interval"], ""


def _change(change: Json) -> str:
    if "not_enough_attempts" in change or change["sd_ratio"] is None:
        return "not enough attempts"
    ends = change["sd_ratio_interval"]
    sure = 100 * change["probability_spread_lower"]
    percent = "> 99" if sure > 99 else "< 1" if sure < 1 else f"{sure:.0f}"
    return f"x{change['sd_ratio']:.2f} ({ends['low']:.2f}-{ends['high']:.2f}), {percent} %"


def describe_alerts(
    lines: Sequence[Line], alerts: dict[str, list[Json]], *, began: str
) -> list[str]:
    """Return each open alert with its evidence, and who has none."""
    told = ["Open alerts"]
    for line in lines:
        for alert in alerts[line.approach_id]:
            opened_at = datetime.fromisoformat(alert["opened_at"])
            new = ", new with this session" if opened_at >= datetime.fromisoformat(began) else ""
            told.append(
                f"  {line.athlete}, {line.approach}: {alert['kind'].replace('_', ' ')}, "
                f"since {opened_at:%Y-%m-%d}{new}"
            )
            told += textwrap.wrap(
                alert["text"], WIDTH, initial_indent=" " * 4, subsequent_indent=" " * 4
            )
    quiet = [line.athlete for line in lines if not alerts[line.approach_id]]
    if quiet:
        told += textwrap.wrap(f"None: {', '.join(quiet)}.", WIDTH, initial_indent="  ")
    told.append(
        "The coach on the spot decides; pain, growth spurts, an unsafe runway or pit stop it all."
    )
    return told


def describe_answers(club: Club, answers: Sequence[Answered]) -> list[str]:
    """Return what to see to first, of whom nothing is shown, and how to ask."""
    told = ["What to see to first, in the service's own words"]
    shown = [each for each in answers if each.about is not None]
    for each in shown:
        about = str(each.about).replace("_", " ")
        told.append(f"  {each.line.athlete}, {each.line.approach}: {about} ({each.based_on})")
        told += textwrap.wrap(
            " ".join(each.texts), NARROW, initial_indent=" " * 4, subsequent_indent=" " * 4
        )
    quiet = [each.line.athlete for each in answers if each.about is None]
    if quiet:
        told += textwrap.wrap(
            f"Nothing is shown that should be put right first: {', '.join(quiet)}.",
            NARROW,
            initial_indent="  ",
            subsequent_indent="  ",
        )
    caution = next((each.caution for each in shown if each.caution), None)
    if caution:
        told += textwrap.wrap(caution, NARROW)
    if shown:
        asked = shown[0].line
        told += [f"  Ask about {asked.athlete} yourself:", _curl(club, asked, "practice-focus")]
    return told


def describe_refused(refused: Sequence[Json]) -> list[str]:
    """Return the refused rows with their reasons."""
    told = [f"Refused rows: {len(refused)}, kept as they were sent until they are mended"]
    for row in refused:
        reason = f"{row['code']} at {row['pointer'] or '/'}: {row['detail']}"
        told.append(f"  {row['external_id'] or 'without external id'}")
        told += textwrap.wrap(reason, WIDTH, initial_indent=" " * 4, subsequent_indent=" " * 6)
    return told


def describe_ways(club: Club, line: Line) -> list[str]:
    """Return where to look next; the curl lines are whole, however wide, so that they work."""
    return [
        "Where to look next",
        f"  every call, with examples: {club.base_url}/api/v1/docs/",
        f"  the club's records:        {club.base_url}/admin/",
        f"    log in as {club.access['admin_email']} with {club.access['admin_password']}",
        f"  a coach's pages:           {club.base_url}/pages/",
        f"    log in as {club.access['coach_email']} with {club.access['coach_password']}",
        f"  how {line.athlete}'s figures moved, where the footfalls spread, what is open:",
        _curl(club, line, "trend?last=10"),
        _curl(club, line, "spread"),
        f"curl -sS {_bearer(club)} '{club.url}alerts/?open=true'",
    ]


def _curl(club: Club, line: Line, question: str) -> str:
    return f"curl -sS {_bearer(club)} '{club.url}approaches/{line.approach_id}/{question}'"


def _bearer(club: Club) -> str:
    return f"-H 'Authorization: Bearer {club.access['coach_token']}'"


def fit_width(text: str, columns: int) -> str:
    """Return the text, cut or padded to so many columns of a terminal.

    East Asian wide signs take two columns, combining marks none.
    """
    fitted, used = "", 0
    for sign in text:
        taken = 0 if unicodedata.combining(sign) else 1
        taken = 2 if unicodedata.east_asian_width(sign) in "WF" else taken
        if used + taken > columns - 1:
            break
        fitted, used = fitted + sign, used + taken
    return fitted + " " * (columns - used)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
