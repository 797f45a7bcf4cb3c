"""Make figures anew from the attempts."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from analytics.services import sweeping
from common.errors import InvalidInputError, NotFoundError

BAR_WIDTH = 30


class Command(BaseCommand):
    help = "Make figures anew from the attempts: of one run-up, of one club, or of all."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--club", help="Short name of the club; without it, every club.")
        parser.add_argument(
            "--approach", help="Id of one run-up; or its code, with the club that it is in."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            rebuilt = sweeping.rebuild_figures(
                club=options["club"], approach=options["approach"], progress=self._show
            )
        except (NotFoundError, InvalidInputError) as error:
            raise CommandError(error.detail) from error
        self.stderr.write("")
        self.stdout.write(f"{rebuilt.made} series made anew.")
        if rebuilt.failed:
            raise CommandError(
                f"{rebuilt.failed} series could not be made anew; the log says why, and they are "
                "tried again."
            )

    def _show(self, done: int, total: int) -> None:
        filled = BAR_WIDTH * done // total
        bar = "#" * filled + "." * (BAR_WIDTH - filled)
        self.stderr.write(f"\r[{bar}] {done} of {total} series", ending="")
