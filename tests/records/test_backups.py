"""Backups: made and proved, restored after mishaps, refused where they are no good; which are kept, when one is due or old."""

import io
import resource
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from io import FileIO
from pathlib import Path
from typing import Any, TypeVar

import pyrage
import pytest
from PIL import Image

from markstead.errors import MarksteadError
from markstead.records import (
    actions,
    archive,
    backups,
    locked,
    paper_key,
    queries,
    samples,
    store,
    upkeep,
    whole,
)
from markstead.records.backups import Backup, Backups, Trouble, is_due, is_old, to_drop
from markstead.records.desk import household_row
from markstead.speech import spoken
from tests.records.house import House

T = TypeVar("T")
SECRET = "nine grey herons by the weir"

NOON = datetime(2026, 12, 31, 12, tzinfo=UTC)


def made(at: datetime, name: str = "") -> Backup:
    return Backup(name or f"{at:%Y-%m-%d %H:%M}", at, 1, "", 1, ("home",), encrypted=False, by_itself=True)


def day_of(at: datetime) -> date:
    return at.date()


def left_after(days: int) -> list[date]:
    """The days of what is kept when a backup was made on each of so many days, and old ones dropped each time."""
    kept: list[Backup] = []
    for n in reversed(range(days)):
        kept.append(made(NOON - timedelta(days=n)))
        gone = {b.file for b in to_drop(kept, day_of)}
        kept = [b for b in kept if b.file not in gone]
    return [b.made.date() for b in sorted(kept, key=lambda b: b.made, reverse=True)]


def test_of_a_year_of_days_the_newest_of_days_weeks_and_months_are_left() -> None:
    """By the calendar of 2026: ISO weeks end on Sundays, so 27, 20, 13 December; months on their last days."""
    kept = left_after(500)

    days = [date(2026, 12, day) for day in (31, 30, 29, 28, 27, 26, 25)]
    weeks = [date(2026, 12, 20), date(2026, 12, 13)]
    months = [date(2026, 11, 30), date(2026, 10, 31), date(2026, 9, 30), date(2026, 8, 31), date(2026, 7, 31), date(2026, 6, 30), date(2026, 5, 31), date(2026, 4, 30), date(2026, 3, 31), date(2026, 2, 28), date(2026, 1, 31)]  # fmt: skip
    assert kept == days + weeks + months


def test_a_home_that_is_served_once_a_week_keeps_seven_of_them() -> None:
    kept = [made(NOON - timedelta(weeks=n)) for n in range(9)]

    stay = {b.file for b in kept} - {b.file for b in to_drop(kept, day_of)}

    assert stay >= {b.file for b in kept[:7]}


def test_all_of_the_latest_day_stay_and_what_a_restore_kept_is_left_alone() -> None:
    today = [made(NOON - timedelta(hours=n)) for n in range(3)]
    before = [made(NOON - timedelta(days=1, hours=n)) for n in range(3)]
    aside = replace(made(NOON - timedelta(days=900), "aside"), before_restore=True)

    assert {b.file for b in to_drop([*today, *before, aside], day_of)} == {b.file for b in before[1:]}


@pytest.mark.parametrize(
    ("last", "trouble", "due"),
    [
        (None, None, True),
        (timedelta(hours=2), None, False),
        (timedelta(hours=13), None, True),
        (None, timedelta(minutes=59), False),
        (None, timedelta(minutes=60), True),
    ],
)
def test_one_is_due_each_day_and_not_at_once_after_one_that_failed(
    last: timedelta | None, trouble: timedelta | None, due: bool
) -> None:
    found = Backups(
        Path(),
        (made(NOON - last),) if last is not None else (),
        Trouble(NOON - trouble, "full") if trouble is not None else None,
    )

    assert is_due(found, NOON, day_of) is due


def test_it_is_old_after_three_days_from_the_last_good_one_or_from_the_beginning() -> None:
    began = NOON - timedelta(days=3, minutes=1)
    good = made(NOON - timedelta(days=2))

    assert is_old(Backups(Path()), NOON, began)
    assert not is_old(Backups(Path()), NOON, NOON - timedelta(days=3))
    assert not is_old(Backups(Path()), NOON, None)
    assert not is_old(Backups(Path(), (good,)), NOON, began)
    assert is_old(Backups(Path(), (replace(good, whole=False),)), NOON, began)
    assert is_old(Backups(Path(), (replace(good, before_restore=True),)), NOON, began)
    assert not is_old(Backups(None), NOON, began)


# --- a home in a file ---------------------------------------------------------------------------------------------


class HomeFile:
    """A home of its own in a folder, as at somebody's house."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.folder = file.parent / backups.FOLDER

    def do(self, work: Callable[[], T]) -> T:
        return backups.at_another(self.file, work)

    def make(self, passphrase: str | None = None) -> Backup:
        return self.do(lambda: backups.make(NOON, day_of=day_of, passphrase=passphrase))

    def restore(self, file: Path, passphrase: str | None = None) -> backups.Restored:
        return self.do(lambda: backups.restore(file, self.file, NOON, passphrase=passphrase))

    def head(self) -> tuple[int, str]:
        def read() -> tuple[int, str]:
            row = household_row("home")
            return row.head_seq, row.head_link

        return self.do(read)

    def go_on(self) -> None:
        """One more fact."""
        self.do(lambda: actions.order_copy("home", workbook="maths-5-02", by="ruth", at=NOON))

    def files(self) -> dict[str, bytes]:
        """Every file of the home by its bytes; the two that SQLite keeps beside an open database left out."""
        found = sorted(p for p in self.file.parent.rglob("*") if p.is_file())
        return {p.name: p.read_bytes() for p in found if not p.name.endswith(("-wal", "-shm"))}


@pytest.fixture(scope="module")
def lived(new_home: Path) -> Path:
    backups.at_another(new_home, lambda: House().bring("marked"))
    return new_home


@pytest.fixture
def home(lived: Path, tmp_path: Path) -> HomeFile:
    (tmp_path / "home").mkdir()
    return HomeFile(Path(shutil.copy(lived, tmp_path / "home" / backups.FILE)))


def test_a_backup_brings_back_what_was_there_and_keeps_what_it_takes_the_place_of(home: HomeFile) -> None:
    then = home.head()
    made = home.make()
    home.go_on()

    back = home.restore(home.folder / made.file)

    assert (made.facts, back.facts, home.head()) == (then[0], then[0], then)
    assert home.do(lambda: upkeep.verify("home")).holds
    assert back.kept is not None
    found = home.do(backups.state)
    assert sorted(b.before_restore for b in found.kept) == [False, True]
    assert found.last_good == made
    home.restore(back.kept)  # it can itself be brought back
    assert home.head()[0] == then[0] + 1


def test_an_encrypted_one_opens_for_any_tool_of_its_format_and_says_nothing(
    house_of_work: "WithSamples",
) -> None:
    home = house_of_work
    kept = home.keep("red")
    made = home.make(SECRET)
    file = home.folder / made.file
    before = home.files()

    with zipfile.ZipFile(file) as package:
        assert package.testzip() is None
        key, readme, locked = package.namelist()
        told, held = package.read(readme).decode(), package.read(locked)
        words = pyrage.passphrase.decrypt(package.read(key), SECRET).decode()
    opened = pyrage.decrypt(held, [pyrage.x25519.Identity.from_str(words.strip())])

    assert made.file.endswith(".sqlite3.age.zip")
    assert f"age --decrypt --identity {key} --output markstead.sqlite3 {locked}\n" in told
    assert opened.startswith(b"SQLite format 3\0")
    assert b"Tarn End" in opened
    assert b"Tarn End" not in file.read_bytes()
    for passphrase, says in (
        (None, "passphrase: found nothing"),
        ("another one", "one that does not open it"),
    ):
        with pytest.raises(MarksteadError, match=says):
            home.restore(file, passphrase)
    with pytest.raises(MarksteadError, match="found 5 letters; allowed is 10 letters or more"):
        home.make("short")
    assert home.files() == before
    home.lose()
    back = home.restore(file, SECRET)
    assert (back.facts, back.files, home.path(kept).exists()) == (made.facts, 2, True)
    (stored,) = (home.folder / store.FOLDER).rglob(f"{kept.digest}.png.age")
    assert home.path(kept).read_bytes() not in stored.read_bytes()


def test_a_database_that_is_none_any_more_makes_room(home: HomeFile) -> None:
    then, made = home.head(), home.make()
    home.file.write_bytes(b"spilt milk " * 9000)
    for ending in ("-wal", "-shm"):
        home.file.with_name(home.file.name + ending).unlink(missing_ok=True)

    back = home.restore(home.folder / made.file)

    assert back.kept is not None
    assert back.kept.read_bytes().startswith(b"spilt milk")
    assert home.head() == then


def test_a_record_that_does_not_hold_gives_no_backup(home: HomeFile) -> None:
    made = home.make()
    _unsound(home.file)

    with pytest.raises(MarksteadError, match="does not hold: fact 2"):
        home.make()

    found = home.do(backups.state)
    assert [b.file for b in found.kept] == [made.file]
    assert found.trouble is not None
    assert "fact 2" in found.trouble.says
    english = found.trouble.says
    with spoken("es"):
        assert found.trouble.says != english
        with pytest.raises(MarksteadError) as caught:
            home.make()
        assert found.trouble.says == str(caught.value)
    again = home.do(backups.state).trouble
    assert again is not None
    assert again.says == english


def test_two_at_once_do_not_meet(home: HomeFile) -> None:
    home.make()
    (home.folder / backups.LOCK).touch()

    with pytest.raises(MarksteadError, match="Another backup is being made"):
        home.make()


def _unsound(file: Path) -> None:
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("DROP TRIGGER records_entry_keeps_UPDATE")
        raw.execute("UPDATE records_entry SET body = replace(body, '\"kind\"', '\"kint\"') WHERE seq = 2")


def _newer(file: Path) -> None:
    change = (
        "INSERT INTO django_migrations (app, name, applied) VALUES ('records', '0999_later', '2030-01-01')"
    )
    with closing(sqlite3.connect(file)) as raw, raw:
        raw.execute(change)


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda f: f.write_bytes(f.read_bytes()[:50_000]), "was not restored, and nothing was changed"),
        (_newer, r"one that a newer Markstead made \(it knows records\.0999_later\)"),
        (lambda f: f.write_bytes(b"bread, milk, pencils"), "which holds no database"),
        (_unsound, "does not hold: fact 2"),
        (lambda f: f.unlink(), "a file that can be read"),
    ],
)
def test_what_is_no_good_backup_is_refused_and_nothing_changes(
    home: HomeFile, tmp_path: Path, spoil: Callable[[Path], object], says: str
) -> None:
    copy = tmp_path / "copy.sqlite3"
    shutil.copy(home.folder / home.make().file, copy)
    spoil(copy)
    before = home.files()

    with pytest.raises(MarksteadError, match=says):
        home.restore(copy)

    assert home.files() == before


def test_one_that_was_changed_since_and_an_archive_are_told_apart(home: HomeFile, tmp_path: Path) -> None:
    file = home.folder / home.make().file
    file.write_bytes(file.read_bytes().replace(b"Tarn End", b"Tarn Tor"))
    home.do(lambda: archive.write_archive("home", tmp_path / "a.zip"))

    with pytest.raises(MarksteadError, match="which was changed or cut off since it was made"):
        home.restore(file)
    with pytest.raises(MarksteadError, match="an archive of a household"):
        home.restore(tmp_path / "a.zip")


def test_a_disk_that_fills_while_restoring_leaves_the_record(
    home: HomeFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = home.make()
    home.go_on()
    then, before = home.head(), home.files()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copyfileobj", full)
    with pytest.raises(MarksteadError, match="No space left on device"):
        home.restore(home.folder / made.file)

    assert (home.head(), home.files()) == (then, before)


# --- with a passphrase --------------------------------------------------------------------------------------------


@pytest.fixture
def quick_passphrase(monkeypatch: pytest.MonkeyPatch) -> None:
    """A passphrase that costs no second; the real one has its own test."""

    def locked(data: bytes, secret: str) -> bytes:
        return b"age-encryption.org/v1\n" + secret.encode() + b"\n" + data[::-1]

    def unlocked(data: bytes, secret: str) -> bytes:
        _, found, content = data.split(b"\n", 2)
        if found.decode() != secret:
            raise pyrage.DecryptError
        return content[::-1]

    monkeypatch.setattr(pyrage.passphrase, "encrypt", locked)
    monkeypatch.setattr(pyrage.passphrase, "decrypt", unlocked)


def members(file: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(file) as package:
        return {name: package.read(name) for name in package.namelist()}


def pack(file: Path, found: dict[str, bytes]) -> None:
    """A package with the right sums over whatever is in it, as whoever swaps something would make it."""
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in found.items():
            package.writestr(name, content)


KEY, REST = "key.age", "markstead.sqlite3.age"
HEADER, CHUNK = 200, 65_536 + 16
"""Bytes of an age file for one key (with its nonce, 16), and of a chunk of it (age-encryption.org/v1, Payload)."""


def _with(name: str, change: Callable[[bytes, bytes], bytes]) -> Callable[[Path, Path], None]:
    """Change what is in a backup, given the same of another one with the same passphrase."""

    def spoil(file: Path, other: Path) -> None:
        found = members(file)
        pack(file, found | {name: change(found[name], members(other)[name])})

    return spoil


def _changed_at(place: int) -> Callable[[Path, Path], None]:
    def spoil(file: Path, _: Path) -> None:
        content = bytearray(file.read_bytes())
        content[place] ^= 1
        file.write_bytes(content)

    return spoil


OF_TWO, CHANGED = "put there from another backup", "which was changed or cut off since it was made"


@pytest.mark.usefixtures("quick_passphrase")
@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (_with(KEY, lambda _, other: other), OF_TWO),
        (_with(REST, lambda _, other: other), OF_TWO),
        (_with(REST, lambda one, _: one[: HEADER + CHUNK]), OF_TWO),
        (_with(REST, lambda one, _: one + one[-CHUNK:]), OF_TWO),
        (_with(REST, lambda one, _: one[:40]), OF_TWO),
        (_with(REST, lambda *_: b""), OF_TWO),
        (_with(KEY, lambda one, _: one.replace(SECRET.encode(), b"nine grey geese")), "one that does not open it"),
        (_with(KEY, lambda one, _: one[:-9]), "one that does not open it"),
        (_with(KEY, lambda one, _: one * 99), CHANGED),
        (lambda file, _: pack(file, {KEY: members(file)[KEY]}), CHANGED),
        (lambda file, _: pack(file, members(file) | {"more.age": b""}), CHANGED),
        (lambda file, _: file.write_bytes(file.read_bytes()[:-30]), CHANGED),
        (lambda file, _: file.write_bytes(file.read_bytes()[:90_000]), CHANGED),
        (_changed_at(60), CHANGED),
        (_changed_at(100_000), OF_TWO),
    ],
)  # fmt: skip
def test_a_locked_one_that_is_not_as_it_was_made_is_refused(
    home: HomeFile, tmp_path: Path, spoil: Callable[[Path, Path], object], says: str
) -> None:
    copies = [Path(shutil.copy(home.folder / home.make(SECRET).file, tmp_path / f"{n}.zip")) for n in "ab"]
    spoil(*copies)
    before = home.files()

    with pytest.raises(MarksteadError, match=says):
        home.restore(copies[0], SECRET)

    assert home.files() == before


@pytest.mark.usefixtures("quick_passphrase")
def test_older_files_of_a_passphrase_and_one_packed_again_open(home: HomeFile, tmp_path: Path) -> None:
    then, file = home.head(), home.folder / home.make(SECRET).file
    key = pyrage.x25519.Identity.from_str(
        pyrage.passphrase.decrypt(members(file)[KEY], SECRET).decode().strip()
    )
    database = pyrage.decrypt(members(file)[REST], [key])
    home.do(lambda: archive.write_archive("home", tmp_path / "a.zip"))
    packed = (tmp_path / "a.zip").read_bytes()
    older, again = tmp_path / "older.sqlite3.age", tmp_path / "again.zip"
    older.write_bytes(pyrage.passphrase.encrypt(database, SECRET))
    (tmp_path / "older.zip.age").write_bytes(pyrage.passphrase.encrypt(packed, SECRET))
    pack(again, dict(sorted(members(file).items(), reverse=True)))
    rest = pyrage.encrypt(packed, [key.to_public()])
    pack(tmp_path / "of.zip", {KEY: members(file)[KEY], "markstead.zip.age": rest})

    for one in (older, again):
        home.go_on()
        assert backups.is_encrypted(one)
        home.restore(one, SECRET)
        assert home.head() == then
    for name in ("older.zip.age", "of.zip"):
        with pytest.raises(MarksteadError, match=r"an archive of a household; .* Take the archive out of it"):
            home.restore(tmp_path / name, SECRET)
    with pytest.raises(MarksteadError, match=CHANGED):
        home.restore(_cut(older), SECRET)
    assert home.head() == then


def _cut(older: Path) -> Path:
    """As its card does not know it any more."""
    older.with_name(f"{older.name}.json").write_text('{"sha256": "0"}')
    return older


@pytest.mark.usefixtures("quick_passphrase")
def test_a_disk_that_fills_under_a_locked_one_leaves_nothing_half_written(home: HomeFile) -> None:
    plain = home.make()
    before, limit = home.files(), resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (plain.bytes + 300, limit[1]))  # the database alone would fit
    try:
        with pytest.raises(MarksteadError, match=r"could not be written to .*\(File too large\).* Make room"):
            home.make(SECRET)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limit)

    assert {name for name in home.files() if name not in before} == {backups.TROUBLE}


class Pieces(FileIO):
    """A file that knows the largest piece that was written to it or read from it."""

    largest = 0

    def write(self, piece: Any) -> int:
        self.largest = max(self.largest, memoryview(piece).nbytes)
        return super().write(piece)

    def readinto(self, into: Any) -> int:
        self.largest = max(self.largest, memoryview(into).nbytes)
        return super().readinto(into)

    def read(self, size: int | None = -1) -> bytes:
        found = super().read(-1 if size is None else size)
        self.largest = max(self.largest, len(found))
        return found


@pytest.mark.usefixtures("quick_passphrase")
def test_it_is_locked_and_opened_piece_by_piece(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"words of a school year " * 200_000)

    with Pieces(tmp_path / "kept", "w+") as kept:
        locked.lock(tmp_path / "plain", "sqlite3", kept, SECRET)
        kept.seek(0)
        locked.unlock(kept, tmp_path / "back", SECRET, "kept")

    assert (tmp_path / "back").read_bytes() == (tmp_path / "plain").read_bytes()
    assert 0 < kept.largest < 200_000 < (tmp_path / "kept").stat().st_size // 20


# --- what lies beside the database --------------------------------------------------------------------------------


class WithSamples(HomeFile):
    """A home with photographs, and the key of its sheets."""

    def keep(self, colour: str) -> samples.Kept:
        file = io.BytesIO()
        Image.new("RGB", (60, 40), colour).save(file, "PNG")

        def work() -> samples.Kept:
            paper_key.key_of("home")
            home = queries.home_of("home")
            day = NOON.date()
            return samples.keep_sample(home, file.getvalue(), learner="asa", day=day, by="ruth", at=NOON)

        return self.do(work)

    def take_away(self, kept: samples.Kept) -> None:
        self.do(lambda: samples.take_away(queries.home_of("home"), kept.id))

    def path(self, kept: samples.Kept, *, small: bool = False) -> Path:
        return self.do(lambda: samples.path_of(kept.digest, kept.kind, small=small))

    def lose(self) -> None:
        """Everything but the backups."""
        shutil.rmtree(self.file.parent / samples.FOLDER)
        (self.file.parent / paper_key.FILE).unlink()

    def stored(self) -> list[str]:
        root = self.folder / store.FOLDER
        return sorted(p.relative_to(root).as_posix() for p in root.rglob("*") if p.is_file())


@pytest.fixture
def house_of_work(lived: Path, tmp_path: Path) -> WithSamples:
    (tmp_path / "work").mkdir()
    return WithSamples(Path(shutil.copy(lived, tmp_path / "work" / backups.FILE)))


@pytest.mark.usefixtures("quick_passphrase")
@pytest.mark.parametrize("secret", [None, SECRET])
def test_samples_and_the_key_of_the_sheets_come_back(house_of_work: WithSamples, secret: str | None) -> None:
    home = house_of_work
    red, blue = home.keep("red"), home.keep("blue")
    before = {p: home.path(p).read_bytes() for p in (red, blue)}
    key = (home.file.parent / paper_key.FILE).read_text()
    made, again = home.make(secret), home.make(secret)
    assert made.files == again.files  # each once
    assert len(home.stored()) == 3 + (secret is not None)
    in_the_clear = [p for p in (home.folder / store.FOLDER).rglob("*") if p.suffix in (".png", ".key")]
    assert len(in_the_clear) == (3 if secret is None else 0)
    home.lose()

    back = home.restore(home.folder / made.file, secret)

    assert (back.files, back.missing, made.missing) == (3, 0, 0)
    assert {p: home.path(p).read_bytes() for p in (red, blue)} == before
    assert home.path(red, small=True).exists()
    assert (home.file.parent / paper_key.FILE).read_text() == key


@pytest.mark.usefixtures("quick_passphrase")
def test_the_store_keeps_what_a_backup_names_and_nothing_else(house_of_work: WithSamples) -> None:
    home = house_of_work
    red, blue = home.keep("red"), home.keep("blue")
    plain = home.make()
    home.take_away(red)
    locked = home.make(SECRET)
    assert f"{red.digest}.png" in home.stored()

    home.do(lambda: backups.drop(home.folder, plain.file))

    assert not [name for name in home.stored() if red.digest in name or "/" not in name]
    assert sorted([*locked.files, f"{locked.files[0].split('/')[0]}/key.age"]) == home.stored()
    other = home.make("ten brown hares on the moor")
    assert home.path(blue).exists()
    home.lose()
    assert home.restore(home.folder / locked.file, SECRET).missing == 0
    home.lose()
    assert home.restore(home.folder / other.file, "ten brown hares on the moor").missing == 0


def test_a_file_that_was_lost_or_damaged_is_told_and_mended_from_the_other_side(
    house_of_work: WithSamples,
) -> None:
    home = house_of_work
    red, blue = home.keep("red"), home.keep("blue")
    home.path(blue).write_bytes(b"spilt milk")
    first = home.make()
    stored = home.folder / store.FOLDER / f"{red.digest}.png"
    stored.write_bytes(b"spilt milk")

    second = home.make()

    assert (first.missing, second.missing) == (1, 1)
    assert stored.read_bytes() == home.path(red).read_bytes()
    home.lose()
    back = home.restore(home.folder / second.file)
    assert (back.missing, home.path(red).exists(), home.path(blue).exists()) == (1, True, False)


def test_a_disk_that_fills_with_samples_leaves_the_old_state(
    house_of_work: WithSamples, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = house_of_work
    home.keep("red")
    made = home.make()
    for colour in ("blue", "green"):
        home.keep(colour)
    before, write = home.stored(), store.Store.put
    room = [1]

    def full(self: store.Store, name: str, content: bytes) -> None:
        room[0] -= 1
        if room[0] < 0:
            raise whole.not_written("backup", self.root / name, OSError(28, "No space left on device"))
        write(self, name, content)

    monkeypatch.setattr(store.Store, "put", full)
    with pytest.raises(MarksteadError, match="No space left on device"):
        home.make()

    assert home.stored() == before
    assert [one.file for one in home.do(backups.state).kept] == [made.file]
    home.lose()
    monkeypatch.setattr(samples, "_small", lambda _: 1 / 0)
    left = home.files()
    with pytest.raises(ZeroDivisionError):
        home.restore(home.folder / made.file)
    assert home.files() == left
