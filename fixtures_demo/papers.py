"""Write what is printed and looked at into a folder, with the standard library only.

    python fixtures_demo/papers.py --tokens .local/demo/tokens.json --folder .local/demo/papers

Of three athletes of the demo club: one whose mark is wrong, one who has grown steadier, one who
grows. Of a fourth, what she jumped from several numbers of steps. And the season of each squad.
"""

import argparse
import json
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ATHLETES = ("A-02", "A-04", "A-06")
OF_SEVERAL_LENGTHS = "A-01"
SQUADS = ("Seniors", "Youth")
SEASON_ENDS = "2026-10-03"
TIMEOUT_S = 30.0
PATIENCE_S, PAUSE_S = 60.0, 0.5
PAGE, PAPER, VECTORS, PIXELS = "text/html", "application/pdf", "image/svg+xml", "image/png"
ENDINGS = {PAGE: "html", PAPER: "pdf", VECTORS: "svg", PIXELS: "png"}

Json = dict[str, Any]


class MissingError(Exception):
    """Something that is to be written cannot be had."""


@dataclass(frozen=True)
class Wanted:
    """What is written of an athlete or a squad: its name, its address below the club, its forms.

    The address names the run-up, the athlete, or the work as `{approach}`, `{athlete}`, `{work}`.
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
    Wanted("season", f"reports/season/athletes/{{athlete}}/paper?to={SEASON_ENDS}", (PAGE, PAPER)),
)
LENGTHS = (
    Wanted("length-study", "approaches/{approach}/length-study/chart", (VECTORS,)),
    Wanted(
        "length-study-dark",
        "approaches/{approach}/length-study/chart?look=dark&width=large",
        (PIXELS,),
    ),
)
OF_SQUADS = (Wanted("season", "work/{work}/paper", (PAGE, PAPER)),)


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

    def ask(self, path: str, body: Json) -> Json:
        """Ask what takes longer than a request may, and return how far it is."""
        request = urllib.request.Request(  # noqa: S310  # the address is the club's own choice
            self._url + path,
            data=json.dumps(body).encode(),
            headers={"Authorization": f"Bearer {self._token}", "Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:  # noqa: S310  # as above
                work: Json = json.load(answer)
                return work
        except urllib.error.HTTPError as error:
            raise MissingError(f"{path} answers {error.code}.") from error


def find_athletes(club: Club, codes: Sequence[str]) -> Iterator[Athlete]:
    """Yield the athletes with these codes, each with the longest run-up.

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
        longest = max(approaches, key=lambda approach: int(approach["steps"]))
        yield Athlete(code, found[0]["id"], longest["code"], longest["id"])


def ask_about_squads(club: Club, names: Sequence[str]) -> dict[str, str]:
    """Ask for the season of the squads of these names; return the ids of the work, by name.

    Raises
    ------
    MissingError
        The club has no such squad.
    """
    ids = {each["name"]: each["id"] for each in club.results("squads/")}
    missing = sorted(set(names) - set(ids))
    if missing:
        raise MissingError(f"There is no squad {missing[0]}; load the demo club.")
    return {
        name: club.ask(f"reports/season/squads/{ids[name]}", {"to_date": SEASON_ENDS})["id"]
        for name in names
    }


def wait_for(club: Club, work_id: str) -> None:
    """Return once a work is done.

    Raises
    ------
    MissingError
        It failed, or nobody did it in time.
    """
    deadline = time.monotonic() + PATIENCE_S
    while True:
        work = json.loads(club.fetch(f"work/{work_id}/"))
        if work["state"] == "done":
            return
        if work["state"] == "failed" or time.monotonic() > deadline:
            raise MissingError(f"{work['text']} Is a worker running?")
        time.sleep(PAUSE_S)


def write(
    club: Club, wanted: Sequence[Wanted], folder: Path, *, name: str, **ids: str
) -> list[Path]:
    """Write everything that is wanted of one athlete or squad, and return what was written."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for each in wanted:
        for form in each.forms:
            target = folder / f"{name}-{each.name}.{ENDINGS[form]}"
            target.write_bytes(club.fetch(each.path.format(**ids), accept=form))
            written.append(target)
    return written


def write_all(club: Club, folder: Path) -> list[Path]:
    """Write what is wanted of the athletes and squads that are named above."""
    works = ask_about_squads(club, SQUADS)
    written = []
    for code, wanted in (*((code, WANTED) for code in ATHLETES), (OF_SEVERAL_LENGTHS, LENGTHS)):
        (athlete,) = find_athletes(club, [code])
        written += write(
            club,
            wanted,
            folder,
            name=f"{athlete.code}-{athlete.approach}",
            approach=athlete.approach_id,
            athlete=athlete.id,
        )
    for squad, work_id in works.items():
        wait_for(club, work_id)
        written += write(club, OF_SQUADS, folder, name=squad, work=work_id)
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
        written = write_all(club, chosen.folder)
    except (MissingError, OSError) as error:
        print(f"\nThe papers are not complete: {error}", file=sys.stderr)
        return 1
    say(f"{len(written)} papers and pictures are in {chosen.folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
