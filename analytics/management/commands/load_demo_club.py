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
            loaded = loading.load_club(progress=self._show)
        except loading.ForeignClubError as error:
            raise CommandError(str(error)) from error
        waiting = loading.finish_figures(progress=self._show)
        if waiting:
            raise CommandError(f"The figures of {waiting} series could not be computed.")
        access.give_access(options["output"], base_url=f"http://127.0.0.1:{port}")
        self.stdout.write(
            "    The demo club is loaded." if loaded else "    The demo club is there already."
        )

    def _show(self, counted: str, done: int, total: int) -> None:
        """Rewrite one line on a terminal; elsewhere say only what was finished."""
        if self.stdout.isatty():
            self.stdout.write(
                f"\r    {counted}: {done} of {total}", ending="\n" if done == total else ""
            )
            self.stdout.flush()
        elif done == total:
            self.stdout.write(f"    {counted}: {done} of {total}")
