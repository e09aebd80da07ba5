"""The program itself: help that starts at once, and a server that starts and stops cleanly."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import markstead
from markstead.cli.main import _of_the_terminal, main
from tests.cli.conftest import PROGRAM, environment, program

HEAVY = ("django", "pydantic", "granian", "holidays", "markstead.records", "markstead.rules")


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    look = (
        "import sys; from markstead.cli.main import main; status = main(['--help']); "
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr); sys.exit(status)"
    )
    done = subprocess.run(
        [sys.executable, "-c", look], env=environment(tmp_path), capture_output=True, text=True, check=True
    )
    assert done.stderr.strip() == "[]"
    for name in ("demo", "serve", "init", "import", "today", "act", "history", "undo", "verify", "rebuild"):
        assert f" {name} " in done.stdout


@pytest.mark.parametrize(
    ("says", "code"),
    [
        ({}, ""),
        ({"LANG": "C.UTF-8"}, ""),
        ({"LANG": "en_US.UTF-8"}, ""),
        ({"LANG": "es_MX.UTF-8"}, "es"),
        ({"LANG": "es_ES", "LC_ALL": "en_GB.UTF-8"}, ""),
        ({"LANG": "C", "LC_MESSAGES": "es"}, "es"),
        ({"LANG": "xx_YY"}, ""),
    ],
)
def test_a_terminal_that_asks_for_another_language_gets_it(
    monkeypatch: pytest.MonkeyPatch, says: dict[str, str], code: str
) -> None:
    for name in ("LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    for name, value in says.items():
        monkeypatch.setenv(name, value)
    assert _of_the_terminal() == code


def test_the_version_is_said(tmp_path: Path) -> None:
    assert program(tmp_path, "--version").out == f"markstead {markstead.__version__}\n"


def test_what_the_library_says_by_itself_is_said_in_the_language_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the same process one language follows the other: what was said in one must not stay for the next."""
    monkeypatch.setenv("MARKSTEAD_HOME", "/nowhere")
    lines = {
        ("quiz", "--help"): (
            "Uso: markstead quiz [OPCIONES] ORDEN [ARGUMENTOS]...",
            "Usage: markstead quiz [OPTIONS] COMMAND [ARGS]...",
        ),
        ("history", "--limit", "x"): (
            "Valor no válido de '--limit': tiene que ser un número entero\n",
            "Invalid value for '--limit': Input should be a valid integer, unable to parse string as an integer\n",
        ),
        ("history", "--limit", "0"): (
            "Valor no válido de '--limit': tiene que ser 1 o más\n",
            "Invalid value for '--limit': Input should be greater than or equal to 1\n",
        ),
        ("serve", "--port", "65536"): (
            "Valor no válido de '--port': tiene que ser 65535 o menos\n",
            "Invalid value for '--port': Input should be less than or equal to 65535\n",
        ),
        ("copies", "--status", "{lost}"): (
            "Valor no válido de '--status': '{lost}' no es uno de estos: 'on-order',",
            "Invalid value for '--status': Value error, '{lost}' is not one of 'on-order',",
        ),
        ("{nothing}",): ("No existe la orden '{nothing}'.\n", "No such command '{nothing}'.\n"),
    }
    for number, code in enumerate(("es", "en")):
        monkeypatch.setenv("MARKSTEAD_LANGUAGE", code)
        for words, said in lines.items():
            main(list(words))
            assert said[number] in "".join(capsys.readouterr())


@contextmanager
def serving(home: Path, *words: object) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [*PROGRAM, *map(str, words)],
        env=environment(home),
        cwd=home.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate(timeout=120)


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


def test_the_screens_are_served_until_ctrl_c(new_home: Path) -> None:
    port = free_port()
    with serving(new_home, "serve", "--port", port) as process:
        assert process.stdout is not None
        assert (
            process.stdout.readline() == f"Open http://127.0.0.1:{port}/ in a browser. Ctrl and C stop it.\n"
        )
        status, until = 0, time.monotonic() + 120
        while not status and time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=60) as page:
                    status = page.status
            except OSError:
                time.sleep(0.1)
        assert status == 200
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does it: to the server and its worker
        out, err = process.communicate(timeout=120)
        assert (process.returncode, out, err) == (0, "Stopped.\n", "")


def test_a_port_that_is_taken_is_named(new_home: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        answer = program(new_home, "serve", "--port", port)
    assert answer.status == 2
    assert f"--port: found {port}, on which another program serves already" in answer.err
    assert "Traceback" not in answer.err


def test_an_address_that_is_not_ours_is_named(new_home: Path) -> None:
    # 192.0.2.0/24 is kept for documentation (RFC 5737): no machine has it.
    answer = program(new_home, "serve", "--host", "192.0.2.1", "--port", free_port())
    assert answer.status == 2
    assert "--host: found '192.0.2.1'; allowed is an address of this machine." in answer.err


def test_a_certificate_without_its_key_is_refused(new_home: Path, tmp_path: Path) -> None:
    answer = program(new_home, "serve", "--certificate", tmp_path / "nowhere.pem")
    assert answer.status == 2
    assert "both or neither" in answer.err


def test_the_reference_page_says_what_help_says() -> None:
    import typer

    from markstead.cli.main import app
    from tests.repository.test_commands import REFERENCE, SHARED, sections, walk

    told = sections()
    missing = [
        f"{path}: {parameter.help}"
        for path, command in walk(typer.main.get_command(app), "markstead")
        for parameter in command.params
        if parameter.name != "help"
        and not getattr(parameter, "hidden", False)
        and parameter.help not in told[path]
        and parameter.help not in told[SHARED]
    ]
    assert not missing, f"{REFERENCE.name} lacks: {missing}"
