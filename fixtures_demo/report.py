"""Print what a coach wants to see after a session, from the API alone; standard library only."""

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen

WAIT_S = 30.0
WIDTH = 98

# What each kind of alert says, from its evidence.
SENTENCES = {
    "level": "lands {level_cm:.0f} cm {side} of the aim since session {since_session_point}"
    " of {n_session_points} (chart {value:.2f}, limit ±{limit:.2f})",
    "spread": "spread {spread_cm:.0f} cm, usually {usual_cm:.0f} cm"
    " (chart {value:.2f}, limit {limit:.2f})",
    "no_jump_share": "{n_no_jumps} no jumps in {n} attempts"
    " (at least {low_pct:.0f} %, limit {limit_pct:.0f} %)",
    "progress": "spread down from {before_cm:.0f} to {after_cm:.0f} cm, {value_pct:.0f} % sure",
}


class Club:
    """The API of one club, as one caller."""

    def __init__(self, base_url: str, slug: str, token: str) -> None:
        self.url = f"{base_url}/api/v1/clubs/{slug}/"
        self.token = token

    def get(self, path: str) -> Any:
        request = Request(self.url + path, headers={"Authorization": f"Bearer {self.token}"})  # noqa: S310  # the club's own address
        with urlopen(request, timeout=10) as answer:  # noqa: S310  # as above
            return json.load(answer)

    def all(self, path: str) -> list[Any]:
        """Return every page of a list."""
        rows, page = [], self.get(path)
        rows += page["results"]
        while page["next"]:
            page = self.get(page["next"].removeprefix(self.url))
            rows += page["results"]
        return rows


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--tokens", type=Path, required=True)
    arguments.add_argument("--base-url", required=True)
    given = arguments.parse_args()
    access = json.loads(given.tokens.read_text())
    coach = Club(given.base_url, access["club"], access["coach_token"])
    device = Club(given.base_url, access["club"], access["device_token"])
    try:
        figures = wait_for_figures(coach)
    except (OSError, HTTPError) as error:
        print(f"The figures could not be read: {error}")
        return 1
    athletes = {each["id"]: each for each in coach.all("athletes/")}
    alerts = [alert for alert in coach.all("alerts/") if alert["closed_at"] is None]
    print_figures(figures, athletes)
    print_alerts(alerts, figures, athletes)
    print_refused(device.all("quarantine/"))
    first = next(iter(figures), None)
    print_where_next(coach, access, first)
    waiting = [figure for figure in figures.values() if figure["stale"]]
    if waiting:
        print(f"{len(waiting)} series were still waiting for their figures after {WAIT_S:.0f} s.")
        return 1
    if not figures or not alerts:
        print("The demo club should have figures and open alerts, and has not.")
        return 1
    return 0


def wait_for_figures(coach: Club) -> dict[str, Any]:
    """Return the figures of each approach that has some, once none waits, by approach id."""
    until = time.monotonic() + WAIT_S
    while True:
        figures = {}
        for approach in coach.all("approaches/"):
            figure = coach.get(f"approaches/{approach['id']}/consistency")
            if figure["n"]:
                figures[approach["id"]] = {**figure, "of": approach}
        if not any(figure["stale"] for figure in figures.values()) or time.monotonic() > until:
            return figures
        time.sleep(0.3)


def print_figures(figures: dict[str, Any], athletes: dict[str, Any]) -> None:
    print()
    print("Jumps, over the last attempts of the current plan (cm; positive: landed short)")
    print(
        f"{'athlete':<22}{'run-up':<8}{'n':>3}  {'bias':>17}  {'spread':>16}"
        f"{'on board':>9}{'no jumps':>9}  change"
    )
    for figure in sorted(figures.values(), key=lambda each: name_of(each["of"], athletes)):
        approach = figure["of"]
        accuracy = figure["accuracy"]
        start = f"{name_of(approach, athletes):<21.21} {approach['code']:<8.8}"
        if "not_enough_attempts" in accuracy:
            print(f"{start} {accuracy['not_enough_attempts']}")
            continue
        bias = centimetres(accuracy["bias_m"], accuracy["bias_interval"], sign="+")
        spread = centimetres(accuracy["sd_m"], accuracy["sd_interval"])
        print(
            f"{start}{accuracy['n']:>3}  {bias:>17}  {spread:>16}"
            f"{accuracy['share_on_board']:>9.0%}{accuracy['share_no_jump']:>9.0%}"
            f"  {change_of(figure['change'])}"
        )


def name_of(approach: dict[str, Any], athletes: dict[str, Any]) -> str:
    athlete = athletes[approach["athlete"]]
    return f"{athlete['code']} {athlete['given_name']} {athlete['family_name']}"


def centimetres(value_m: float, interval: dict[str, float], *, sign: str = "") -> str:
    low, high = 100 * interval["low"], 100 * interval["high"]
    return f"{100 * value_m:{sign}.1f} [{low:{sign}.0f} {high:{sign}.0f}]"


def change_of(change: dict[str, Any]) -> str:
    """Return how the spread compares with that of the block before."""
    if change.get("sd_ratio") is None:
        return "-"
    sure = change["probability_spread_lower"]
    return f"x{change['sd_ratio']:.2f} ({sure:.0%} lower)"


def print_alerts(alerts: list[Any], figures: dict[str, Any], athletes: dict[str, Any]) -> None:
    print()
    print(f"Open alerts: {len(alerts)}")
    for alert in alerts:
        figure = figures.get(alert["approach"])
        who = name_of(figure["of"], athletes) if figure else alert["approach"]
        print(f"  {alert['opened_at'][:10]} {alert['kind']:<14}{who}")
        print(f"    {sentence_of(alert)}")


def sentence_of(alert: dict[str, Any]) -> str:
    evidence = dict(alert["evidence"])
    for name, key in (
        ("level_cm", "level_m"),
        ("spread_cm", "spread_m"),
        ("usual_cm", "usual_spread_m"),
        ("before_cm", "spread_before_m"),
        ("after_cm", "spread_after_m"),
        ("low_pct", "low"),
        ("limit_pct", "limit"),
        ("value_pct", "value"),
    ):
        if evidence.get(key) is not None:
            evidence[name] = abs(100 * evidence[key])
    template = SENTENCES.get(alert["kind"])
    return json.dumps(evidence) if template is None else template.format(**evidence)


def print_refused(rows: list[Any]) -> None:
    print()
    print(f"Refused rows that wait in quarantine: {len(rows)}")
    for row in rows:
        print(
            f"  {row['external_id'] or '(no id)'}: {row['code']} at {row['pointer'] or 'the row'}"
        )
        print(f"    {row['detail']}"[:WIDTH])


def print_where_next(coach: Club, access: dict[str, Any], approach_id: str | None) -> None:
    base = coach.url.partition("/api/")[0]
    print()
    print(f"API docs   {base}/api/v1/docs/")
    print(f"Admin      {base}/admin/   {access['admin_email']}   {access['admin_password']}")
    print("Try:")
    for path in ("athletes/", "alerts/", f"approaches/{approach_id}/trend?last=3"):
        print(f"  curl -s -H 'Authorization: Bearer {coach.token}' '{coach.url}{path}'")
    print()
    print("The coach on the spot decides; pain, growth spurts or an unsafe pit stop the session.")


if __name__ == "__main__":
    sys.exit(main())
