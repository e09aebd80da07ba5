"""What cannot be taken leaves as sentences on stderr, with exit status 2, and nothing is written."""

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.conftest import Kitchen, environment, program
from tests.cli.test_a_workbook import into_the_house

BAD = {
    "an unknown copy": (["act", "receive", "no-such-copy"], "copies that could be meant by 'no-such-copy'"),
    "an unknown workbook": (["act", "order", "maths-9-01"], "workbook: found 'maths-9-01'"),
    "an unknown learner": (["act", "issue", "maths-5-01", "--learner", "nobody"], "one of mira, rewi, tui"),
    "an unknown person": (["act", "receive", "maths-5-01", "--by", "nobody"], "person: found 'nobody'"),
    "an unknown household": (["today", "--household", "elsewhere"], "household: found 'elsewhere'"),
    "an unknown stop": (
        ["act", "ask-leave", "maths-5-01", "mark", "--stop", "section-9"],
        "one of section-1, check-1, section-2, check-2",
    ),
    "an impossible day": (["history", "--day", "2026-02-30"], "--day: found '2026-02-30'"),
    "an impossible moment": (["act", "receive", "maths-5-01", "--at", "25:00"], "--at: found '25:00'"),
    "an impossible day for the goal": (
        ["act", "goal", "maths-5-01", "1", "--day", "soon"],
        "--day: found 'soon'",
    ),
    "pages backwards": (["act", "work", "maths-5-01", "7-5"], "pages: found '7-5'"),
    "a page too far": (["act", "work", "maths-5-01", "7-9"], "a page from 1 to 8"),
    "minutes of two days": (["act", "work", "maths-5-01", "1", "--minutes", "2880"], "a day has 0 to 1440"),
    "no verdict": (["act", "mark", "maths-5-01"], "--wrong and --all-right: found neither"),
    "two verdicts": (["act", "mark", "maths-5-01", "--wrong", "2", "--all-right"], "found both"),
    "an empty list of wrong ones": (["act", "mark", "maths-5-01", "--wrong", ","], "--wrong: found nothing"),
    "words for numbers": (["act", "mark", "maths-5-01", "--wrong", "3,x"], "--wrong: found 'x'"),
    "no score": (["act", "score-unit", "maths-5-01"], "score: found nothing"),
    "a score above the questions": (
        ["act", "score-unit", "maths-5-01", "--right", "21"],
        "a whole number from 0 to 20",
    ),
    "a quiz without a verdict": (["act", "quiz", "maths-5-01", "3:maybe"], "answers: found '3:maybe'"),
    "a goal of nothing": (["act", "goal", "maths-5-01"], "one of: pages, --step, --nothing"),
    "leave that nobody waits for": (["act", "give-leave", "maths-5-01"], "nobody waits at this copy"),
    "leave for a test": (
        ["act", "give-leave", "maths-5-01", "unit-test"],
        "checks and tests are opened instead",
    ),
    "an unknown act": (["undo", "no-such-act", "--yes"], "act: found 'no-such-act'"),
    "an unknown status": (["copies", "--status", "eaten"], "eaten"),
    "an unknown command": (["yesterday"], "yesterday"),
    "an unknown option": (["today", "--loud"], "--loud"),
    "an argument too few": (["act", "work", "maths-5-01"], "PAGES"),
    "a step nobody knows": (["act", "ask-leave", "maths-5-01", "to-play"], "to-play"),
}


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory, new_home: Path) -> Iterator[Kitchen]:
    home = tmp_path_factory.mktemp("shared") / "home"
    shutil.copytree(new_home, home)
    kitchen = Kitchen(home)
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    kitchen.act("opening-talk", copy)
    yield kitchen
    kitchen.close()


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_named_and_nothing_is_written(shared: Kitchen, name: str) -> None:
    words, sentence = BAD[name]
    before = shared.done("history", "--json").json
    answer = shared.run(*words)
    assert answer.status == 2, answer
    assert sentence in answer.err
    assert answer.out == ""
    assert "Traceback" not in answer.err
    assert "Sorry" not in answer.err
    assert shared.done("history", "--json").json == before


@pytest.mark.parametrize("now", ["yesterday", "2026-02-30T09:00", "2026-02-09", "2026-02-09T25:00"])
def test_an_impossible_present_is_refused(shared: Kitchen, now: str) -> None:
    answer = shared.run("today", "--now", now)
    assert answer.status == 2
    assert f"--now: found '{now}'" in answer.err


def test_two_presents_are_refused(shared: Kitchen) -> None:
    answer = shared.run("today", "--today", "2026-02-09")
    assert answer.status == 2
    assert "--now and --today: found both" in answer.err


def test_with_json_errors_stay_on_stderr(shared: Kitchen) -> None:
    answer = shared.run("history", "--copy", "no-such-copy", "--json")
    assert (answer.status, answer.out) == (2, "")
    assert answer.err


def test_where_several_educators_are_the_one_who_acts_is_named(kitchen: Kitchen) -> None:
    add = (
        "from pathlib import Path; from markstead.cli import house; "
        f"house.wake(Path({str(kitchen.home)!r})); "
        "from markstead.records import models; "
        "models.Person.objects.create(id='p2', household_id='home', key='jon', name='Jon', role='educator'); "
        "models.Household.objects.update(stamp='another')"
    )
    subprocess.run([sys.executable, "-c", add], env=environment(kitchen.home), check=True)
    refused = kitchen.run("act", "order", "maths-5-01")
    assert refused.status == 2
    assert "--by: found nothing; allowed is the key of who acts; educators are: jon, mira." in refused.err
    kitchen.act("order", "maths-5-01", "--by", "jon")


def test_a_folder_without_a_home_is_said_to_be_one(tmp_path: Path) -> None:
    nowhere = tmp_path / "nowhere"
    for words in (["today"], ["verify"], ["act", "order", "maths-5-01"]):
        answer = program(nowhere, *words)
        assert answer.status == 2
        assert f"home folder: found no home at {nowhere}" in answer.err
    assert not nowhere.exists()


def test_our_own_mistake_is_one_sorry_sentence_and_a_log(shared: Kitchen, tmp_path: Path) -> None:
    """A secret that is a folder is nothing that the commands foresee."""
    home = tmp_path / "home"
    shutil.copytree(shared.home, home)
    (home / "secret.key").unlink()
    (home / "secret.key").write_bytes(b"\xff\xfe")
    answer = program(home, "today")
    assert answer.status == 2
    log = home / "markstead.log"
    assert answer.err == (
        f"Sorry, something went wrong that is Markstead's own mistake. The details are in {log}.\n"
    )
    assert answer.out == ""
    assert "UnicodeDecodeError" in log.read_text()


def test_an_empty_folder_stays_empty(tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    assert program(empty, "today").status == 2
    assert list(empty.iterdir()) == []


def test_a_file_that_is_no_database_is_a_damaged_record(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "markstead.sqlite3").write_bytes(b"not a database, but long enough to be looked at " * 40)
    answer = program(home, "today")
    assert answer.status == 1
    assert "cannot be read" in answer.err
    assert "Traceback" not in answer.err
