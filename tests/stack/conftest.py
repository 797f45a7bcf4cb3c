"""A short directory for each stack, and an environment that names no servers."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ADDRESSES = {"DATABASE_URL", "OWNER_DATABASE_URL", "BACKUP_DATABASE_URL", "REDIS_URL", "SECRET_KEY"}


@pytest.fixture
def local_dir(tmp_path: Path) -> Path:
    return tmp_path / "local"


@pytest.fixture
def environment(local_dir: Path) -> dict[str, str]:
    """Return the environment of a person who has no servers, with its own data directory."""
    kept = {name: value for name, value in os.environ.items() if name not in ADDRESSES}
    return {**kept, "PENULT_LOCAL_DIR": str(local_dir)}


@pytest.fixture
def closed_dir() -> Iterator[Path]:
    """Make a directory that nobody but its owner can enter, as root's home often is."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o700)
    yield folder
    shutil.rmtree(folder)
