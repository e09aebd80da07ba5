"""Serving by https: TLS 1.3 alone, cookies bound to the host, and no plain answer (RFC 8446; OWASP ASVS 5.0.0, 12.1.1)."""

import http.client
import os
import signal
import socket
import ssl
import time
from pathlib import Path

import pytest

from tests.cli.test_the_program import free_port, serving

DATA = Path(__file__).parent / "data"


def context(**only: ssl.TLSVersion) -> ssl.SSLContext:
    found = ssl.create_default_context(cafile=str(DATA / "localhost.pem"))
    for name, version in only.items():
        setattr(found, name, version)
    return found


def speaks(port: int, version: str) -> str | None:
    """The version that is agreed on where the client knows only one, by its number on the wire (RFC 8446, 4.2.1)."""
    wanted = {"1.2": ssl.TLSVersion.TLSv1_2, "1.3": ssl.TLSVersion.TLSv1_3}[version]
    mine = context(minimum_version=wanted, maximum_version=wanted)
    with (
        socket.create_connection(("127.0.0.1", port), timeout=60) as plain,
        mine.wrap_socket(plain, server_hostname="localhost") as safe,
    ):
        return safe.version()


def old_hello(port: int) -> bytes:
    """What is answered to a greeting that offers TLS 1.1 and nothing newer: the first bytes."""
    body = b"\x03\x02" + bytes(32) + b"\x00" + b"\x00\x04\xc0\x14\x00\x2f" + b"\x01\x00"
    message = b"\x01" + len(body).to_bytes(3, "big") + body
    with socket.create_connection(("127.0.0.1", port), timeout=60) as plain:
        plain.sendall(b"\x16\x03\x01" + len(message).to_bytes(2, "big") + message)
        return plain.recv(7)


def test_only_tls_that_is_still_good_is_spoken_and_cookies_are_bound_to_the_host(new_home: Path) -> None:
    port = free_port()
    files = ("--certificate", DATA / "localhost.pem", "--key", DATA / "localhost-key.pem")
    with serving(new_home, "serve", "--port", port, *files) as process:
        until = time.monotonic() + 120
        while True:
            try:
                assert speaks(port, "1.3") == "TLSv1.3"
                break
            except OSError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.2)
        # A tablet that was handed down may know no newer one; whoever knows both gets 1.3.
        assert speaks(port, "1.2") == "TLSv1.2"
        with (
            socket.create_connection(("127.0.0.1", port), timeout=60) as plainly,
            context().wrap_socket(plainly, server_hostname="localhost") as both,
        ):
            assert both.version() == "TLSv1.3"
        # An alert (21), fatal (2): "protocol version" (70) or "handshake failure" (40), RFC 8446 section 6.2.
        assert old_hello(port)[5:6] == b"\x02"
        assert old_hello(port)[0] == 21
        plain = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        plain.request("GET", "/")
        with pytest.raises((http.client.HTTPException, OSError)):
            plain.getresponse()
        plain.close()

        safe = http.client.HTTPSConnection("127.0.0.1", port, timeout=60, context=context())
        safe.request("GET", "/sign-in/")
        answer = safe.getresponse()
        cookies = answer.headers.get_all("Set-Cookie") or []
        answer.read()
        safe.close()
        os.killpg(process.pid, signal.SIGINT)
        process.communicate(timeout=120)

    assert answer.headers["Strict-Transport-Security"] == "max-age=31622400"
    assert cookies
    for cookie in cookies:
        assert cookie.startswith("__Host-markstead_")
        assert "; Secure" in cookie
        assert "; HttpOnly" in cookie
        assert "; Path=/" in cookie
        assert "Domain" not in cookie
