"""Make the peer's tables and the rows that attempts refer to, and print a token.

Athlete number i gets the key i, and so do its approach and its plan; there is one club, one source
and one session, with key 1.
"""

from importlib import import_module

import django
from django.core.management import call_command

from tests.bench.readings import ATHLETES


def main() -> None:
    django.setup()
    call_command("migrate", run_syncdb=True, verbosity=0)
    # Models can be imported only now.
    models = import_module("tests.bench.stock.models")
    models.Club.objects.create(id=1, slug="bench")
    models.Source.objects.create(id=1, club_id=1, name="bench")
    models.Session.objects.create(id=1, code="bench")
    for number in range(1, ATHLETES + 1):
        models.Athlete.objects.create(id=number, code=f"A-{number}")
        models.Approach.objects.create(id=number, athlete_id=number, code="LJ-16")
        models.Plan.objects.create(id=number, approach_id=number, revision=1)
    user = import_module("django.contrib.auth.models").User.objects.create(username="bench")
    print(import_module("rest_framework.authtoken.models").Token.objects.create(user=user).key)


if __name__ == "__main__":
    main()
