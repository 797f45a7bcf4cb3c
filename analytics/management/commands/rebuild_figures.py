"""Make figures anew from the attempts."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from analytics.services import sweeping
from common.errors import NotFoundError

BAR_WIDTH = 30


class Command(BaseCommand):
    help = "Make the figures of one club, or of all, anew from the attempts."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--club", help="Short name of the club; without it, every club.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            count = sweeping.rebuild_figures(club=options["club"], progress=self._show)
        except NotFoundError as error:
            raise CommandError(error.detail) from error
        self.stderr.write("")
        self.stdout.write(f"{count} series made anew.")

    def _show(self, done: int, total: int) -> None:
        filled = BAR_WIDTH * done // total
        bar = "#" * filled + "." * (BAR_WIDTH - filled)
        self.stderr.write(f"\r[{bar}] {done} of {total} series", ending="")
