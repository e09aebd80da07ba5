"""A command of our own, run in a process beside the server, so that no page waits for it."""

import os
import subprocess
import sys

from django.conf import settings

from markstead.speech import language

COMMANDS = "markstead.cli.main"
"""Run by its name: the screens know no commands."""


def run(household: str, *words: str) -> subprocess.Popen[bytes]:
    """Begin a command on a home; it goes on when the server ends.

    Raises:
        OSError: the machine could not begin it.
    """
    home = str(settings.HOME)
    return subprocess.Popen(  # noqa: S603  # our own program, and no shell
        [sys.executable, "-m", COMMANDS, "--home", home, "--household", household, *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"MARKSTEAD_HOME": home, "MARKSTEAD_LANGUAGE": language().code},
        start_new_session=True,
    )
