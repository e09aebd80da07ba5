"""Commands that serve the screens: serve, and demo, which builds an invented household first."""

import errno
import os
import secrets
import shutil
import signal
import socket
from collections.abc import Callable
from functools import partial
from importlib import import_module
from multiprocessing import get_context
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Annotated, Any

import typer

from markstead.cli import certificate as certificates
from markstead.cli import house, network
from markstead.cli.options import Asked, command
from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.speech import say

PORT = Annotated[int, typer.Option("--port", min=1, max=65535, help="The port on which to serve.")]
DEMO_FOLDER = Path("demo-home")
DEMO = "home"
SCREENS = "markstead.web.asgi"
"""Loaded by its name: the commands know no screens."""
FIRST_KEY = "MARKSTEAD_FIRST_KEY"
LAST_PAGE = 10
"""Seconds for a page that is being answered when the server is stopped."""
ALONE = "127.0.0.1"
_PLAIN = "abcdefghjkmnpqrstuvwxyz23456789"
_AT_HOME = {ALONE, "localhost", "::1"}
_EVERYWHERE = {"0.0.0.0", "::"}  # noqa: S104  # named, not opened


def check_port(host: str, port: int) -> None:
    """Whether the address can be had, before anything is started on it."""
    try:
        family, kind, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind) as trial:
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            trial.bind(address)
    except socket.gaierror as error:
        raise InputError([Problem("--host", repr(host), say("an address of this machine"))]) from error
    except OSError as error:
        if error.errno == errno.EADDRNOTAVAIL:
            raise InputError([Problem("--host", repr(host), say("an address of this machine"))]) from error
        found = f"{port}, {error.strerror}"
        if error.errno == errno.EADDRINUSE:
            found = say("{port}, on which another program serves already", port=port)
        do = say("Give another one, such as --port {port}.", port=port + 1 if port < 65535 else 8033)
        raise InputError([Problem("--port", found, say("a port that is free"), do)]) from error


def prepare_to_serve(host: str, certificate: Path | None, key: Path | None) -> None:
    """Tell the settings, before they are read, under which address they will be served."""
    certificates.check(certificate, key)
    if certificate is not None:
        os.environ["MARKSTEAD_TLS"] = "yes"
    if host not in _AT_HOME and not os.environ.get("MARKSTEAD_HOSTS"):
        hosts = [network.at(host)] if host not in _EVERYWHERE else map(network.at, network.home_addresses())
        os.environ["MARKSTEAD_HOSTS"] = ",".join([*hosts, "127.0.0.1", "localhost", "[::1]"])


def choose_address(host: str | None, *, lan: bool) -> tuple[str, tuple[str, ...]]:
    """The address to serve at, and others of this machine on a home network.

    Raises:
        InputError: there is no home network, or the address named is of none.
    """
    if not lan:
        return host or ALONE, ()
    if host is None:
        first, *others = network.home_addresses()
        return first, tuple(others)
    if not network.of_a_home(host):
        found = say("{host!r} with --lan", host=host)
        allowed = say("an address of this machine on its home network, such as 192.168.1.20")
        raise InputError([Problem("--host", found, allowed)])
    return host, ()


def load_screens(stopping: Event) -> Any:
    """Load the screens in the server's worker, a process of its own."""
    # Ctrl and C in a terminal reach every process of a group. A worker that is told to stop twice, by them and by
    # the server, waits for ever; in a group of its own it hears it from the server alone.
    if hasattr(os, "setpgid"):
        os.setpgid(0, 0)
    application = import_module(SCREENS).application
    application.watch.stopping = stopping.is_set
    return application


def serve_until_stopped(
    host: str,
    port: int,
    certificate: Path | None = None,
    key: Path | None = None,
    way_in: str = "",
    tell: Callable[[str], None] | None = None,
) -> None:
    """Serve the screens until Ctrl and C are pressed.

    `way_in` is the path that is printed: the door's. `tell` says more about the address that is opened.
    """
    from django.db import connections
    from granian import Granian
    from granian.constants import Interfaces, SSLProtocols
    from granian.log import LogLevels

    class Server(Granian):
        """Lets the streams of news end before the worker is told to stop: it waits for whatever is still open."""

        def signal_handler_interrupt(self, *args: Any, **kwargs: Any) -> None:
            stopping.set()
            super().signal_handler_interrupt(*args, **kwargs)

    stopping = get_context().Event()
    connections.close_all()  # the worker opens the database itself
    address = f"{'https' if certificate else 'http'}://{network.at(host)}:{port}/"
    if tell is not None:
        tell(address)
    print(
        say("Open {address}{way_in} in a browser. Ctrl and C stop it.", address=address, way_in=way_in),
        flush=True,
    )
    server = Server(
        SCREENS,
        address=host,
        port=port,
        interface=Interfaces.ASGI,
        workers=1,
        workers_kill_timeout=LAST_PAGE,
        websockets=False,
        log_level=LogLevels.error,
        ssl_cert=certificate,
        ssl_key=key,
        ssl_protocol_min=SSLProtocols.tls12,  # a tablet that was handed down knows no newer one
    )
    if hasattr(signal, "SIGHUP"):
        # A terminal that is closed ends the server; otherwise it would live on unseen.
        server.on_startup(lambda: signal.signal(signal.SIGHUP, server.signal_handler_interrupt))
    try:
        server.serve(target_loader=partial(load_screens, stopping), wrap_loader=False)
    except SystemExit as left:
        if left.code:
            problem = say(
                "The server stopped by itself (status {code}); what it said stands above.", code=left.code
            )
            raise MarksteadError(problem) from left
    print(say("Stopped."))


def tell_what_is_opened(address: str, others: tuple[str, ...], way_in: str = "") -> None:
    """Say what the home network may do now, and show the tablet the way; or the set-up, while there is no home yet."""
    from textwrap import fill

    told = network.what_is_opened(address, secure=address.startswith("https"), others=others)
    print(fill(told, width=100, break_long_words=False))
    print(say("On this machine, too, it is at that address now, and not at {alone}.", alone=ALONE))
    door = f"{address}{way_in or 'tablet/'}"
    code = network.picture(door)
    if code and way_in:
        print(
            say(
                "\nTo set the home up on a phone or a tablet, let its camera look at this, for {door}\n\n{code}\n",
                door=door,
                code=code,
            )
        )
    elif code:
        print(say("\nLet the tablet's camera look at this, for {door}\n\n{code}\n", door=door, code=code))


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
            str | None,
            typer.Option("--host", metavar="ADDRESS", help="The address to serve at. Default: 127.0.0.1."),
        ] = None,
        port: PORT = 8033,
        lan: Annotated[
            bool,
            typer.Option("--lan", help="Open it to the home network; what that means is told."),
        ] = False,
        certificate: Annotated[
            Path | None,
            typer.Option("--certificate", metavar="FILE", help="A PEM file, to serve by https."),
        ] = None,
        key: Annotated[
            Path | None,
            typer.Option("--key", metavar="FILE", help="The key of the certificate, a PEM file."),
        ] = None,
    ) -> None:
        """Bring the tables up to date, and serve the screens until Ctrl and C are pressed.

        Where there is no home yet, a new one begins: open the address that is printed, and the set-up asks for
        the rest. The word at its end lets nobody in but you.

        It is served to this machine alone, unless --lan or --host says otherwise.
        """
        address, others = choose_address(host, lan=lan)
        prepare_to_serve(address, certificate, key)
        check_port(address, port)
        way_in = open_or_begin(asked)
        tell = partial(tell_what_is_opened, others=others, way_in=way_in) if lan else None
        serve_until_stopped(address, port, certificate, key, way_in, tell)


def open_or_begin(asked: Asked) -> str:
    """Open the home, or the empty folder in which one is to begin; the path by which its educator gets in."""
    folder = house.folder_of(asked)
    key = os.environ[FIRST_KEY] = new_key()  # the settings read it, here and in the worker
    there = {path.name for path in folder.iterdir()} if folder.is_dir() else set()
    if there <= {house.SECRET}:
        house.make_folder(folder)
        house.wake(folder)
    else:
        house.open_record(folder)
    house.migrate()
    from markstead.records import first_evening

    state = first_evening.state()
    if state is first_evening.State.MADE:
        house.open_house(asked)
        return ""
    if state is first_evening.State.BEGUN:
        print(
            say(
                "The set-up of the home in {folder} is not finished: sign in, and go on where you left it.",
                folder=folder,
            )
        )
        return "first/"
    print(
        say(
            "There is no home in {folder} yet: a new one begins. The address lets in whoever has "
            "it; keep it to yourself.",
            folder=folder,
        )
    )
    return f"first/#{key}"


def new_key() -> str:
    """A word that can be typed and cannot be guessed: some 79 bits, in letters and digits that nobody takes for others."""
    return "-".join("".join(secrets.choice(_PLAIN) for _ in range(4)) for _ in range(4))


def is_a_demo(database: Path) -> bool:
    """Whether a finished demo is in this database; an unfinished one may be built anew.

    Raises:
        InputError: a home that is no demo is there.
    """
    from django.db import DatabaseError

    from markstead.records import queries

    try:
        household = queries.the_household()
        if queries.home_of(household).demo_shift is None:
            allowed = say("an empty folder, or one with a demo")
            raise InputError(
                [
                    Problem(
                        say("home folder"),
                        say("a home that is no demo in {parent}", parent=database.parent),
                        allowed,
                    )
                ]
            )
        return queries.count_facts(household) > 0
    except (DatabaseError, UnknownError):
        return False


def build_demo(folder: Path, *, fresh: bool) -> None:
    """Build the demo household in a folder, or find it there; say how to sign in."""
    os.environ.pop("DATABASE_URL", None)
    house.make_folder(folder)
    house.wake(folder)
    database = folder / house.DATABASE
    found = database.exists() and is_a_demo(database)
    if found and not fresh:
        house.migrate()
        take_up_the_clock()
        print(say("The demo in {folder} is as you left it; --fresh builds it anew.", folder=folder))
    else:
        from django.db import connections

        connections.close_all()
        for part in ("", "-wal", "-shm"):
            database.with_name(database.name + part).unlink(missing_ok=True)
        shutil.rmtree(folder / "samples", ignore_errors=True)  # those of the demo before
        house.migrate()
        build_with_a_bar(folder)
    let_in()


def build_with_a_bar(folder: Path) -> None:
    """Build the demo, and show how far it is."""
    from rich.console import Console
    from rich.progress import Progress

    from markstead.records import demo, demo_papers, queries

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(say("Ninety school days go by"), total=None)
        built = demo.build(
            household=DEMO,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
            real_now=house.real_now(),
        )
    demo_papers.furnish(DEMO, at=built.now)
    print(
        say(
            "A demo home with {facts} facts stands in {folder}. Everybody in it is invented.",
            facts=queries.count_facts(DEMO),
            folder=folder,
        )
    )


def take_up_the_clock() -> None:
    """Let the demo's clock go on where its record ends, however long it was left alone."""
    from markstead.records import queries, setup

    setup.take_up_demo_clock(queries.the_household(), real_now=house.real_now())


def let_in() -> None:
    """Say how to sign in; the password and the learners' PIN are as printed, whatever was done with them before."""
    from markstead.records import demo, pins, queries, setup

    household = queries.the_household()
    setup.give_password(household, person="ruth", username=demo.USERNAME, password=demo.PASSWORD)
    home = queries.home_of(household)
    for learner in home.learners:
        pins.set_pin(home, learner=learner.id, pin=demo.PIN, by="ruth", now=house.real_now())
    print(
        say(
            "Sign in as {username} with the password {password}",
            username=demo.USERNAME,
            password=demo.PASSWORD,
        )
    )
    print(say("The learners' PIN at a tablet (Settings, Tablets) is {pin}", pin=demo.PIN))
