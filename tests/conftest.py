"""What every test shares: how hard generated tests search, an environment nobody's shell leaks into, the file list.

It holds no test data and no strategies; those stand in files of their own.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parent.parent

# No deadline anywhere: a slow machine is not a wrong program.
# HYPOTHESIS_PROFILE=deep searches long and from a new seed each time; CI searches the same examples every time, so
# that a change and not luck turns it red.
settings.register_profile("default", deadline=None, derandomize=False, max_examples=60)
settings.register_profile("ci", deadline=None, derandomize=True, max_examples=60, database=None)
settings.register_profile(
    "deep", deadline=None, derandomize=False, max_examples=3000, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or ("ci" if os.environ.get("CI") else "default"))

# What would change colours, width or units of what is printed.
_OF_A_SHELL = ("NO_COLOR", "FORCE_COLOR", "PY_COLORS", "CLICOLOR", "CLICOLOR_FORCE", "GITHUB_ACTIONS", "LINES")


@pytest.fixture(scope="session", autouse=True)
def clean_environment() -> Iterator[None]:
    """Run all tests without TWOGAUGE_*, without colour settings, and 80 columns wide; child processes inherit it.

    Nothing of the packs is kept in, or taken from, the cache of who runs them.
    """
    with pytest.MonkeyPatch.context() as patch:
        for name in [name for name in os.environ if name.startswith("TWOGAUGE_")]:
            patch.delenv(name)
        for name in _OF_A_SHELL:
            patch.delenv(name, raising=False)
        patch.setenv("COLUMNS", "80")
        patch.setenv("TWOGAUGE_NO_CACHE", "1")
        yield


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder that holds pyproject.toml."""
    return ROOT


@pytest.fixture(scope="session")
def project_files() -> tuple[Path, ...]:
    """The project's own files, absolute: those git tracks; in an unpacked sdist, all but what tools left behind."""
    if (ROOT / ".git").exists():
        command = ["git", "-c", "safe.directory=*", "-C", str(ROOT), "ls-files", "-z"]
        listed = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split("\0")
        found = [ROOT / name for name in listed if name]
    else:
        found = [path for path in ROOT.rglob("*") if not _left_behind(path.relative_to(ROOT))]
    files = tuple(sorted(path for path in found if path.is_file()))
    assert files, "the project has no files?"
    return files


def _left_behind(path: Path) -> bool:
    by_tools = {".venv", "dist", "htmlcov", "__pycache__", ".hypothesis", "PKG-INFO"}
    return any(part in by_tools or part.endswith("_cache") or part.startswith(".coverage") for part in path.parts)
