"""The command reference names every command, argument and option, and none that is not there."""

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

from tests.repository import ROOT

REFERENCE = ROOT / "docs" / "reference" / "commands.md"
# Options that most commands share are told once, under this heading.
SHARED = "Options that many commands take"


def walk(command: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Each command by its full name, groups included: ``markstead``, ``markstead act``..."""
    yield path, command
    for name, child in getattr(command, "commands", {}).items():
        if not child.hidden:
            yield from walk(child, f"{path} {name}")


@cache
def commands() -> dict[str, Any]:
    import typer

    from markstead.cli.main import app

    return dict(walk(typer.main.get_command(app), "markstead"))


def words_of(command: Any) -> list[str]:
    """What a person may type after the command's name."""
    words = []
    for parameter in command.params:
        if getattr(parameter, "hidden", False) or parameter.name in {
            "help",
            "install_completion",
            "show_completion",
        }:
            continue
        if parameter.param_type_name == "argument":
            words.append((parameter.metavar or parameter.name).strip("[].").upper())
        else:
            words += [word for word in (*parameter.opts, *parameter.secondary_opts) if word.startswith("--")]
    return words


def sections() -> dict[str, str]:
    """The reference by heading; code marks in headings do not count."""
    parts = re.split(r"^#{1,4} +(.+)$", REFERENCE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return {
        heading.replace("`", "").strip(): body for heading, body in zip(parts[1::2], parts[2::2], strict=True)
    }


def named(word: str, text: str) -> bool:
    """Whether `word` stands in `text` by itself, not as a part of a longer option."""
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text) is not None


def test_every_command_has_its_heading() -> None:
    missing = sorted(set(commands()) - set(sections()))
    assert not missing, f"{REFERENCE.name} lacks the headings {missing}"


def test_every_heading_of_a_command_has_its_command() -> None:
    headed = {heading for heading in sections() if heading.split()[0] == "markstead"}
    gone = sorted(headed - set(commands()))
    assert not gone, f"{REFERENCE.name} tells of {gone}, which the program does not know"


def test_every_argument_and_option_has_its_line() -> None:
    told = sections()
    missing = [
        f"{path}: {word}"
        for path, command in commands().items()
        for word in words_of(command)
        if not named(word, told.get(path, ""))
        and not (word.startswith("--") and named(word, told.get(SHARED, "")))
    ]
    assert not missing, "\n".join(missing)


def test_every_command_says_what_it_does() -> None:
    silent = [path for path, command in commands().items() if not (command.help or "").strip()]
    assert not silent
