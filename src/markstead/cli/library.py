"""What the library of the command line says by itself, in the language that is spoken."""

import re
import sys
from typing import Any

from markstead.speech import ENGLISH, language, later, say

_PARTS_OF_HELP = {
    "ARGUMENTS_PANEL_TITLE": later("Arguments"),
    "OPTIONS_PANEL_TITLE": later("Options"),
    "COMMANDS_PANEL_TITLE": later("Commands"),
    "REQUIRED_LONG_STRING": later("[required]"),
    "DEFAULT_STRING": later("[default: {}]"),
}
"""By the names under which the library keeps them."""
_PLACES = {"options_metavar": later("[OPTIONS]"), "subcommand_metavar": later("COMMAND [ARGS]...")}
"""What stands in a line of use for options and commands, by the attributes of a command that keep it."""

_MISUSES = (
    later("No such option: {option} (Possible options: {options})"),
    later("No such option: {option}"),
    later("No such command {command}. Did you mean {others}?"),
    later("No such command {command}."),
    later("Missing command."),
    later("Missing argument {argument}."),
    later("Missing option {option}."),
    later("Option {option} requires an argument."),
    later("Option {option} does not take a value."),
    later("Got unexpected extra argument(s) ({arguments})"),
    later("Invalid value for {parameter}: {problem}"),
)
"""Its answers to what cannot be taken, the longer of two that begin alike first."""
_REASONS = (
    later("Input should be a valid integer, unable to parse string as an integer"),
    later("Input should be a valid number, unable to parse string as a number"),
    later("Input should be greater than or equal to {least}"),
    later("Input should be less than or equal to {most}"),
    later("Value error, {found} is not one of {allowed}."),
)
"""What it says is the matter with a value; pydantic's words."""
_HOLE = re.compile(r"\\{(\w+)\\}")


def parts_of_help() -> None:
    """Let a help text head its parts in the language that is spoken."""
    if language() is ENGLISH and "typer.rich_utils" not in sys.modules:
        return  # it takes a while to load, and speaks English by itself
    from typer import rich_utils

    for name, words in _PARTS_OF_HELP.items():
        setattr(rich_utils, name, say(words))


def line_of_use(command: Any) -> None:
    """Let a command tell in the language that is spoken how it is written."""
    if language() is ENGLISH:
        return
    written: Any = command.context_class.formatter_class

    class Formatter(written):  # type: ignore[misc]  # the library's, which it names in private only
        def write_usage(self, prog: str, args: str = "", prefix: str | None = None) -> None:
            super().write_usage(prog, args, f"{say('Usage:')} " if prefix is None else prefix)

    command.context_class = type("Context", (command.context_class,), {"formatter_class": Formatter})
    for name, words in _PLACES.items():
        if getattr(command, name, None) == words:
            setattr(command, name, say(words))


def misuse(text: str) -> str:
    """An answer of the library; what it says otherwise stays in English."""
    words, values = _known(_MISUSES, text)
    if "problem" in values:
        reason, inner = _known(_REASONS, values["problem"])
        values["problem"] = say(reason, **inner)
    return say(words, **values)


def _known(every: tuple[str, ...], text: str) -> tuple[str, dict[str, str]]:
    """Which of the library's sentences a text is, and what was filled in; the text itself where it is none of them."""
    for words in every:
        found = re.fullmatch(_HOLE.sub(r"(?P<\1>.+)", re.escape(words)), text, re.DOTALL)
        if found is not None:
            return words, found.groupdict()
    return text, {}
