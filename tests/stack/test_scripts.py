"""The shell part of the scripts, on a copy of the files that it reads."""

import os
import pwd
import shutil
import subprocess
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
OLD_PYTHON = "exit 1"
PYTHON_WITHOUT_VENV = """
case "$*" in *version_info*) exit 0 ;; *) exit 1 ;; esac
"""
INSTALLED_PYTHON = """
case "$*" in
  *"pip install"*)
    echo begin >>"$INSTALL_LOG"
    sleep 0.5
    echo end >>"$INSTALL_LOG"
    ;;
esac
"""
FAILING_PIP = """
case "$*" in *"pip install"*) echo "ERROR: no route to host"; exit 1 ;; esac
"""
FULL_DISK = 'echo header; echo "/dev/disk 1000 999 1 99% /"'


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    shutil.copytree(CHECKOUT / "script", tmp_path / "checkout" / "script")
    shutil.copytree(CHECKOUT / "requirements", tmp_path / "checkout" / "requirements")
    return tmp_path / "checkout"


@pytest.fixture
def programs(tmp_path: Path) -> Path:
    """Make a folder that comes first on the path."""
    folder = tmp_path / "programs"
    folder.mkdir()
    return folder


def write_program(path: Path, body: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/usr/bin/env bash\n{body}\n")
    path.chmod(0o755)


def start(
    checkout: Path, programs: Path, words: str, *, account: int | None = None, **more: str
) -> "subprocess.Popen[str]":
    kept = {
        name: value
        for name, value in os.environ.items()
        if name != "PYTHON" and not name.startswith("PENULT_")
    }
    return subprocess.Popen(
        ["bash", "-c", f"set -euo pipefail; source script/common.sh; {words}"],
        cwd=checkout,
        env={
            **kept,
            "PATH": f"{programs}:{os.environ['PATH']}",
            "INSTALL_LOG": str(checkout / "install.log"),
            **more,
        },
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        user=account,
    )


def finish(process: "subprocess.Popen[str]") -> tuple[int, str, str]:
    out, err = process.communicate(timeout=60)
    return process.returncode, out, err


class TestPrepare:
    def test_says_that_no_python_is_new_enough(self, checkout, programs):
        for name in ("python3.13", "python3.12", "python3.11", "python3", "python"):
            write_program(programs / name, OLD_PYTHON)

        status, _, err = finish(start(checkout, programs, "prepare run"))

        assert status == 1
        assert err.startswith("Python 3.11 or newer was not found; install it, or name it:")
        assert err.count("\n") == 1

    def test_says_that_the_named_python_is_too_old(self, checkout, programs):
        write_program(programs / "old", OLD_PYTHON)

        status, _, err = finish(start(checkout, programs, "prepare run", PYTHON="old"))

        assert (status, err) == (1, "PYTHON=old is not Python 3.11 or newer.\n")

    def test_says_that_the_venv_module_is_missing(self, checkout, programs):
        write_program(programs / "bare", PYTHON_WITHOUT_VENV)

        status, _, err = finish(start(checkout, programs, "prepare run", PYTHON="bare"))

        assert status == 1
        assert err.startswith("Python's venv module is missing; install it")
        assert err.count("\n") == 1

    def test_says_that_the_disk_is_full(self, checkout, programs):
        write_program(checkout / ".venv/bin/python", INSTALLED_PYTHON)
        write_program(programs / "df", FULL_DISK)

        status, _, err = finish(start(checkout, programs, "prepare run"))

        assert status == 1
        assert err.startswith("The disk is full:")
        assert err.count("\n") == 1

    def test_says_what_pip_said(self, checkout, programs):
        write_program(checkout / ".venv/bin/python", FAILING_PIP)

        status, _, err = finish(start(checkout, programs, "prepare run"))

        assert status == 1
        assert "pip says: ERROR: no route to host" in err
        assert not list((checkout / ".venv").glob("installed-*"))

    def test_says_that_the_checkout_cannot_be_written(self, checkout, programs):
        checkout.chmod(0o555)
        # Root may write everywhere, so another account tries.
        account = pwd.getpwnam("nobody").pw_uid if os.geteuid() == 0 else None

        status, _, err = finish(start(checkout, programs, "prepare run", account=account))

        assert status == 1
        assert "cannot be written" in err
        assert err.count("\n") == 1

    def test_installs_once(self, checkout, programs):
        write_program(checkout / ".venv/bin/python", INSTALLED_PYTHON)

        finish(start(checkout, programs, "prepare run; prepare run"))

        assert (checkout / "install.log").read_text() == "begin\nend\n"

    def test_installs_again_when_the_pins_changed(self, checkout, programs):
        write_program(checkout / ".venv/bin/python", INSTALLED_PYTHON)

        finish(start(checkout, programs, "prepare run; echo >>requirements/run.txt; prepare run"))

        assert (checkout / "install.log").read_text() == "begin\nend\nbegin\nend\n"

    def test_takes_the_developers_packages_for_running_too(self, checkout, programs):
        write_program(checkout / ".venv/bin/python", INSTALLED_PYTHON)

        finish(start(checkout, programs, "prepare develop; prepare run; prepare develop"))

        assert (checkout / "install.log").read_text() == "begin\nend\n"

    @pytest.mark.skipif(shutil.which("flock") is None, reason="flock is not there to wait with")
    def test_does_not_install_twice_at_once(self, checkout, programs):
        write_program(checkout / ".venv/bin/python", INSTALLED_PYTHON)

        both = [start(checkout, programs, "prepare run") for _ in range(2)]
        statuses = [finish(process)[0] for process in both]

        assert statuses == [0, 0]
        assert (checkout / "install.log").read_text() == "begin\nend\n"


class TestPins:
    def test_the_tools_are_tested_with_the_versions_that_run(self):
        run, develop = _pins("run"), _pins("develop")

        assert {name: develop.get(name) for name in run} == run

    @pytest.mark.parametrize("name", ["run", "develop"])
    def test_every_version_has_a_hash_and_no_file_an_address(self, name):
        text = (CHECKOUT / "requirements" / f"{name}.txt").read_text()
        requirements = text.replace("\\\n", " ").splitlines()

        pinned = [line for line in requirements if line and not line.lstrip().startswith("#")]
        assert all("==" in line and "--hash=sha256:" in line for line in pinned)
        assert "://" not in text


def _pins(name: str) -> dict[str, str]:
    lines = (CHECKOUT / "requirements" / f"{name}.txt").read_text().splitlines()
    pins = [line.split(" ")[0].split("==", 1) for line in lines if line[:1].isalnum()]
    return dict(pins)
