"""The program `markstead`: every error that a person may meet leaves as sentences and an exit status.

0: done. 1: refused by a gate, or the record does not hold. 2: what came in cannot be taken, or our own mistake.
"""

import os
import sys
import tempfile
import traceback
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from markstead import __version__
from markstead.cli import (
    acts,
    begin,
    estimate,
    items,
    keep,
    leaving,
    library,
    look,
    note,
    ordering,
    outlook,
    paper,
    papers,
    planning,
    quiz,
    serving,
)
from markstead.cli.house import LOG, folder_of, real_now
from markstead.cli.options import HOME, HOUSEHOLD, NOW, TODAY, Asked
from markstead.errors import DamagedRecordError, MarksteadError
from markstead.speech import known, language, say, spoken

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    help="Keep several learners moving through consumable mastery workbooks at home.",
)


@app.callback(invoke_without_command=True)
def options(
    ctx: typer.Context,
    *,
    home: HOME = None,
    household: HOUSEHOLD = None,
    now: NOW = None,
    today: TODAY = None,
    version: Annotated[
        bool, typer.Option("--version", help="Say which Markstead this is.", is_eager=True)
    ] = False,
) -> None:
    """Keep several learners moving through consumable mastery workbooks at home.

    The first four options may stand before a command or after it.
    """
    if version:
        print(f"markstead {__version__}")
        raise typer.Exit
    ctx.obj = Asked(home=home, household=household, now=now, today=today)


serving.add_to(app)
begin.add_to(app)
look.add_to(app)
estimate.add_to(app)
outlook.add_to(app)
ordering.add_to(app)
planning.add_to(app)
paper.add_to(app)
app.add_typer(quiz.app, name="quiz")
items.add_to(app)
app.add_typer(acts.app, name="act")
note.add_to(app)
papers.add_to(app)
keep.add_to(app)
leaving.add_to(app)


def _say(*lines: str) -> None:
    for line in lines:
        print(line, file=sys.stderr)


def _status_of(error: MarksteadError) -> int:
    """Say what is the matter; give the exit status."""
    # An error of the rules can only have come from a loaded module; importing it here would slow every error.
    ruling: Any = getattr(error, "ruling", None)
    if ruling is not None:
        _say(say("Refused:"), *(line for b in ruling.bars for line in (f"  {b.says}", f"    -> {b.lifts}")))
        return 1
    _say(str(error))
    return 1 if isinstance(error, DamagedRecordError) else 2


def in_language(command: Any) -> Any:
    """Let a command, those under it and their options tell of themselves in the language that is spoken."""
    library.parts_of_help()
    for told in told_of(command):
        told.help = say(told.help)
        if hasattr(told, "context_class"):
            library.line_of_use(told)
    return command


def told_of(command: Any) -> Iterator[Any]:
    """What tells of itself by a `help`: a command, its options and arguments, the commands under it."""
    asking = command.get_help_option(typer.Context(command))
    yield from (one for one in (command, *command.params, asking) if getattr(one, "help", None))
    for below in getattr(command, "commands", {}).values():
        yield from told_of(below)


def _home_in(argv: Sequence[str]) -> Path | None:
    """The folder that the arguments name, read plainly: the log is wanted also where reading them failed."""
    for word, following in zip(argv, [*argv[1:], ""], strict=True):
        if word == "--home" and following:
            return Path(following)
        if word.startswith("--home="):
            return Path(word.removeprefix("--home="))
    return None


def _log(argv: Sequence[str]) -> str:
    """Write the traceback to the log of the home, or of the system where there is no home; say where."""
    text = f"{real_now().isoformat()} markstead {__version__}\n{traceback.format_exc()}\n"
    for folder in (folder_of(Asked(home=_home_in(argv))), Path(tempfile.gettempdir())):
        try:
            if folder.is_dir():
                with (folder / LOG).open("a", encoding="utf-8") as file:
                    file.write(text)
                return say("The details are in {file}.", file=folder / LOG)
        except OSError:
            continue
    return say("The details could not be written down anywhere.")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give its exit status."""
    # A home that is opened may have chosen another, where none is named here.
    with spoken(os.environ.get("MARKSTEAD_LANGUAGE") or _of_the_terminal() or language().code):
        return _answer(list(sys.argv[1:] if argv is None else argv))


def _of_the_terminal() -> str:
    """The language that the terminal asks for, where it is another than English; empty where it is not spoken here."""
    asked = next(filter(None, (os.environ.get(name) for name in ("LC_ALL", "LC_MESSAGES", "LANG"))), "")
    found = known(asked.partition(".")[0])
    return found.code if found is not None and not found.code.startswith("en") else ""


def _answer(words: Sequence[str]) -> int:
    try:
        status = in_language(typer.main.get_command(app)).main(
            args=list(words), prog_name="markstead", standalone_mode=False
        )
    except MarksteadError as error:
        return _status_of(error)
    except typer.TyperException as error:
        context = getattr(error, "ctx", None)
        text = library.misuse(error.format_message())
        if not text:  # a group that was called without a command shows its help
            return 2
        path = context.command_path if context is not None else "markstead"
        _say(text, say("`{path} --help` tells what it takes.", path=path))
        return 2
    except typer.Abort:
        _say(say("Stopped; nothing was written."))
        return 2
    except Exception:  # noqa: BLE001  # the last line of defence: nobody is shown a traceback
        _say(
            say("Sorry, something went wrong that is Markstead's own mistake. {details}", details=_log(words))
        )
        return 2
    return status if isinstance(status, int) else 0


def run() -> None:
    """Entry point of the program."""
    sys.exit(main())


if __name__ == "__main__":
    run()
