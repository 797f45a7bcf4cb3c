"""The test database: made by the owner, used by the application role, behind the wall.

And which tests stay together when two processes share them out (`script/test`).
"""

from collections.abc import Callable, Iterator
from typing import Any, TypeVar

import pytest
from django.conf import settings
from django.db import connections, transaction
from django.test import TransactionTestCase
from hypothesis import settings as hypothesis_settings
from xdist.scheduler import LoadScopeScheduling

from common.club_scope import club_scope
from config import celery  # noqa: F401  # makes Penult's the current Celery app, as in production
from config.settings.environment import database_from_url, required

Made = TypeVar("Made")
Keep = Callable[[Callable[[], Made]], Made]
Tell = Callable[[str], None]

_TOLD = "told at the end"
# How long a case takes is for benchmarks to say: a busy machine is no failure.
hypothesis_settings.register_profile("fast", deadline=None, max_examples=30)
hypothesis_settings.register_profile("slow", deadline=None, max_examples=200)

# Runs as its owner, whom no wall holds. What migrations filled in stays. A table of no bytes never
# held a row; all others are emptied by one statement, at whose end keys are checked. TRUNCATE takes
# the same long time for any number of rows, so it is for many.
_EMPTYING = """
CREATE SCHEMA of_tests;
CREATE FUNCTION of_tests.empty_tables() RETURNS void LANGUAGE plpgsql SECURITY DEFINER
SET search_path = public, pg_temp AS $body$
DECLARE
  used regclass[];
  bytes bigint;
BEGIN
  SELECT array_agg(oid::regclass), sum(pg_relation_size(oid)) INTO used, bytes
    FROM pg_class
   WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' AND pg_relation_size(oid) > 0
     AND relname NOT IN ('django_migrations', 'django_content_type', 'auth_permission');
  IF bytes > 2000000 THEN
    EXECUTE 'TRUNCATE ' || array_to_string(used, ', ') || ' CASCADE';
  ELSIF bytes > 0 THEN
    EXECUTE (
      SELECT 'WITH ' || string_agg(format('t%s AS (DELETE FROM %s)', place, name), ', ')
             || ' SELECT'
        FROM unnest(used) WITH ORDINALITY AS each (name, place)
    );
  END IF;
END
$body$;
GRANT USAGE ON SCHEMA of_tests TO penult_app;
"""

# Each of these starts servers or a browser once for all its tests.
_TOGETHER = {"browser", "demo", "docs", "faults", "stack"}
# The longest, which begin first: else one process would end with one of them while the other idles.
_LONGEST = (
    "faults",
    "docs",
    "stack",
    "demo",
    "browser",
    "bench/test_shape.py",
    "contract/test_conformance.py",
    "api/test_isolation.py",
    "api/test_rights.py",
)


def pytest_configure(config: pytest.Config) -> None:
    """Try fewer cases of each property in the fast set."""
    hypothesis_settings.load_profile("fast" if config.option.markexpr == "not slow" else "slow")


class _ByGroup(LoadScopeScheduling):  # type: ignore[misc]  # of no known type
    """Keep what shares a costly fixture in one process: a folder with servers, else a module."""

    def _split_scope(self, nodeid: str) -> str:
        return _group_of(nodeid)


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> _ByGroup:
    """Share out groups, whatever `--dist` says."""
    # Marks would do, were they not lost: pytest 9.2 has no place for what pytest-xdist 3.8 adds.
    return _ByGroup(config, log)


# After the plugin that mixes the tests.
@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> Iterator[None]:
    """Put the longest groups first, and each group's tests together."""
    yield
    order = dict.fromkeys(_LONGEST)
    order.update(dict.fromkeys(_group_of(item.nodeid) for item in items))
    place = {group: number for number, group in enumerate(order)}
    items.sort(key=lambda item: place[_group_of(item.nodeid)])


def _group_of(nodeid: str) -> str:
    module = nodeid.partition("::")[0].removeprefix("tests/")
    folder = module.partition("/")[0]
    return folder if folder in _TOGETHER else module


@pytest.fixture
def tell(request: pytest.FixtureRequest) -> Tell:
    """Return what has a line printed at the end of the run, whether the test passed or not."""
    # Reports carry properties, also from a process that shares the tests.
    return lambda line: request.node.user_properties.append((_TOLD, line))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what tests told."""
    lines = {
        f"{report.nodeid}: {line}"
        for reports in terminalreporter.stats.values()
        for report in reports
        for name, line in getattr(report, "user_properties", ())
        if name == _TOLD
    }
    if lines:
        terminalreporter.section("seeds and counts")
        for line in sorted(lines):
            terminalreporter.write_line(line)


@pytest.fixture(scope="session")
def django_db_setup(django_db_modify_db_settings: None, django_db_blocker: Any) -> Iterator[None]:
    """Migrate as owner, then go on as the application role.

    Each process has a database of its own (`django_db_modify_db_settings` names it).
    """
    from django.test.utils import setup_databases, teardown_databases

    owner = database_from_url(required("OWNER_DATABASE_URL"))
    app = dict(connections["default"].settings_dict)
    with django_db_blocker.unblock():
        _log_in(owner["USER"], owner["PASSWORD"])
        made = setup_databases(verbosity=0, interactive=False)
        with connections["default"].cursor() as cursor:
            cursor.execute(_EMPTYING)
        _log_in(app["USER"], app["PASSWORD"])
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(TransactionTestCase, "_fixture_teardown", lambda _case: empty_tables())
        yield
    with django_db_blocker.unblock():
        _log_in(owner["USER"], owner["PASSWORD"])
        teardown_databases(made, verbosity=0)


def empty_tables() -> None:
    """Undo what a test committed. Django would TRUNCATE, which takes ten times as long."""
    with connections["default"].cursor() as cursor:
        cursor.execute("SELECT of_tests.empty_tables()")


def _log_in(user: str, password: str) -> None:
    connections["default"].close()
    for known in (connections["default"].settings_dict, settings.DATABASES["default"]):
        known["USER"], known["PASSWORD"] = user, password


@pytest.fixture
def in_club(db: None) -> Any:
    """Return the scope in which a test may look at a club's rows."""
    return club_scope


@pytest.fixture(scope="module")
def keep(
    request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: Any
) -> Iterator[Keep[Any]]:
    """Return what makes rows that all tests of a module find, and that end with it.

    What a test does itself is undone after it, as ever. A test that commits needs another module:
    it would end the transaction that holds these rows.
    """
    for item in request.session.items:
        marker = item.get_closest_marker("django_db")
        if item.path == request.path and marker and marker.kwargs.get("transaction"):
            pytest.fail(f"{item.nodeid} commits: move it out of the module that keeps rows.")
    block = transaction.atomic()
    # As Django marks the block around a test: a use case may open its transaction inside.
    block._from_testcase = True  # type: ignore[attr-defined]  # not in the stubs
    with django_db_blocker.unblock():
        block.__enter__()

    def make(maker: Callable[[], Made]) -> Made:
        with django_db_blocker.unblock():
            return maker()

    yield make
    with django_db_blocker.unblock():
        transaction.set_rollback(True)
        block.__exit__(None, None, None)
