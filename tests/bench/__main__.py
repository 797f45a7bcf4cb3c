"""Run a benchmark: `python -m tests.bench push --json`."""

import os
from importlib import import_module

import django

from tests.bench import options, outcome
from tests.bench.stand import empty_stand


def main() -> None:
    name, as_json, chosen = options.parse()
    with empty_stand() as stand:
        # The bench asks Penult's own services for its club, with the stand's addresses.
        os.environ.update(stand.environment)
        django.setup()
        measured: outcome.Outcome = import_module(f"tests.bench.{name}").measure(stand, chosen)
        report = measured.as_json() | {"versions": outcome.versions(stand.server_versions())}
    print(outcome.dump(report) if as_json else outcome.as_table(report))


if __name__ == "__main__":
    main()
