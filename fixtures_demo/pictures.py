"""Write the pictures that the docs show, from a running demo club.

    python -m fixtures_demo.pictures --tokens .local/demo/tokens.json --folder docs/pictures

Few colours are enough for them: the files stay small.
"""

import argparse
import io
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from fixtures_demo.papers import (
    PIXELS,
    SEASON_ENDS,
    Club,
    MissingError,
    ask_about_squads,
    find_athletes,
    wait_for,
)

COLOURS = 16
# Charts tell lines apart by colour, too.
COLOURS_OF_CHARTS = 64


@dataclass(frozen=True)
class Shown:
    """A picture of the docs: its name, whose it is, and its address as in `papers`."""

    name: str
    athlete: str
    path: str
    colours: int = COLOURS


# Another picture is another line here.
SHOWN = (
    Shown("card", "A-04", "approaches/{approach}/card"),
    Shown("markers", "A-06", "approaches/{approach}/last-steps-layout/paper"),
    Shown("season", "A-06", f"reports/season/athletes/{{athlete}}/paper?to={SEASON_ENDS}"),
    *(
        Shown(name, athlete, f"approaches/{{approach}}/{name}/chart?{query}", COLOURS_OF_CHARTS)
        for name, athlete, query in (
            ("trend", "A-04", "look=light"),
            ("consistency", "A-07", "look=light"),
            ("spread", "A-09", "look=light"),
            ("steering", "A-01", "last=100"),
            ("error-shares", "A-03", "look=light"),
            ("rhythm", "A-10", "look=light"),
            ("speed", "A-04", "look=light"),
            ("wind-table", "A-01", "last=100"),
            ("outlook", "A-07", "look=light"),
            ("length-study", "A-01", "look=light"),
        )
    ),
)


# Of a squad, by the name of the picture.
SQUADS_SHOWN = {"squad": "Youth"}


def with_few_colours(picture: bytes, colours: int) -> bytes:
    """Return a PNG as a smaller one that looks the same."""
    smaller = io.BytesIO()
    with Image.open(io.BytesIO(picture)) as whole:
        few = whole.convert("RGB").quantize(colours, dither=Image.Dither.NONE)
        few.save(smaller, format="PNG", optimize=True)
    return smaller.getvalue()


def write(club: Club, folder: Path) -> list[Path]:
    """Write every picture, and return what was written."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for shown in SHOWN:
        (athlete,) = find_athletes(club, [shown.athlete])
        path = shown.path.format(approach=athlete.approach_id, athlete=athlete.id)
        target = folder / f"{shown.name}.png"
        target.write_bytes(with_few_colours(club.fetch(path, accept=PIXELS), shown.colours))
        written.append(target)
    for name, squad in SQUADS_SHOWN.items():
        (work_id,) = ask_about_squads(club, [squad]).values()
        wait_for(club, work_id)
        target = folder / f"{name}.png"
        picture = club.fetch(f"work/{work_id}/paper", accept=PIXELS)
        target.write_bytes(with_few_colours(picture, COLOURS))
        written.append(target)
    return written


def main(arguments: Sequence[str], say: Callable[[str], None] = print) -> int:
    parser = argparse.ArgumentParser(description="Write the pictures that the docs show.")
    parser.add_argument("--tokens", type=Path, required=True, help="tokens.json of the demo club")
    parser.add_argument("--base-url", help="where Penult serves, unless as in the tokens' file")
    parser.add_argument("--folder", type=Path, required=True, help="where to write them")
    chosen = parser.parse_args(arguments)
    try:
        access = json.loads(chosen.tokens.read_text(encoding="utf-8"))
        club = Club(chosen.base_url or access["base_url"], access)
        written = write(club, chosen.folder)
    except (MissingError, OSError) as error:
        print(f"\nThe pictures are not complete: {error}", file=sys.stderr)
        return 1
    for path in written:
        say(f"{path}: {path.stat().st_size // 1000} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
