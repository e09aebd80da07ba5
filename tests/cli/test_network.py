"""The home network: which addresses are of one, what is said before it is opened, and the certificate that is looked at."""

import json
import os
import signal
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from http.client import HTTPException
from http.cookiejar import CookieJar
from pathlib import Path

import numpy as np
import pytest
import zxingcpp

from markstead.cli import certificate, network
from markstead.cli.serving import tell_what_is_opened
from markstead.errors import InputError
from tests.cli.conftest import PROGRAM, environment, program
from tests.cli.test_the_program import free_port, serving

PEMS = Path(__file__).parent / "certificates"
"""Made for this test alone, for localhost; the key guards nothing."""


@pytest.mark.parametrize(
    ("address", "home"),
    [
        ("192.168.1.20", True),  # RFC 1918, as the next two
        ("10.4.0.7", True),
        ("172.31.255.1", True),
        ("fd12:3456:789a::1", True),  # RFC 4193
        ("127.0.0.1", False),
        ("::1", False),
        ("0.0.0.0", False),
        ("169.254.3.9", False),  # RFC 3927: nobody gave this machine an address
        ("fe80::1", False),
        ("224.0.0.251", False),
        ("8.8.8.8", False),
        ("2a00:1450:4001:80b::200e", False),
        ("kitchen-laptop", False),
    ],
)
def test_which_addresses_are_of_a_home(address: str, *, home: bool) -> None:
    assert network.of_a_home(address) is home


def test_the_likeliest_address_comes_first_and_none_twice() -> None:
    own = ["192.168.1.20", "127.0.1.1", "10.8.0.2", "192.168.1.20", "fe80::1"]
    assert network.home_addresses(own) == ("192.168.1.20", "10.8.0.2")


@pytest.mark.parametrize(
    ("own", "says"),
    [
        (["127.0.0.1"], "found no network"),
        (["8.8.8.8", "127.0.0.1"], "only 8.8.8.8, which the whole internet may reach"),
    ],
)
def test_without_a_home_network_it_is_said(own: list[str], says: str) -> None:
    with pytest.raises(InputError, match=says) as refused:
        network.home_addresses(own)
    assert "--host ADDRESS" in str(refused.value)


def test_this_machines_own_addresses_are_found_without_sending_anything() -> None:
    found = list(network._own_addresses())
    assert all(":" in address or address.count(".") == 3 for address in found)


def test_what_is_opened_is_told() -> None:
    told = network.what_is_opened("http://192.168.1.20:8033/", secure=False, others=["10.8.0.2"])
    for words in (
        "http://192.168.1.20:8033/",
        "every device in your home network",
        "plain http",
        "Ctrl and C close it",
        "10.8.0.2",
    ):
        assert words in told
    assert "plain http" not in network.what_is_opened("https://192.168.1.20:8033/", secure=True)


def test_while_there_is_no_home_the_camera_is_led_to_the_set_up(capsys: pytest.CaptureFixture[str]) -> None:
    tell_what_is_opened("http://192.168.1.20:8033/", (), "first/#abcd-efgh")
    told = capsys.readouterr().out
    assert "camera look at this, for http://192.168.1.20:8033/first/#abcd-efgh" in told
    assert "/tablet/" not in told
    tell_what_is_opened("http://192.168.1.20:8033/", ())
    assert "for http://192.168.1.20:8033/tablet/" in capsys.readouterr().out


def test_a_camera_reads_the_picture() -> None:
    """Read back by ZXing, which knows nothing of how it was drawn."""
    address = "http://192.168.178.120:8033/tablet/"
    rows = []
    for line in network.picture(address).splitlines():
        rows.append([c in "█▀" for c in line])
        rows.append([c in "█▄" for c in line])
    dots = np.where(np.array(rows), 0, 255).astype(np.uint8).repeat(6, axis=0).repeat(6, axis=1)
    (read,) = zxingcpp.read_barcodes(dots)
    assert read.text == address


@pytest.mark.parametrize(
    ("pem", "key", "says"),
    [
        ("house.pem", None, "one of them; allowed is both or neither"),
        ("nowhere.pem", "house.key", "--certificate: found no file at"),
        ("README.md", "house.key", "which is no PEM file"),
        ("house.key", "house.key", "without a certificate in it"),
        ("house.pem", "house.pem", "without a private key in it"),
        ("house.pem", "other.key", "which belongs to another certificate"),
        ("house.pem", "locked.key", "which is locked by a password"),
        ("torn.pem", "house.key", "which cannot be read as a certificate and its key"),
    ],
)
def test_a_wrong_certificate_gets_a_sentence(tmp_path: Path, pem: str, key: str | None, says: str) -> None:
    (tmp_path / "README.md").write_text("Not this one.")
    (tmp_path / "torn.pem").write_bytes((PEMS / "house.pem").read_bytes()[:200])
    found = tmp_path / pem if (tmp_path / pem).exists() else PEMS / pem
    with pytest.raises(InputError, match=says):
        certificate.check(found, PEMS / key if key else None)


def test_a_whole_certificate_is_taken() -> None:
    certificate.check(PEMS / "house.pem", PEMS / "house.key")
    certificate.check(None, None)


def test_an_address_that_the_world_reaches_is_not_opened_as_a_home(new_home: Path) -> None:
    answer = program(new_home, "serve", "--lan", "--host", "8.8.8.8", "--port", free_port())
    assert answer.status == 2
    assert "--host: found '8.8.8.8' with --lan" in answer.err


def test_the_settings_know_the_address_and_nothing_else_is_let_in(tmp_path: Path) -> None:
    look = (
        "import json, os; from markstead.cli import serving; "
        "serving.network.home_addresses = lambda own=None: ('192.168.1.20', '10.8.0.2'); "
        "address, others = serving.choose_address(None, lan=True); serving.prepare_to_serve(address, None, None); "
        "from markstead.web import settings as s; "
        "print(json.dumps([address, others, s.ALLOWED_HOSTS, s.SESSION_COOKIE_SECURE, s.SECURE_CROSS_ORIGIN_OPENER_POLICY]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", look], env=environment(tmp_path), capture_output=True, text=True, check=True
    )
    address, others, hosts, secure, opener = json.loads(done.stdout)
    assert (address, others) == ("192.168.1.20", ["10.8.0.2"])
    assert hosts == ["192.168.1.20", "127.0.0.1", "localhost", "[::1]"]
    assert (secure, opener) == (False, None)


def test_https_with_a_given_certificate(new_home: Path) -> None:
    """Cookies are for https alone; nothing binds the browser to https beyond this visit; the terminal stays quiet."""
    port = free_port()
    context = ssl.create_default_context(cafile=PEMS / "house.pem")
    jar = CookieJar()
    opener = urllib.request.build_opener(
        urllib.request.HTTPSHandler(context=context), urllib.request.HTTPCookieProcessor(jar)
    )
    words = ("serve", "--port", port, "--certificate", PEMS / "house.pem", "--key", PEMS / "house.key")
    with serving(new_home, *words) as process:
        assert process.stdout is not None
        assert process.stdout.readline().startswith(f"Open https://127.0.0.1:{port}/ in a browser.")
        headers, until = None, time.monotonic() + 120
        while headers is None and time.monotonic() < until:
            try:
                with opener.open(f"https://localhost:{port}/sign-in/", timeout=60) as page:
                    headers = page.headers
            except OSError:
                time.sleep(0.1)
        assert headers is not None
        assert "max-age=31622400" in headers["Strict-Transport-Security"]
        assert [cookie.secure for cookie in jar] == [True]
        for path in (
            "/nothing/",
            "/settings/",
        ):  # what is shut or missing is told to whoever asks, not to the family
            with pytest.raises(urllib.error.HTTPError):
                opener.open(f"https://localhost:{port}{path}x", timeout=60)
        with pytest.raises((OSError, HTTPException)):  # plain http at the door of https
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=60)
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=120)
        assert (process.returncode, out, err) == (0, "Stopped.\n", "")


def test_a_mistake_of_the_house_is_one_line_and_a_file(tmp_path: Path) -> None:
    look = (
        "import os; os.environ['DJANGO_SETTINGS_MODULE'] = 'markstead.web.settings'; import django; django.setup(); "
        "import logging; log = logging.getLogger('django.request')\n"
        "try: raise KeyError('the culprit')\n"
        "except KeyError as e: log.error('Internal Server Error: /wall/', exc_info=True)\n"
        "log.warning('Forbidden: /'); logging.getLogger('django.security.DisallowedHost').error('Invalid HTTP_HOST')"
    )
    done = subprocess.run(
        [*PROGRAM[:1], "-c", look], env=environment(tmp_path), capture_output=True, text=True, check=True
    )
    (line,) = done.stderr.splitlines()
    assert line.startswith("Markstead made a mistake of its own (Internal Server Error: /wall/)")
    kept = (tmp_path / "markstead.log").read_text()
    assert "KeyError: 'the culprit'" in kept
    assert "Forbidden" not in kept
