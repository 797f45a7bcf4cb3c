"""Write what is printed and looked at into a folder, with the standard library only.

    python fixtures_demo/papers.py --tokens .local/demo/tokens.json --folder .local/demo/papers

Of three athletes of the demo club: one whose mark is wrong, one who has grown steadier, one who
grows.
"""

import argparse
import json
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ATHLETES = ("A-02", "A-04", "A-06")
TIMEOUT_S = 30.0
PAGE, PAPER, VECTORS, PIXELS = "text/html", "application/pdf", "image/svg+xml", "image/png"
ENDINGS = {PAGE: "html", PAPER: "pdf", VECTORS: "svg", PIXELS: "png"}

Json = dict[str, Any]


class MissingError(Exception):
    """Something that is to be written cannot be had."""


@dataclass(frozen=True)
class Wanted:
    """What is written of each athlete: its name, its address below the club, and its forms.

    The address names the run-up, or the athlete, as `{approach}` and `{athlete}`.
    """

    name: str
    path: str
    forms: tuple[str, ...]


PICTURES = (
    "trend",
    "consistency",
    "spread",
    "steering",
    "error-shares",
    "rhythm",
    "speed",
    "wind-table",
    "outlook",
    "length-study",
)
# Another kind of paper or picture is another line here.
WANTED = (
    Wanted("card", "approaches/{approach}/card", (PAGE, PAPER)),
    *(Wanted(each, f"approaches/{{approach}}/{each}/chart", (VECTORS,)) for each in PICTURES),
    Wanted("trend-dark", "approaches/{approach}/trend/chart?look=dark&width=large", (PIXELS,)),
    Wanted("markers", "approaches/{approach}/last-steps-layout/paper", (PAGE, PAPER)),
    Wanted("season", "reports/season/athletes/{athlete}/paper?to=2026-10-03", (PAGE, PAPER)),
)


@dataclass(frozen=True)
class Athlete:
    """An athlete with a run-up of theirs."""

    code: str
    id: str
    approach: str
    approach_id: str


class Club:
    """The club's door, by the coach's token."""

    def __init__(self, base_url: str, access: Json) -> None:
        self._url = f"{base_url.rstrip('/')}/api/v1/clubs/{access['club']}/"
        self._token = access["coach_token"]

    def fetch(self, path: str, *, accept: str = "application/json") -> bytes:
        request = urllib.request.Request(  # noqa: S310  # the address is the club's own choice
            self._url + path, headers={"Authorization": f"Bearer {self._token}", "Accept": accept}
        )
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:  # noqa: S310  # as above
                content: bytes = answer.read()
                return content
        except urllib.error.HTTPError as error:
            raise MissingError(f"{path} as {accept} answers {error.code}.") from error

    def results(self, path: str) -> list[Json]:
        found: list[Json] = json.loads(self.fetch(path))["results"]
        return found


def find_athletes(club: Club, codes: Sequence[str]) -> Iterator[Athlete]:
    """Yield the athletes with these codes, each with the latest run-up.

    Raises
    ------
    MissingError
        The club has no such athlete, or one without a run-up.
    """
    for code in codes:
        found = club.results(f"athletes/?code={code}")
        approaches = club.results(f"approaches/?athlete={found[0]['id']}") if found else []
        if not approaches:
            raise MissingError(f"There is no athlete {code} with a run-up; load the demo club.")
        latest = approaches[-1]
        yield Athlete(code, found[0]["id"], latest["code"], latest["id"])


def write(club: Club, athletes: Sequence[Athlete], folder: Path) -> list[Path]:
    """Write everything that is wanted of each athlete, and return what was written."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for athlete in athletes:
        for wanted in WANTED:
            path = wanted.path.format(approach=athlete.approach_id, athlete=athlete.id)
            for form in wanted.forms:
                name = f"{athlete.code}-{athlete.approach}-{wanted.name}.{ENDINGS[form]}"
                (folder / name).write_bytes(club.fetch(path, accept=form))
                written.append(folder / name)
    return written


def main(arguments: Sequence[str], say: Callable[[str], None] = print) -> int:
    parser = argparse.ArgumentParser(description="Write papers and pictures into a folder.")
    parser.add_argument("--tokens", type=Path, required=True, help="tokens.json of the demo club")
    parser.add_argument("--base-url", help="where Penult serves, unless as in the tokens' file")
    parser.add_argument("--folder", type=Path, required=True, help="where to write them")
    chosen = parser.parse_args(arguments)
    try:
        access = json.loads(chosen.tokens.read_text(encoding="utf-8"))
        club = Club(chosen.base_url or access["base_url"], access)
        written = write(club, list(find_athletes(club, ATHLETES)), chosen.folder)
    except (MissingError, OSError) as error:
        print(f"\nThe papers are not complete: {error}", file=sys.stderr)
        return 1
    say(f"{len(written)} papers and pictures of {', '.join(ATHLETES)} are in {chosen.folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
