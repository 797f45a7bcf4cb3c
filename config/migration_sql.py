"""Write the SQL of every migration of ours, for the migration lint.

An app's first migration goes into the folder `first`, the others into `later`: the first one meets
no rows and nobody who waits, so it is allowed more.
"""

import io
import sys
from pathlib import Path

import django
from django.apps import apps
from django.core.management import call_command
from django.db.migrations.loader import MigrationLoader


def main(folder: Path) -> None:
    django.setup()
    root = Path(__file__).resolve().parent.parent
    ours = {app.label for app in apps.get_app_configs() if Path(app.path).parent == root}
    # Without a database: what the files say, not what was applied.
    for (label, name), migration in sorted(MigrationLoader(None).disk_migrations.items()):
        if label in ours:
            sql = io.StringIO()
            call_command("sqlmigrate", label, name, stdout=sql, no_color=True)
            place = folder / ("first" if migration.initial else "later")
            place.mkdir(parents=True, exist_ok=True)
            (place / f"{label}_{name}.sql").write_text(sql.getvalue())


if __name__ == "__main__":
    main(Path(sys.argv[1]))
