"""The command `pin`."""

from pathlib import Path

from tests.cli.conftest import Kitchen, program


def kept(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "pin"
    file.write_text(text)
    return file


def test_a_pin_is_set_from_a_file_and_taken_away(kitchen: Kitchen, tmp_path: Path) -> None:
    file = kept(tmp_path, "2746\n")
    assert kitchen.done("pin", "tui", "--pin-file", file).out == (
        "Tui enters at a tablet with the new PIN from now on.\n"
    )
    assert kitchen.done("pin", "tui", "--take-away").out == "Tui has no PIN any more and cannot enter.\n"
    assert kitchen.done("pin", "tui", "--take-away").out == "Tui had no PIN.\n"


def test_a_pin_that_cannot_be_is_said_without_saying_it(kitchen: Kitchen, tmp_path: Path) -> None:
    refused = kitchen.run("pin", "tui", "--pin-file", kept(tmp_path, "98765432\n"))
    assert refused.status == 2
    assert "PIN: found 8 digits; allowed is 4 to 6 digits" in refused.err
    assert "98765432" not in refused.err
    assert kitchen.done("pin", "tui", "--take-away").out == "Tui had no PIN.\n"


def test_a_grown_up_gets_none(kitchen: Kitchen, tmp_path: Path) -> None:
    refused = kitchen.run("pin", "mira", "--pin-file", kept(tmp_path, "2746\n"))
    assert refused.status == 2
    assert "no learner" in refused.err


def test_nobody_there_to_type_it(kitchen: Kitchen) -> None:
    refused = program(kitchen.home, "pin", "tui")
    assert refused.status == 2
    assert "--pin-file" in refused.err


def test_both_at_once_is_one_too_many(kitchen: Kitchen, tmp_path: Path) -> None:
    refused = kitchen.run("pin", "tui", "--take-away", "--pin-file", kept(tmp_path, "2746\n"))
    assert refused.status == 2
    assert "--take-away and --pin-file: found both" in refused.err
