"""Commands that serve the screens: serve, and demo, which builds an invented household first."""

import errno
import os
import socket
from pathlib import Path
from typing import Annotated

import typer

from markstead.cli import house
from markstead.cli.options import Asked, command
from markstead.errors import InputError, Problem

PORT = Annotated[int, typer.Option("--port", min=1, max=65535, help="The port on which to serve.")]
DEMO_FOLDER = Path("demo-home")
_AT_HOME = {"127.0.0.1", "localhost", "::1"}


def check_port(host: str, port: int) -> None:
    """Whether the address can be had, before anything is started on it."""
    try:
        family, kind, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind) as trial:
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            trial.bind(address)
    except socket.gaierror as error:
        raise InputError([Problem("--host", repr(host), "an address of this machine")]) from error
    except OSError as error:
        if error.errno == errno.EADDRNOTAVAIL:
            raise InputError([Problem("--host", repr(host), "an address of this machine")]) from error
        taken = error.errno == errno.EADDRINUSE
        found = f"{port}, {'on which another program serves already' if taken else error.strerror}"
        do = f"Give another one, such as --port {port + 1 if port < 65535 else 8033}."
        raise InputError([Problem("--port", found, "a port that is free", do)]) from error


def prepare_to_serve(host: str, certificate: Path | None, key: Path | None) -> None:
    """Tell the settings, before they are read, under which address they will be served."""
    if (certificate is None) != (key is None):
        raise InputError([Problem("--tls-certificate and --tls-key", "one of them", "both or neither")])
    for option, file in (("--tls-certificate", certificate), ("--tls-key", key)):
        if file is not None and not file.is_file():
            raise InputError([Problem(option, f"no file at {file}", "a PEM file")])
    if certificate is not None:
        os.environ["MARKSTEAD_TLS"] = "yes"
    if host not in _AT_HOME and not os.environ.get("MARKSTEAD_HOSTS"):
        os.environ["MARKSTEAD_HOSTS"] = f"{host},127.0.0.1,localhost,[::1]"


def serve_until_stopped(
    host: str, port: int, certificate: Path | None = None, key: Path | None = None
) -> None:
    """Serve the screens until Ctrl and C are pressed."""
    from django.db import connections
    from granian import Granian
    from granian.constants import Interfaces
    from granian.log import LogLevels

    connections.close_all()  # the server works in a process of its own, which opens the database itself
    shown = f"[{host}]" if ":" in host else host
    print(
        f"Open {'https' if certificate else 'http'}://{shown}:{port}/ in a browser. Ctrl and C stop it.",
        flush=True,
    )
    server = Granian(
        # A string, so that the commands know no screens.
        "markstead.web.wsgi:application",
        address=host,
        port=port,
        interface=Interfaces.WSGI,
        workers=1,
        blocking_threads=2,
        websockets=False,
        log_level=LogLevels.warning,
        ssl_cert=certificate,
        ssl_key=key,
    )
    server.serve()
    print("Stopped.")


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "demo")
    def demo(
        asked: Asked,
        *,
        no_serve: Annotated[bool, typer.Option("--no-serve", help="Build it, and do not serve it.")] = False,
        host: Annotated[
            str, typer.Option("--host", metavar="ADDRESS", help="The address to serve at.")
        ] = "127.0.0.1",
        port: PORT = 8033,
        fresh: Annotated[
            bool, typer.Option("--fresh", help="Build it anew; what was done in it is lost.")
        ] = False,
    ) -> None:
        """Build an invented household with some ninety school days behind it, and serve it.

        It lives in a folder of its own: ./demo-home, or the one named by --home. MARKSTEAD_HOME and
        DATABASE_URL are not heeded, so that no real home is touched.
        """
        if not no_serve:
            check_port(host, port)
        folder = asked.home or DEMO_FOLDER
        build_demo(folder, fresh=fresh)
        if not no_serve:
            serve_until_stopped(host, port)

    @command(app, "serve")
    def serve(
        asked: Asked,
        *,
        host: Annotated[
            str, typer.Option("--host", metavar="ADDRESS", help="The address to serve at.")
        ] = "127.0.0.1",
        port: PORT = 8033,
        tls_certificate: Annotated[
            Path | None,
            typer.Option("--tls-certificate", metavar="FILE", help="A PEM file, to serve by https."),
        ] = None,
        tls_key: Annotated[
            Path | None,
            typer.Option("--tls-key", metavar="FILE", help="The key of the certificate, a PEM file."),
        ] = None,
    ) -> None:
        """Bring the tables up to date, and serve the screens until Ctrl and C are pressed."""
        prepare_to_serve(host, tls_certificate, tls_key)
        check_port(host, port)
        house.open_record(house.folder_of(asked))
        house.migrate()
        house.open_house(asked)
        serve_until_stopped(host, port, tls_certificate, tls_key)


def build_demo(folder: Path, *, fresh: bool) -> None:
    """Build the demo household in a folder, or find it there; print how to sign in."""
    os.environ.pop("DATABASE_URL", None)
    house.make_folder(folder)
    house.wake(folder)
    database = folder / house.DATABASE
    if database.exists():
        keep = _is_built(folder)
        if keep and not fresh:
            pass
        else:
            _clear(database)
    house.migrate()
