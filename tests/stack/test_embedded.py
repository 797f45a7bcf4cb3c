"""The private servers: real ones, killed for real."""

import json
import multiprocessing
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import redis

from config import embedded
from config.binaries import find_postgres_program
from config.children import LocalStackError, birth_of
from config.local_dir import DirectoryInUseError

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can act as another account")


def broker(servers: embedded.LocalServers) -> redis.Redis:
    return redis.Redis.from_url(servers.redis_url)


@pytest.fixture(scope="module")
def servers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[embedded.LocalServers]:
    with embedded.start(tmp_path_factory.mktemp("roles")) as servers:
        yield servers


class TestRoles:
    def test_have_the_rights_of_the_design(self, servers):
        with psycopg.connect(servers.database_url("owner")) as connection:
            rows = connection.execute(
                """SELECT rolname, rolsuper, rolcreatedb, rolcreaterole, rolbypassrls FROM pg_roles
                    WHERE rolname LIKE 'penult%' ORDER BY rolname"""
            ).fetchall()

        assert rows == [
            ("penult_app", False, False, False, False),
            ("penult_backup", False, False, False, True),
            ("penult_owner", False, True, False, False),
        ]

    def test_the_application_owns_nothing_and_makes_nothing(self, servers):
        with (
            psycopg.connect(servers.database_url("app")) as connection,
            pytest.raises(psycopg.errors.InsufficientPrivilege),
        ):
            connection.execute("CREATE TABLE mine (id integer)")

    def test_the_backup_cannot_write(self, servers):
        with psycopg.connect(servers.database_url("owner")) as owner:
            owner.execute("CREATE TABLE kept (id integer)")
            owner.execute("GRANT SELECT, INSERT ON kept TO penult_backup")

        with (
            psycopg.connect(servers.database_url("backup")) as connection,
            pytest.raises(psycopg.errors.ReadOnlySqlTransaction),
        ):
            connection.execute("INSERT INTO kept VALUES (1)")

    def test_the_owner_can_make_a_test_database(self, servers):
        address = servers.database_url("owner", database="postgres")
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute("CREATE DATABASE test_penult")
            connection.execute("DROP DATABASE test_penult")

    @pytest.mark.parametrize("role", ["superuser", "owner", "app", "backup"])
    def test_nobody_gets_in_without_the_password(self, servers, role):
        address = servers.database_url(role)
        wrong = address.replace(servers.local_dir.secret(embedded.ROLE_NAMES[role]), "guessed")

        with pytest.raises(psycopg.OperationalError, match="password authentication failed"):
            psycopg.connect(wrong)

    def test_passwords_are_kept_as_scram_verifiers(self, servers):
        with psycopg.connect(servers.database_url("superuser")) as connection:
            kept = connection.execute(
                "SELECT rolpassword FROM pg_authid WHERE rolpassword IS NOT NULL"
            ).fetchall()

        # SCRAM-SHA-256$iterations:salt$StoredKey:ServerKey, as in PostgreSQL's manual on pg_authid.
        assert len(kept) == 4
        assert all(verifier.startswith("SCRAM-SHA-256$") for (verifier,) in kept)

    def test_text_is_sorted_and_lowered_the_same_on_every_machine(self, servers):
        with psycopg.connect(servers.database_url("app")) as connection:
            (row,) = connection.execute(
                """SELECT datlocprovider::text, datlocale, pg_encoding_to_char(encoding),
                          lower('ÅÉ')
                     FROM pg_database WHERE datname = 'penult'"""
            ).fetchall()

        # PostgreSQL's manual: "b" is the builtin provider (pg_database); its C.UTF-8 sorts by code
        # point and changes case by Unicode's simple rules (Locale Providers).
        assert row == ("b", "C.UTF-8", "UTF8", "åé")

    def test_data_survives_the_power_cut_by_default(self, servers):
        with psycopg.connect(servers.database_url("app")) as connection:
            settings = connection.execute(
                """SELECT setting FROM pg_settings
                    WHERE name IN ('fsync', 'full_page_writes', 'synchronous_commit')"""
            ).fetchall()

        assert settings == [("on",), ("on",), ("on",)]

    def test_secrets_are_for_our_eyes_only(self, servers):
        secrets = servers.local_dir.path / "secrets.json"
        arguments = [Path(f"/proc/{pid}/cmdline").read_bytes() for pid in _pids_of(servers)]

        assert secrets.stat().st_mode & 0o777 == 0o600
        for word in json.loads(secrets.read_text()).values():
            assert all(word.encode() not in line for line in arguments)


class TestStart:
    def test_keeps_every_row_over_five_kills(self, local_dir):
        kept = []
        with embedded.start(local_dir) as servers:
            with psycopg.connect(servers.database_url("owner")) as connection:
                connection.execute("CREATE TABLE kept (id integer)")
            for number in range(5):
                with psycopg.connect(servers.database_url("owner")) as connection:
                    connection.execute("INSERT INTO kept VALUES (%s)", [number])
                servers.postgres.kill()

                servers.postgres.start()

                with psycopg.connect(servers.database_url("owner")) as connection:
                    (count,) = connection.execute("SELECT count(*) FROM kept").fetchall()
                    kept.append(count[0])

        assert kept == [1, 2, 3, 4, 5]

    def test_brings_the_broker_back_with_its_messages(self, local_dir):
        with embedded.start(local_dir, postgres=False) as servers:
            broker(servers).rpush("waiting", "message")
            # Valkey syncs once a second; WAITAOF returns when the append-only file holds it all.
            broker(servers).execute_command("WAITAOF", 1, 0, 5000)
            servers.valkey.kill()

            servers.valkey.start()

            assert broker(servers).lrange("waiting", 0, -1) == [b"message"]

    def test_keeps_ports_and_data_for_the_next_time(self, local_dir):
        with embedded.start(local_dir) as servers:
            before = servers.database_url("owner"), servers.redis_url
            with psycopg.connect(servers.database_url("owner")) as connection:
                connection.execute("CREATE TABLE kept (id integer)")

        with embedded.start(local_dir) as servers:
            assert (servers.database_url("owner"), servers.redis_url) == before
            with psycopg.connect(servers.database_url("owner")) as connection:
                connection.execute("SELECT id FROM kept")

    def test_works_where_the_path_is_too_long_for_a_socket(self, tmp_path):
        deep = tmp_path.joinpath(*["a-folder-name-of-thirty-letters"] * 5)

        with embedded.start(deep) as servers:
            psycopg.connect(servers.database_url("app")).close()

        assert len(str(deep)) > 108  # sizeof sun_path, unix(7)

    def test_works_beside_another_stack(self, tmp_path):
        with embedded.start(tmp_path / "one") as one, embedded.start(tmp_path / "two") as two:
            with psycopg.connect(one.database_url("owner")) as connection:
                connection.execute("CREATE TABLE here (id integer)")

            with (
                psycopg.connect(two.database_url("owner")) as connection,
                pytest.raises(psycopg.errors.UndefinedTable),
            ):
                connection.execute("SELECT id FROM here")

    def test_refuses_a_directory_in_use(self, local_dir):
        with embedded.start(local_dir, postgres=False), pytest.raises(DirectoryInUseError):
            embedded.start(local_dir)

    def test_refuses_to_lose_the_passwords_of_a_database(self, local_dir):
        embedded.start(local_dir).stop()
        (local_dir / "secrets.json").unlink()

        with pytest.raises(LocalStackError, match="remove the directory to begin anew"):
            embedded.start(local_dir)

    def test_begins_again_when_the_first_start_was_cut_short(self, local_dir):
        half_made = local_dir / "postgres" / "data.new"
        half_made.mkdir(parents=True)
        (half_made / "PG_VERSION").write_text("18\n")

        with embedded.start(local_dir) as servers:
            psycopg.connect(servers.database_url("app")).close()

    def test_takes_another_port_when_its_own_was_taken_meanwhile(self, local_dir):
        with embedded.start(local_dir, postgres=False) as servers:
            port = servers.valkey.port
        stranger = subprocess.Popen(
            [sys.executable, "-c", _LISTEN, str(port)], stdout=subprocess.PIPE, text=True
        )
        try:
            assert stranger.stdout is not None
            assert stranger.stdout.readline() == "listening\n"

            with embedded.start(local_dir, postgres=False) as servers:
                assert servers.valkey.port != port
                assert broker(servers).ping()
        finally:
            stranger.kill()
            stranger.communicate()

    def test_is_not_stopped_by_a_stranger_with_the_old_process_id(self, local_dir):
        servers = embedded.start(local_dir)
        account = servers.postgres.binaries.account
        servers.postgres.kill()
        servers.stop()
        stranger = subprocess.Popen(["sleep", "60"], user=account.uid if account else None)
        try:
            # As after a reboot: the id in PostgreSQL's lock file now belongs to another process.
            lock_file = local_dir / "postgres" / "data" / "postmaster.pid"
            lines = lock_file.read_text().splitlines()
            lock_file.write_text("\n".join([str(stranger.pid), *lines[1:], ""]))
            entry = {"pid": stranger.pid, "born": "earlier", "stop_signal": signal.SIGINT}
            (local_dir / "processes.json").write_text(json.dumps({"postgres": entry}))

            with embedded.start(local_dir) as servers:
                psycopg.connect(servers.database_url("app")).close()

            assert stranger.poll() is None
        finally:
            stranger.kill()
            stranger.wait()

    def test_says_that_the_directory_is_not_one(self, tmp_path):
        file = tmp_path / "file"
        file.touch()

        with pytest.raises(LocalStackError, match="cannot be written"):
            embedded.start(file)

    @as_root
    def test_says_that_the_disk_is_full(self, closed_dir):
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=20m", "tmpfs", closed_dir], check=False
        )
        if mounted.returncode != 0:
            pytest.skip("this machine does not allow mounting a small disk")
        try:
            with pytest.raises(LocalStackError, match=r"^The disk is full: .* needs 300 MB"):
                embedded.start(closed_dir / "local")
        finally:
            subprocess.run(["umount", closed_dir], check=True)


class TestAccounts:
    @as_root
    def test_root_lets_an_account_without_rights_run_the_servers(self, closed_dir):
        with embedded.start(closed_dir / "local") as servers:
            owners = {Path(f"/proc/{pid}").stat().st_uid for pid in _pids_of(servers)}
            psycopg.connect(servers.database_url("app")).close()
            copies = servers.postgres.binaries.copies

        assert owners == {pwd.getpwnam("nobody").pw_uid}
        assert copies is not None
        assert not copies.exists()

    @as_root
    def test_an_ordinary_account_runs_them_itself(self):
        nobody = pwd.getpwnam("nobody")
        program = find_postgres_program("postgres")
        reachable = subprocess.run(
            ["test", "-x", program], user=nobody.pw_uid, group=nobody.pw_gid, check=False
        )
        if reachable.returncode != 0:
            pytest.skip("the packages lie where no other account can go")
        folder = Path(tempfile.mkdtemp())
        os.chown(folder, nobody.pw_uid, nobody.pw_gid)
        try:
            child = multiprocessing.get_context("fork").Process(
                target=_start_and_stop_as, args=(nobody.pw_uid, nobody.pw_gid, folder / "local")
            )
            child.start()
            child.join(60)

            assert child.exitcode == 0
            assert (folder / "local" / "postgres" / "data").stat().st_uid == nobody.pw_uid
        finally:
            shutil.rmtree(folder)

    @as_root
    def test_a_directory_of_another_account_is_refused(self, local_dir):
        local_dir.mkdir()
        os.chown(local_dir, 12345, 12345)

        with pytest.raises(LocalStackError, match="belongs to another account"):
            embedded.start(local_dir)


class TestStop:
    def test_leaves_no_process_and_no_copy(self, local_dir):
        with embedded.start(local_dir) as servers:
            pids = _pids_of(servers)

        assert [birth_of(pid) for pid in pids] == [None, None]
        assert json.loads((local_dir / "processes.json").read_text()) == {}
        assert not (local_dir / "copies").exists()

    def test_does_not_wait_for_a_client_that_stays(self, local_dir):
        servers = embedded.start(local_dir)
        with psycopg.connect(servers.database_url("app")) as connection:
            connection.execute("SELECT 1")

            servers.stop()

            assert "fast shutdown" in servers.local_dir.log("postgres").read_text()
            with pytest.raises(psycopg.OperationalError):
                connection.execute("SELECT 1")

    def test_reaches_a_server_that_was_paused(self, local_dir):
        with embedded.start(local_dir, postgres=False) as servers:
            pid = servers.valkey.pid
            os.kill(pid, signal.SIGSTOP)

        assert birth_of(pid) is None

    @pytest.mark.skipif(sys.platform != "linux", reason="processes are told apart by /proc")
    def test_of_a_killed_stack_is_made_up_for_by_the_next_one(self, local_dir, environment):
        killed = subprocess.Popen(
            [sys.executable, "-c", _START_AND_WAIT, str(local_dir)],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert killed.stdout is not None
        left_behind = [int(word) for word in killed.stdout.readline().split()]
        copies = local_dir / "copies"
        copied_to = Path(copies.read_text()) if copies.exists() else None
        killed.kill()
        killed.communicate()
        assert all(birth_of(pid) is not None for pid in left_behind)

        with embedded.start(local_dir) as servers:
            psycopg.connect(servers.database_url("app")).close()

            assert [birth_of(pid) for pid in left_behind] == [None, None]
            assert copied_to is None or not copied_to.exists()


_LISTEN = """
import socket, sys, time
listener = socket.create_server(("127.0.0.1", int(sys.argv[1])))
print("listening", flush=True)
time.sleep(60)
"""

_START_AND_WAIT = """
import sys, time
from pathlib import Path
from config import embedded
servers = embedded.start(Path(sys.argv[1]))
print(servers.postgres.pid, servers.valkey.pid, flush=True)
time.sleep(60)
"""


def _pids_of(servers: embedded.LocalServers) -> list[int]:
    return [server.pid for server in servers.running_servers()]


def _start_and_stop_as(uid: int, gid: int, folder: Path) -> None:
    os.setgroups([])
    os.setgid(gid)
    os.setuid(uid)
    with embedded.start(folder) as servers:
        psycopg.connect(servers.database_url("app")).close()
        broker(servers).ping()
