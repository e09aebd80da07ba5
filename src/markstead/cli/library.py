"""What the library of the command line says by itself, in the language that is spoken."""

import re
import sys

from markstead.speech import ENGLISH, language, later, say

_PARTS_OF_HELP = {
    "ARGUMENTS_PANEL_TITLE": later("Arguments"),
    "OPTIONS_PANEL_TITLE": later("Options"),
    "COMMANDS_PANEL_TITLE": later("Commands"),
    "REQUIRED_LONG_STRING": later("[required]"),
    "DEFAULT_STRING": later("[default: {}]"),
}
"""By the names under which the library keeps them."""

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
_HOLE = re.compile(r"\\{(\w+)\\}")


def parts_of_help() -> None:
    """Let a help text head its parts in the language that is spoken."""
    if language() is ENGLISH and "typer.rich_utils" not in sys.modules:
        return  # it takes a while to load, and speaks English by itself
    from typer import rich_utils

    for name, words in _PARTS_OF_HELP.items():
        setattr(rich_utils, name, say(words))


def misuse(text: str) -> str:
    """An answer of the library; what it says otherwise stays in English."""
    for words in _MISUSES:
        found = re.fullmatch(_HOLE.sub(r"(?P<\1>.+)", re.escape(words)), text, re.DOTALL)
        if found is not None:
            return say(words, **found.groupdict())
    return text
