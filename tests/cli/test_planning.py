"""Plans at the keyboard: made, mended, tried with changes, taken; every refusal leaves the old one in force."""

import os
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import PROGRAM, Kitchen, environment, program
from tests.cli.test_a_workbook import into_the_house

WISHES = """
[[target]]
learner = "tui"
course = "maths-5"
workbook = "maths-5-01"
by = 2026-03-20
"""


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory, new_home: Path) -> Iterator[Kitchen]:
    """A home with a copy for each learner, a target, and a plan in force: plan 1; tests that take another copy it."""
    home = tmp_path_factory.mktemp("planned") / "home"
    shutil.copytree(new_home, home)
    (home.parent / "plan.toml").write_text(WISHES)
    here = Kitchen(home)
    into_the_house(here)
    into_the_house(here)
    here.done("plan", "--file", home.parent / "plan.toml", "--take")
    shutil.copytree(home, home.parent / "fresh")
    yield here
    here.close()


@pytest.fixture
def another(planned: Kitchen, tmp_path: Path) -> Iterator[Kitchen]:
    """The same home as it was at first, to do with what one likes."""
    shutil.copytree(planned.home.parent / "fresh", tmp_path / "home")
    here = Kitchen(tmp_path / "home")
    yield here
    here.close()


def in_force(kitchen: Kitchen) -> int:
    with sqlite3.connect(kitchen.database) as database:
        return int(database.execute("SELECT plan_in_force FROM records_household").fetchone()[0])


def plans(kitchen: Kitchen) -> list[tuple[int, str]]:
    with sqlite3.connect(kitchen.database) as database:
        return [
            (int(n), str(state)) for n, state in database.execute("SELECT number, state FROM records_plan")
        ]


def of(rows: list[dict[str, Any]], **wanted: object) -> dict[str, Any]:
    """The one row that has these values."""
    (found,) = [row for row in rows if all(row[key] == value for key, value in wanted.items())]
    return found


# --- plan -------------------------------------------------------------------------------------------------------------


def test_a_plan_tells_targets_figures_guesses_and_the_goals_of_a_week(planned: Kitchen) -> None:
    out = planned.done("plan", "--anew").out
    assert "from Mon 9 Feb on: proposed." in out
    assert "Tui, Mathematics 5: Wholes and Parts" in out or "target stays in time" in out
    assert "Unit tests by the last school day entered" in out
    assert "How fast Tui goes in Mathematics 5 is not known yet: 8 minutes a page are taken." in out
    assert "Nothing is changed yet. The same command with --take puts it in force." in out
    assert [day for day in ("Mon 9 Feb", "Fri 13 Feb", "Mon 16 Feb") if f"\n{day}\n" in out] == [
        "Mon 9 Feb",
        "Fri 13 Feb",
    ]
    assert in_force(planned) == 1


def test_a_plan_as_json_keeps_its_keys(planned: Kitchen) -> None:
    answer = planned.done("plan", "--json").json
    assert set(answer) == {
        *(
            "number",
            "state",
            "first",
            "last",
            "in_force",
            "broken",
            "stopped",
            "asks",
            "gap_percent",
            "announced",
        ),
        *("moved", "targets", "figures", "guessed_paces", "at_risk", "goals"),
    }
    assert (answer["state"], answer["first"], answer["last"]) == ("proposed", "2026-02-09", "2026-04-02")
    (target,) = answer["targets"]
    assert (target["learner"], target["workbook"], target["by"]) == ("tui", "maths-5-01", "2026-03-20")
    assert target["after"]["late"] == 0
    assert target["before"] == target["after"]


def test_a_plan_taken_is_in_force_and_its_goals_are_those_of_the_day(another: Kitchen) -> None:
    taken = another.done("plan", "--anew", "--take", "--json").json
    assert (taken["state"], taken["in_force"], in_force(another)) == (
        "in force",
        taken["number"],
        taken["number"],
    )
    monday = of(taken["goals"], day="2026-02-09", learner="tui")
    shown = another.done("plan", "--goals", "--json").json
    assert (shown["day"], of(shown["goals"], learner="tui")) == ("2026-02-09", monday)
    (goal,) = monday["goals"]
    assert (goal["workbook"], goal["first"]) == ("maths-5-01", 1)
    out = another.done("plan", "--day", "2026-02-09").out
    said = "page 1" if goal["last"] == 1 else f"pages 1-{goal['last']}"
    assert f"  Tui: Mathematics 5: {said} of Wholes and Parts\n" in out


def test_a_day_without_school_has_nothing_planned(planned: Kitchen) -> None:
    assert planned.done("plan", "--day", "2026-02-14").out == "Nothing is planned for Sat 14 Feb.\n"


def test_goals_without_a_plan_say_how_to_make_one(kitchen: Kitchen) -> None:
    answer = kitchen.run("plan", "--goals")
    assert answer.status == 2
    assert "plan: found none in force" in answer.err
    assert "`markstead plan --take`" in answer.err


def test_a_file_with_a_mistake_is_refused_line_by_line_and_the_old_one_stays(
    planned: Kitchen, tmp_path: Path
) -> None:
    (tmp_path / "plan.toml").write_text(WISHES.replace("maths-5-01", "maths-5-77"))
    before = plans(planned)
    answer = planned.run("plan", "--file", tmp_path / "plan.toml")
    assert answer.status == 2
    assert "maths-5-77" in answer.err
    assert (plans(planned), in_force(planned)) == (before, 1)


# --- replan -----------------------------------------------------------------------------------------------------------


def test_mending_what_still_holds_moves_nothing(planned: Kitchen) -> None:
    out = planned.done("replan").out
    assert "No announced goal moves." in out
    assert "1 target stays in time, on the same days." in out
    assert planned.done("replan", "--json").json["moved"] == []


def test_mending_after_a_slip_names_each_goal_that_moves(another: Kitchen) -> None:
    """Nothing is done on three days: what was announced for the fourth can no longer be reached."""
    another.now = "2026-02-13T09:00"
    found = another.done("replan", "--json").json
    assert found["first"] == "2026-02-13"
    assert found["moved"]
    assert {row["why"] for row in found["moved"]} <= {
        "out of reach",
        "weighed against the rest",
        "minutes",
        "morning full",
    }
    out = another.done("replan").out
    assert f"{len(found['moved'])} announced goals move:" in out
    assert " instead of " in out
    assert ", because " in out


# --- whatif -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "ask"),
    [
        (["--away", "tui:2026-02-10:2026-02-11"], "Tui is away from Tue 10 Feb to Wed 11 Feb."),
        (["--no-school", "2026-02-10:2026-02-10"], "No school on Tue 10 Feb."),
        (
            ["--educator-away", "2026-02-10:2026-02-11"],
            "No unit test is watched from Tue 10 Feb to Wed 11 Feb.",
        ),
        (
            ["--school-too", "2026-02-14", "--school-too", "2026-02-21"],
            "School also on Sat 14 Feb, Sat 21 Feb.",
        ),
        (["--target", "tui:maths-5-02:2026-03-27"], "Tui, Mathematics 5: Parts of Parts by Fri 27 Mar."),
        (["--target", "tui:maths-5-01:none"], "Tui, Mathematics 5: Wholes and Parts without a target."),
        (["--minutes", "tui:90:120"], "Tui: 90 minutes a day, 120 at the most."),
        (["--pages", "tui:maths-5:usual:3"], "Tui, Mathematics 5: usual pages a day, 3 at the most."),
        (["--drop", "rewi:maths-5"], "Rewi, Mathematics 5: the course is given up."),
        (["--more-sittings", "1"], "1 more watched sitting every morning."),
    ],
    ids=lambda given: given[0] if isinstance(given, list) else "",
)
def test_each_change_is_tried_beside_the_plan_in_force(planned: Kitchen, words: list[str], ask: str) -> None:
    answer = planned.done("whatif", *words, "--json").json
    assert [row["words"] for row in answer["asks"]] == [ask]
    assert all(figure["before"] is not None for figure in answer["figures"][:3])
    assert (answer["state"], answer["in_force"], in_force(planned)) == ("proposed", 1, 1)


def test_a_course_that_was_dropped_can_be_started_again(another: Kitchen) -> None:
    another.done("whatif", "--drop", "rewi:maths-5", "--take")
    assert "  Rewi: nothing\n" in another.done("plan", "--goals").out
    (ask,) = another.done("whatif", "--start", "rewi:maths-5", "--take", "--json").json["asks"]
    assert ask["words"] == "Rewi, Mathematics 5: the course is begun."


def test_several_changes_are_tried_together_and_printed_for_a_person(planned: Kitchen) -> None:
    out = planned.done("whatif", "--away", "tui:2026-02-10:2026-02-11", "--minutes", "rewi:90:120").out
    assert "  Tui is away from Tue 10 Feb to Wed 11 Feb.\n  Rewi: 90 minutes a day, 120 at the most.\n" in out
    assert "because the learner is away." in out
    assert "plan in force" in out


def test_a_target_out_of_reach_is_printed_with_its_reason_and_what_was_tried(planned: Kitchen) -> None:
    out = planned.done("whatif", "--target", "tui:maths-5-02:2026-02-17", "--anew").out
    assert "Cannot be met:" in out
    assert "Tui, Mathematics 5: Parts of Parts is to be done by 17 February 2026." in out
    assert "A way out: " in out
    assert "Tried: it is met, and no target is late." in out
    assert "It is proved that no" in out


def test_changes_are_written_down_when_their_plan_is_taken(another: Kitchen) -> None:
    another.done("whatif", "--away", "tui:2026-02-10:2026-02-11", "--take")
    assert in_force(another) == 2
    with sqlite3.connect(another.database) as database:
        query = "SELECT text FROM records_document WHERE kind = 'calendar' ORDER BY version DESC"
        assert 'learner = "tui"\nfirst = 2026-02-10' in database.execute(query).fetchone()[0]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "changes: found none; allowed is at least one of: --away, --no-school"),
        (["--away", "tui:2026-02-10"], "--away: found 'tui:2026-02-10'; allowed is LEARNER:FIRST:LAST"),
        (["--away", "tui:soon:2026-02-10"], "--away: found 'soon'"),
        (["--away", "tui:2026-02-11:2026-02-10"], "allowed is a last day that is not before the first"),
        (["--away", "zoe:2026-02-10:2026-02-11"], "person: found 'zoe'; allowed is one of"),
        (["--no-school", "2026-02-09:2026-04-02"], "no school day after 9 February 2026"),
        (["--school-too", "2026-02-10"], "school days too: found 10 February 2026; allowed is a day from"),
        (
            ["--target", "tui:maths-5-01:2026-02-06"],
            "target of Tui: found 6 February 2026; allowed is a day from 9 Feb",
        ),
        (["--target", "tui:maths-9-01:2026-03-06"], "maths-9-01"),
        (["--minutes", "tui:90"], "--minutes: found 'tui:90'; allowed is LEARNER:COMFORTABLE:MOST"),
        (["--minutes", "tui:few:90"], "--minutes: found 'few'; allowed is a whole number"),
        (["--minutes", "tui:120:90"], "minutes a day: found 120 and 90"),
        (["--minutes", "tui:20:30"], "minutes a day of Tui: found 30 at the most; allowed is 40 or more"),
        (["--pages", "tui:maths-5:5:3"], "pages a day: found 5, 3"),
        (["--start", "tui:maths-5"], "one that Tui does not take yet"),
        (["--drop", "tui:reading-5"], "course of Tui: found reading-5"),
        (["--more-sittings", "99"], "sittings more a morning: found 99; allowed is a number from 1 to 9"),
        (["--more-sittings", "1", "--take"], "sittings more a morning: found 1 to be kept"),
        (["--away", "tui:2026-02-10:2026-02-11", "--by", "zoe"], "person: found 'zoe'"),
    ],
    ids=lambda given: " ".join(given)[:40] if isinstance(given, list) else "",
)
def test_a_change_that_cannot_be_is_refused_and_nothing_is_kept(
    planned: Kitchen, words: list[str], said: str
) -> None:
    before = plans(planned)
    answer = planned.run("whatif", *words, "--json")
    assert (answer.status, answer.out) == (2, "")
    assert said in answer.err
    assert (plans(planned), in_force(planned)) == (before, 1)


@pytest.mark.parametrize(
    "words", [["plan"], ["plan", "--anew"], ["replan"], ["whatif", "--minutes", "tui:90:120"]]
)
@pytest.mark.parametrize("form", [[], ["--json"]], ids=["human", "json"])
def test_after_the_last_term_the_next_one_is_asked_for(
    planned: Kitchen, monkeypatch: pytest.MonkeyPatch, words: list[str], form: list[str]
) -> None:
    monkeypatch.setattr(planned, "now", "2026-05-04T09:00")
    answer = planned.run(*words, *form)
    assert (answer.status, answer.out) == (2, "")
    assert "the calendar: found no school day after 4 May 2026" in answer.err
    assert in_force(planned) == 1


# --- a process beside the server ------------------------------------------------------------------------------------


def asked_for(kitchen: Kitchen) -> int:
    """Turn the latest plan back into one that was asked for and at which nobody is yet."""
    number = int(kitchen.done("plan", "--json").json["number"])
    with sqlite3.connect(kitchen.database) as database:
        database.execute(
            "UPDATE records_plan SET state = 'being worked out', answer = '', says = '{}', beat = NULL WHERE number = ?",
            (number,),
        )
    return number


def test_a_process_works_out_the_plan_that_was_asked_for(another: Kitchen) -> None:
    number = asked_for(another)
    done = program(another.home, "plan", "--work", number)
    assert (done.status, done.out, done.err) == (0, "", "")
    assert plans(another) == [(1, "in force"), (number, "proposed")]


def test_a_process_gives_signs_of_work_while_a_piece_of_it_lasts(another: Kitchen) -> None:
    """The search is held up; the beat goes on."""
    number = asked_for(another)
    held = (
        "import sys, time, django; django.setup(); from markstead.cli import planning; planning.BEAT = 0.05; "
        "from markstead.cli.main import main; import markstead.records.plans as plans; "
        "plans.work_out = lambda *_: time.sleep(300); main(['plan', '--work', sys.argv[1]])"
    )
    process = subprocess.Popen(
        [PROGRAM[0], "-c", held, str(number)],
        env=environment(another.home) | {"DJANGO_SETTINGS_MODULE": "markstead.web.settings"},
    )
    try:
        beats: set[object] = set()
        until = time.monotonic() + 120
        while len(beats) < 3 and time.monotonic() < until:
            with sqlite3.connect(another.database) as database:
                row = database.execute("SELECT beat FROM records_plan WHERE number = ?", (number,)).fetchone()
            beats.add(row[0])
            time.sleep(0.2)
        assert len(beats) >= 3
    finally:
        os.kill(process.pid, signal.SIGKILL)
        process.wait(timeout=120)


def test_what_only_the_server_needs_is_not_in_the_help(planned: Kitchen) -> None:
    assert "--work" not in planned.done("plan", "--help").out
