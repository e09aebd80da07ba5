"""The quick line at the keyboard."""

import pytest

from tests.cli.conftest import Kitchen


@pytest.fixture
def at_work(kitchen: Kitchen) -> Kitchen:
    """Tui has begun the first workbook of maths."""
    kitchen.act("order", "maths-5-01", "--learner", "tui")
    kitchen.act("receive", "maths-5-01")
    kitchen.act("issue", "maths-5-01")
    kitchen.act("opening-talk", "maths-5-01")
    kitchen.now = "2026-02-09T10:00"
    return kitchen


def facts(kitchen: Kitchen) -> int:
    return int(kitchen.done("today", "--json").json["facts"])


def test_a_line_is_recorded_as_one_act(at_work: Kitchen) -> None:
    answer = at_work.done("note", "tui maths 1-3 20 min wrong 2")
    assert answer.out.startswith("Recorded: Pages 1-3 worked in 20 min.")
    assert "Recorded: Leave to mark given, section 1." in answer.out
    assert "Recorded: First marking, section 1: wrong 2, of 10." in answer.out
    assert "Next for maths-5-01: Correct question 2 of section 1 (Tui)." in answer.out
    before = facts(at_work)
    at_work.done("undo", "--yes")
    assert facts(at_work) == before + 3


def test_a_dry_run_tells_and_writes_nothing(at_work: Kitchen) -> None:
    before = facts(at_work)
    answer = at_work.done("note", "tui maths 1-3 20 min", "--dry-run")
    assert answer.out == "Would be recorded: Pages 1-3 worked in 20 min (Tui, Wholes and Parts).\n"
    told = at_work.done("note", "tui 1-3", "--dry-run", "--json").json
    assert told["would_record"] == ["Pages 1-3 worked"]
    assert (told["learner"], told["workbook"], told["bars"]) == ("Tui", "Wholes and Parts", [])
    assert facts(at_work) == before


def test_a_shut_gate_is_named_and_ends_with_one(at_work: Kitchen) -> None:
    for words in ((), ("--dry-run",)):
        answer = at_work.run("note", "tui maths right", *words)
        assert answer.status == 1
        assert "Pages 1-3 are not worked yet." in answer.err
    told = at_work.run("note", "tui maths right", "--dry-run", "--json")
    assert told.status == 1
    assert told.json["shut"] == "Leave to mark given, section 1"
    assert [bar["kind"] for bar in told.json["bars"]] == ["pages left"]


def test_a_word_that_is_not_understood_is_named_with_its_place(at_work: Kitchen) -> None:
    for words in ((), ("--dry-run",)):
        answer = at_work.run("note", "tui mahts 1-3", *words)
        assert (answer.status, answer.out) == (2, "")
        assert "quick line, word 2 (letter 5): found 'mahts'" in answer.err


def test_it_takes_what_every_act_takes(at_work: Kitchen) -> None:
    at_work.now = "2026-02-09T19:00"
    told = at_work.done(
        *(
            "note",
            "tui maths 1-3 30 min wrong 1-10 re-mark right",
            "--at",
            "11:30",
            "--slip",
            "evening",
            "--json",
        ),
        *("--override", "taught it on the way"),
    ).json
    assert [fact["kind"] for fact in told["facts"]][-3:] == ["gate overridden", "leave given", "re-marked"]
    assert {fact["at"] for fact in told["facts"]} == {"2026-02-08T22:30:00Z"}
    again = at_work.done("note", "tui maths 1-3", "--slip", "evening", "--json").json
    assert again["again"]
