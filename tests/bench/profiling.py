"""Where the time goes: what explains a missed target."""

import cProfile
import pstats
from typing import TextIO

LINES = 30


def show(profile: cProfile.Profile, *, title: str, stream: TextIO) -> None:
    """Print the functions that took most time themselves."""
    print(f"\n{title}, by own time:", file=stream)
    pstats.Stats(profile, stream=stream).strip_dirs().sort_stats("tottime").print_stats(LINES)
