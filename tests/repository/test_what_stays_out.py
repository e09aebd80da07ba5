"""The repository is for any machine: no path of somebody's computer, no address of a package registry."""

import re
from collections.abc import Iterator

import pytest

from tests.repository import ROOT, kept_files

# Put together from pieces, so that this file does not hold what it looks for.
MACHINE_FOLDERS = ["/".join(("", name, "")) for name in ("work", "root", "Users")]
REGISTRY_HOSTS = [
    ".".join(parts)
    for parts in (
        ("pypi", "org"),
        ("pythonhosted", "org"),
        ("npmjs", "org"),
        ("npmjs", "com"),
        ("deb", "debian", "org"),
        ("crates", "io"),
    )
]
REGISTRY_SWITCHES = ["-".join(parts) for parts in (("index", "url"), ("find", "links"), ("trusted", "host"))]

FORBIDDEN = re.compile(
    "|".join(
        [
            # At the start of a path only: a page of ours may well have such a folder further on in its address.
            *(rf"(?<![\w.>}})/-]){re.escape(folder)}" for folder in MACHINE_FOLDERS),
            *(re.escape(host) for host in REGISTRY_HOSTS),
            # The lock is made with the switch that leaves the address out; that one may be named.
            *(rf"(?<!no-emit-){re.escape(switch)}" for switch in REGISTRY_SWITCHES),
        ]
    )
)


def breaches(text: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(text.splitlines(), start=1):
        for match in FORBIDDEN.finditer(line):
            yield number, match.group()


def test_no_file_names_a_machine_or_a_registry() -> None:
    found = [
        f"{path.relative_to(ROOT)}, line {number}: {word}"
        for path in kept_files()
        for number, word in breaches(path.read_text(encoding="utf-8", errors="replace"))
    ]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("word", [*MACHINE_FOLDERS, *REGISTRY_HOSTS, *REGISTRY_SWITCHES])
def test_a_planted_name_is_found(word: str) -> None:
    assert list(breaches(f"first line\nsee {word}there")) == [(2, word)]


def test_the_switch_that_leaves_addresses_out_may_be_named() -> None:
    assert not list(breaches(f"uv pip compile --no-emit-{REGISTRY_SWITCHES[0]}"))
