"""Push a session to Penult: what a club would write itself, with the standard library only.

    python fixtures_demo/push_session.py --tokens .local/demo/tokens.json

Sending the same file again is safe for ever: what is stored already is known by its external id.
"""

import argparse
import json
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Sequence
from pathlib import Path
from typing import Any

SESSION_FILE = Path(__file__).with_name("session.jsonl")
TRIES = 6
FIRST_WAIT_S, LONGEST_WAIT_S = 0.5, 10.0
TIMEOUT_S = 30.0
TOO_MANY_REQUESTS = 429


class RefusedPushError(Exception):
    """The whole push was refused; sending it again would not help."""


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description="Push a session, and say what became of it.")
    parser.add_argument("--tokens", type=Path, required=True, help="tokens.json of the demo club")
    parser.add_argument("--base-url", help="where Penult serves, unless as in the tokens' file")
    parser.add_argument("--session-file", type=Path, default=SESSION_FILE, help="one row a line")
    chosen = parser.parse_args(arguments)
    try:
        access = json.loads(chosen.tokens.read_text(encoding="utf-8"))
        url = batch_url(chosen.base_url or access["base_url"], access["club"])
        outcome = push(url, access["device_token"], chosen.session_file.read_bytes())
    except (OSError, RefusedPushError) as error:
        print(error, file=sys.stderr)
        return 1
    print("\n".join(describe(outcome)))
    return 0


def batch_url(base_url: str, club: str) -> str:
    return f"{base_url.rstrip('/')}/api/v1/clubs/{club}/attempts/batch/?make_sessions=true"


def push(url: str, token: str, rows: bytes) -> dict[str, Any]:
    """Send the rows in one batch, again and again while the service is out of reach."""
    request = urllib.request.Request(  # noqa: S310  # the address is the club's own choice
        url,
        data=rows,
        headers={"Authorization": f"Bearer {token}", "Content-Type": "application/x-ndjson"},
    )
    wait_s = FIRST_WAIT_S
    for left in reversed(range(TRIES)):
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:  # noqa: S310  # as above
                outcome: dict[str, Any] = json.load(answer)
                return outcome
        except urllib.error.HTTPError as error:
            if error.code < 500 and error.code != TOO_MANY_REQUESTS:
                raise RefusedPushError(explain(error.code, error.read())) from error
            if not left:
                raise
            asked_s = error.headers.get("Retry-After", "")
            wait_s = max(wait_s, float(asked_s)) if asked_s.isdecimal() else wait_s
            reason = f"it answered {error.code}"
        except OSError as error:  # no connection, or one that broke or took too long
            if not left:
                raise
            reason = str(error)
        print(f"Penult is out of reach ({reason}); again in {wait_s:g} s.", file=sys.stderr)
        time.sleep(wait_s)
        wait_s = min(2 * wait_s, LONGEST_WAIT_S)
    raise AssertionError("The last try returns or raises.")


def explain(status: int, body: bytes) -> str:
    """Return why a push was refused, in the service's words where it gave some."""
    try:
        problem = json.loads(body)
        return f"Refused ({status}, {problem['code']}): {problem['detail']}"
    except (ValueError, KeyError, TypeError):
        return f"Refused with status {status}."


def describe(outcome: dict[str, Any]) -> list[str]:
    """Return what became of the rows, a line for each that needs attention."""
    counts = ", ".join(
        f"{outcome[name]} {name}" for name in ("created", "known", "conflicts", "rejected")
    )
    lines = [f"{outcome['received']} rows received: {counts}."]
    if outcome["known"] and not outcome["created"]:
        lines.append(f"Nothing new: the {outcome['known']} good rows are known, stored once.")
    for row in outcome["rows"]:
        place = f"line {row['line']}" if row["line"] else f"row {row['index']}"
        lines.append(f"  {place}, {row['external_id'] or 'without external id'}:")
        lines.append(f"    {row['code']} at {row['pointer'] or '/'}: {row['detail']}")
        if row["send_again_helps"]:
            lines.append("    The same row can be sent again once the club has what it names.")
    if outcome["rows_omitted"]:
        lines.append(f"  and {outcome['rows_omitted']} more")
    return lines


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
