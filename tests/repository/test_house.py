"""Every room has its place, and whatever is below the record stays free of frameworks and strictly typed."""

import re

from tests.repository import ROOT, project

PACKAGE = ROOT / "src" / "markstead"


def rooms() -> set[str]:
    """Top-level modules and packages of Markstead, as the import contract names them."""
    packages = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    modules = {path.stem for path in PACKAGE.glob("*.py") if not path.stem.startswith("__")}
    return packages | modules


def layers() -> list[set[str]]:
    """The layers, topmost first."""
    contracts = project()["tool"]["importlinter"]["contracts"]
    (contract,) = [contract for contract in contracts if contract["type"] == "layers"]
    assert contract["exhaustive"]
    return [set(re.split(r"\s*[|:]\s*", layer)) for layer in contract["layers"]]


def below_the_record() -> set[str]:
    order = layers()
    place = next(index for index, layer in enumerate(order) if "records" in layer)
    return set().union(*order[place + 1 :])


def test_every_room_has_one_place_in_the_layers() -> None:
    placed = [room for layer in layers() for room in sorted(layer)]
    assert sorted(placed) == sorted(rooms())


def test_folders_of_code_are_packages() -> None:
    bare = {
        str(path.parent.relative_to(PACKAGE))
        for path in PACKAGE.rglob("*.py")
        if not (path.parent / "__init__.py").is_file()
    }
    assert not bare


def test_what_is_below_the_record_knows_no_framework() -> None:
    contracts = project()["tool"]["importlinter"]["contracts"]
    (contract,) = [c for c in contracts if c["type"] == "forbidden" and "django" in c["forbidden_modules"]]
    assert {module.removeprefix("markstead.") for module in contract["source_modules"]} == below_the_record()


def test_what_is_below_the_record_is_strictly_typed() -> None:
    settings = project()["tool"]["mypy"]
    assert settings["strict"]
    checked = {file.removeprefix("src/markstead/").removesuffix(".py") for file in settings["files"]}
    assert below_the_record() <= checked


def test_web_asks_the_database_through_the_records_alone() -> None:
    """On this rests which rooms of web are tried on one database only (DATABASE_TESTS in the Makefile)."""
    own = re.compile(
        r"\.objects\b|\.cursor\(|from django\.db\.models|\bimport .*\btransaction\b|records\.models"
    )
    found = {
        f"{path.relative_to(PACKAGE)}: {line.strip()}"
        for path in (PACKAGE / "web").rglob("*.py")
        for line in path.read_text(encoding="utf-8").splitlines()
        if own.search(line)
    }
    assert found == set()
