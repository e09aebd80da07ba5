"""The commands for what leaves the house, comes back or goes for good. What each does is tried in `tests/records`."""

import resource
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import PROGRAM, Answer, Kitchen, environment, program


@pytest.fixture
def lived(kitchen: Kitchen) -> Kitchen:
    """A home with a copy in Tui's hands."""
    copy = str(kitchen.done("act", "order", "maths-5-01", "--learner", "tui", "--json").json["copy"]["id"])
    kitchen.act("receive", copy)
    kitchen.act("issue", copy, "--learner", "tui")
    return kitchen


def with_little_room(home: Path, most: int, *words: object) -> Answer:
    """Run a command that may write no file of more bytes than these: a disk that fills."""
    done = subprocess.run(
        [*PROGRAM, *map(str, words)],
        env=environment(home),
        cwd=home.parent,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)),
    )
    return Answer(done.returncode, done.stdout, done.stderr)


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_out_and_in_again(lived: Kitchen, tmp_path: Path) -> None:
    """Every export; the archive into a new home; a package to check and to take people from."""
    told: dict[str, Any] = {}
    for kind, file in (("archive", "a.zip"), ("csv", "t.zip"), ("oneroster", "r.zip"), ("calendar", "c.ics")):
        told[kind] = lived.done("export", kind, tmp_path / file, "--json").json
        refused = lived.run("export", kind, tmp_path / file)
        assert "already; allowed is a name that no file has" in refused.err
        assert (tmp_path / file).stat().st_mode & 0o077 == 0  # for its owner's eyes only
    assert told["archive"]["facts"] == told["csv"]["rows"]["facts.csv"] == 3
    assert told["oneroster"]["rows"]["users"] == 3
    assert (tmp_path / "c.ics").read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")

    taken = program(tmp_path / "new", "import", tmp_path / "a.zip")
    assert (taken.status, taken.err) == (0, "")
    assert "Nobody can sign in yet" in taken.out
    assert program(tmp_path / "new", "export", "archive", tmp_path / "b.zip").status == 0
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    whole = (tmp_path / "a.zip").read_bytes()
    (tmp_path / "half.zip").write_bytes(whole[: len(whole) // 2])
    refused = lived.run("import", tmp_path / "half.zip")
    assert refused.status == 2
    assert "FROM: found half.zip, which is no whole package" in refused.err

    assert "keeps every rule that is checked" in lived.done("check", "oneroster", tmp_path / "r.zip").out
    people = lived.done("import", tmp_path / "r.zip", "--json").json
    assert (people["people"], people["new"]) == (3, [])
    shutil.unpack_archive(tmp_path / "r.zip", tmp_path / "r")
    users = tmp_path / "r" / "users.csv"
    users.write_bytes(users.read_bytes().replace(b"true", b"yes", 1))
    faulty = lived.run("check", "oneroster", tmp_path / "r", "--json")
    assert faulty.status == 1
    assert faulty.json["problems"] == [
        {"where": "users.csv, row 2, field enabledUser", "found": "'yes'", "allowed": "true or false"}
    ]


def test_backed_up_restored_and_erased(lived: Kitchen, tmp_path: Path) -> None:
    def calls() -> list[str]:
        found = lived.done("today", "--json").json["calls"]
        return [c["what"] for c in found if c["kind"] == "make a backup"]

    assert calls() == []
    lived.now = "2026-02-16T09:00"
    assert calls() == ["There is no backup yet"]
    assert "That is old" not in lived.run("backups").out
    secret = tmp_path / "passphrase"
    secret.write_text("nine grey herons\n")
    made = lived.done("backup", "--passphrase-file", secret, "--json").json
    assert made["file"].endswith(".sqlite3.age.zip")
    assert calls() == []
    assert (made["facts"], made["encrypted"]) == (3, True)
    locked = lived.home / "backups" / made["file"]
    assert lived.run("import", locked).err == (
        f"FROM: found {locked.name}, an encrypted backup; allowed is a folder with the files of a home, an archive, or a "
        f"OneRoster package. `markstead restore {locked}` opens it with the passphrase.\n"
    )
    assert "encrypted" in lived.done("backups").out
    assert lived.done("backups", "--json").json["last_good"]["file"] == made["file"]

    gone = lived.done("erase", "tui", "--confirm", "Tui", "--archive", tmp_path / "a.zip", "--json").json
    assert (gone["swept"], gone["remains"], gone["backups"]) == (True, [], [made["file"]])
    assert "Somebody erased" in lived.done("history").out
    for words, says in (
        (("rewi", "--confirm", "rewi", "--no-archive"), "confirmation: found 'rewi'; allowed is 'Rewi'"),
        (("rewi", "--no-archive"), "--confirm: found nothing"),
        (("rewi", "--confirm", "Rewi"), "The archive is the only way back"),
        (("--confirm", "Rewi", "--no-archive"), "PERSON and --everybody: found neither"),
    ):
        refused = lived.run("erase", *words)
        assert (refused.status, says in refused.err) == (2, True), refused.err
    assert lived.done("erase", "--sweep").out == "The database is written anew.\n"

    assert "--yes: found nothing" in program(lived.home, "restore", made["file"]).err
    back = lived.done("restore", made["file"], "--yes", "--passphrase-file", secret, "--json").json
    assert (back["facts"], Path(back["kept"]).is_file()) == (3, True)
    assert f"If it is a backup, `markstead restore {back['kept']}`" in lived.run("import", back["kept"]).err
    assert "The record holds. Facts: 3" in lived.done("verify").out


def test_a_disk_that_fills_leaves_everything_and_says_so(lived: Kitchen) -> None:
    """Each file may grow to half of what it needs; the limit is the system's own."""
    lived.done("backup")
    before = files_of(lived.home)
    most = lived.done("backups", "--json").json["last_good"]["bytes"] // 2

    full = with_little_room(lived.home, most, "backup")

    assert full.status == 2
    assert "The backup could not be written to" in full.err
    assert "nothing half-written is left" in full.err
    after = files_of(lived.home)
    assert b"could not be written" in after.pop("backups/trouble.json")
    assert after == before
    assert "The latest try" in lived.done("backups").out

    for what in ("archive", "csv", "oneroster"):
        file = lived.home.parent / f"{what}.zip"
        file.write_bytes(b"that of last month")
        cut = with_little_room(lived.home, 600, "export", what, file, "--replace")
        assert (cut.status, "nothing half-written is left" in cut.err) == (2, True), cut.err
        assert file.read_bytes() == b"that of last month"
        assert not list(file.parent.glob(".part-*"))


@pytest.mark.parametrize("most", [0, 2000], ids=["not even to open it", "too little for the fact"])
def test_an_act_for_which_the_disk_has_no_room_is_not_noted(lived: Kitchen, most: int) -> None:
    lived.close()

    full = with_little_room(lived.home, most, "act", "attendance", "tui", "full", "--now", lived.now)

    assert full.status == 2
    assert "The disk of the home has no room left" in full.err
    assert "Nothing was written" in full.err
    assert "The record holds. Facts: 3" in program(lived.home, "verify").out
