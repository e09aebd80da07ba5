"""The certificate and its key: looked at before anything is served with them."""

import ssl
from pathlib import Path

from markstead.errors import InputError, Problem
from markstead.speech import later, say

_NEITHER = later("--certificate and --key")


def check(certificate: Path | None, key: Path | None) -> None:
    """Refuse what cannot serve https.

    Raises:
        InputError: one without the other, no file, no PEM, a key with a password, or a key of another certificate.
    """
    if (certificate is None) != (key is None):
        raise InputError([Problem(say(_NEITHER), say("one of them"), say("both or neither"))])
    if certificate is None or key is None:
        return
    for option, file in (("--certificate", certificate), ("--key", key)):
        if not file.is_file():
            raise InputError([Problem(option, say("no file at {file}", file=file), say("a PEM file"))])
        _check_readable(option, file)
    _check_pair(certificate, key)


def _check_readable(option: str, file: Path) -> None:
    try:
        text = file.read_bytes()
    except OSError as error:
        raise InputError(
            [Problem(option, f"{file}: {error.strerror}", say("a file that can be read"))]
        ) from error
    if b"-----BEGIN " not in text:
        raise InputError(
            [
                Problem(
                    option,
                    say("{file}, which is no PEM file", file=file),
                    say("text that begins with -----BEGIN"),
                    say("Ask whoever made it for the PEM form."),
                )
            ]
        )
    if option == "--certificate" and b"BEGIN CERTIFICATE" not in text:
        raise InputError(
            [
                Problem(
                    option,
                    say("{file}, without a certificate in it", file=file),
                    say("a certificate; its key goes to --key"),
                )
            ]
        )
    if option == "--key" and b"PRIVATE KEY" not in text:
        raise InputError(
            [
                Problem(
                    option,
                    say("{file}, without a private key in it", file=file),
                    say("the certificate's key"),
                )
            ]
        )


def _check_pair(certificate: Path, key: Path) -> None:
    asked = []

    def no_password() -> str:
        asked.append(True)
        return ""

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, no_password)
    except (ssl.SSLError, OSError, ValueError) as error:
        if asked:
            found, allowed = say("{key}, which is locked by a password", key=key), say("a key without one")
            raise InputError([Problem("--key", found, allowed)]) from error
        if getattr(error, "reason", "") == "KEY_VALUES_MISMATCH":
            found = say("{key}, which belongs to another certificate", key=key)
            raise InputError(
                [Problem("--key", found, say("the key of {certificate}", certificate=certificate))]
            ) from error
        found = say(
            "{certificate} and {key}, which cannot be read as a certificate and its key",
            certificate=certificate,
            key=key,
        )
        raise InputError(
            [Problem(say(_NEITHER), found, say("a certificate and its private key, as PEM"))]
        ) from error
