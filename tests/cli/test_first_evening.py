"""An empty folder is served with a word that lets in whoever reads the terminal, and nobody else."""

import os
import re
import signal
import time
import urllib.error
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

from tests.cli.conftest import program
from tests.cli.test_the_program import free_port, serving

WORD = re.compile(r"/first/#((?:[a-z2-9]{4}-){3}[a-z2-9]{4}) in a browser")


def get(address: str) -> tuple[int, str]:
    """The page at an address, once the server answers; with a pocket for cookies, as a browser has one."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    until = time.monotonic() + 120
    while True:
        try:
            with opener.open(address, timeout=60) as page:
                return page.status, page.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode()
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


def enter(base: str, word: str) -> tuple[int, str]:
    """What comes of a word that is typed at the door, as a form sends it."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    try:
        opener.open(base + "/first/", timeout=60)
    except urllib.error.HTTPError as error:
        (forgery,) = set(re.findall(r'csrfmiddlewaretoken" value="([^"]+)"', error.read().decode()))
    sent = urllib.parse.urlencode({"key": word, "csrfmiddlewaretoken": forgery}).encode()
    try:
        with opener.open(base + "/first/", sent, timeout=60) as page:
            return page.status, page.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def lines_of(home: Path, port: int) -> tuple[str, list[tuple[int, str]]]:
    """Serve, read what the terminal says, look at three addresses, and stop."""
    with serving(home, "serve", "--port", port) as process:
        assert process.stdout is not None
        said = process.stdout.readline() + process.stdout.readline()
        found = WORD.search(said)
        assert found is not None, said
        base = f"http://127.0.0.1:{port}"
        other = found[1][:-1] + ("2" if found[1][-1] != "2" else "3")
        pages = [get(base + "/"), enter(base, other), enter(base, found[1])]
        os.killpg(process.pid, signal.SIGINT)
        process.communicate(timeout=120)
        assert process.returncode == 0
    return said, pages


def test_an_empty_folder_is_served_and_only_the_word_opens_it(tmp_path: Path) -> None:
    home = tmp_path / "not" / "there" / "yet"
    home.parent.mkdir(parents=True)
    said, pages = lines_of(home, free_port())

    assert f"There is no home in {home} yet: a new one begins." in said
    assert [status for status, _ in pages] == [403, 403, 200]
    assert "The word on the terminal" in pages[0][1]
    assert "That is not the word on the terminal" in pages[1][1]
    assert "What your home is called" in pages[2][1]

    again, _ = lines_of(home, free_port())
    first_word, second_word = WORD.search(said), WORD.search(again)
    assert first_word is not None
    assert second_word is not None
    assert first_word[1] != second_word[1]


def test_a_folder_with_other_things_in_it_is_no_place_for_a_home(tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "to-mira.txt").write_text("Dear Mira")
    answer = program(tmp_path / "letters", "serve", "--port", free_port())

    assert answer.status == 2
    assert "found no home at" in answer.err
    assert [path.name for path in (tmp_path / "letters").iterdir()] == ["to-mira.txt"]
