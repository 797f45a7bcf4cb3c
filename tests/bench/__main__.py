"""Run a benchmark: `python -m tests.bench push --json`."""

import os
import sys
from importlib import import_module

import django

from tests.bench import options, outcome
from tests.bench.stand import empty_stand

BUSY_LOAD = 0.5


def main() -> None:
    name, as_json, chosen = options.parse()
    if outcome.LOAD_BEFORE > BUSY_LOAD:
        print(
            f"The machine is busy (load {outcome.LOAD_BEFORE:.1f}): the figures will be off.",
            file=sys.stderr,
        )
    with empty_stand() as stand:
        # The bench asks Penult's own services for its club, with the stand's addresses. What it
        # says itself goes to the terminal, so only what a person should see.
        os.environ.update(stand.environment | {"LOG_LEVEL": "WARNING"})
        django.setup()
        measured: outcome.Outcome = import_module(f"tests.bench.{name.replace('-', '_')}").measure(
            stand, chosen
        )
        report = measured.as_json() | {"versions": outcome.versions(stand.server_versions())}
    print(outcome.dump(report) if as_json else outcome.as_table(report))


if __name__ == "__main__":
    main()
