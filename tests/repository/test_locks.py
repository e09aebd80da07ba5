"""An install is the same everywhere: every package pinned, every file known by its hash, no address in it."""

import re

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from tests.repository import ROOT, project

LOCKS = ["requirements.lock", "requirements-dev.lock", "requirements-build.lock"]
PIN = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)(?:\[[^]]*\])?==(?P<version>[^ ;\\]+)")
HASH = re.compile(r"^    --hash=sha256:[0-9a-f]{64}(?: \\)?$")

Pins = dict[str, set[Version]]


def lines_of(lock: str) -> list[str]:
    return (ROOT / lock).read_text(encoding="utf-8").splitlines()


def pins_of(lock: str) -> Pins:
    """The versions a lock may install of each package (more than one where platforms differ)."""
    pins: Pins = {}
    for line in lines_of(lock):
        if match := PIN.match(line):
            pins.setdefault(canonicalize_name(match["name"]), set()).add(Version(match["version"]))
    return pins


def not_covered(asked: list[str], pins: Pins) -> list[str]:
    missing = []
    for requirement in map(Requirement, asked):
        versions = pins.get(canonicalize_name(requirement.name), set())
        if not versions or not all(version in requirement.specifier for version in versions):
            missing.append(f"{requirement}: the lock has {sorted(map(str, versions)) or 'nothing'}")
    return missing


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_has_hashes(lock: str) -> None:
    lines = [line for line in lines_of(lock) if line.strip() and not line.lstrip().startswith("#")]
    strange = [line for line in lines if not PIN.match(line) and not HASH.match(line)]
    assert not strange, strange
    followed = zip(lines, [*lines[1:], ""], strict=True)
    bare = [line for line, after in followed if PIN.match(line) and not HASH.match(after)]
    assert not bare, bare
    assert pins_of(lock)


@pytest.mark.parametrize("lock", LOCKS)
def test_no_lock_holds_an_address(lock: str) -> None:
    assert [line for line in lines_of(lock) if "//" in line or "@" in line] == []


def test_the_lock_covers_what_the_project_asks_for() -> None:
    assert not_covered(project()["project"]["dependencies"], pins_of("requirements.lock")) == []


def test_the_development_lock_covers_what_development_asks_for() -> None:
    asked = [*project()["project"]["dependencies"], *project()["project"]["optional-dependencies"]["dev"]]
    assert not_covered(asked, pins_of("requirements-dev.lock")) == []


def test_the_build_lock_covers_the_build_and_the_installer() -> None:
    asked = [*project()["build-system"]["requires"], "uv"]
    assert not_covered(asked, pins_of("requirements-build.lock")) == []


def test_development_runs_on_the_versions_that_homes_get() -> None:
    development = pins_of("requirements-dev.lock")
    differing = {
        name: (versions, development.get(name))
        for name, versions in pins_of("requirements.lock").items()
        if development.get(name) != versions
    }
    assert not differing, differing
