"""Load the invented demo club, and say how to get in."""

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from fixtures_demo import access, loading


class Command(BaseCommand):
    help = "Load the invented demo club; where it is there already, nothing changes."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--output",
            type=Path,
            default=Path(os.environ.get("PENULT_LOCAL_DIR") or settings.BASE_DIR / ".local")
            / "demo"
            / "tokens.json",
            help="File for the tokens and the log-in.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        port = os.environ.get("PENULT_PORT") or "8000"
        try:
            loaded = loading.load_club(say=self._say)
        except loading.ForeignClubError as error:
            raise CommandError(str(error)) from error
        waiting = loading.finish_figures(say=self._say)
        if waiting:
            raise CommandError(f"The figures of {waiting} series could not be computed.")
        access.give_access(options["output"], base_url=f"http://127.0.0.1:{port}")
        self._say("the demo club is loaded" if loaded else "the demo club is there already")

    def _say(self, line: str) -> None:
        self.stdout.write(f"    {line}")
        self.stdout.flush()
