"""The applications that a server loads, in a process that knows nothing of Django yet."""

import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.parametrize("name", ["asgi", "wsgi"])
def test_an_application_can_be_loaded_first(name: str, tmp_path: Path) -> None:
    """PEP 3333 and the ASGI specification 3.0: a server imports a module and takes a callable from it."""
    unset = ("DJANGO_SETTINGS_MODULE", "DATABASE_URL")
    environment = {k: v for k, v in os.environ.items() if k not in unset} | {"MARKSTEAD_HOME": str(tmp_path)}
    words = f"from markstead.web.{name} import application; print(callable(application))"

    done = subprocess.run(
        [sys.executable, "-c", words], env=environment, capture_output=True, text=True, check=False
    )

    assert (done.stdout, done.returncode) == ("True\n", 0), done.stderr
