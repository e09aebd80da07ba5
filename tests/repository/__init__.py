"""Tests of the repository itself: what a reader of the code relies on without looking."""

import subprocess
import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


def kept_files() -> list[Path]:
    """Every file that is kept or about to be: tracked, or new and not ignored."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    paths = (ROOT / name for name in listed.stdout.split("\0") if name)
    return sorted({path for path in paths if path.is_file()})


def project() -> dict[str, Any]:
    """What pyproject.toml says."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
