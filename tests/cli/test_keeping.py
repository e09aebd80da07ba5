"""Commands that keep the record: undo, verify, rebuild, password."""

import sqlite3
from pathlib import Path

from tests.cli.conftest import Kitchen, program
from tests.cli.test_a_workbook import into_the_house


def test_undo_takes_back_the_latest_act_and_both_stay_on_the_record(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    undone = kitchen.done("undo", "--yes")
    assert undone.out == f"Recorded: Taken back: fact 2. [{copy}]\nNext for maths-5-01: Wait for the copy.\n"
    facts = kitchen.done("history", "--json").json["facts"]
    assert [(fact["kind"], fact["reversed"]) for fact in facts] == [
        ("fact reversed", False),
        ("copy received", True),
        ("copy ordered", False),
    ]
    assert "Copy received (taken back)" in kitchen.done("history").out


def test_undo_goes_further_back_each_time(kitchen: Kitchen) -> None:
    into_the_house(kitchen)
    kitchen.done("undo", "--yes")
    kitchen.done("undo", "--yes")
    nothing = kitchen.run("undo", "--yes")
    assert nothing.status == 2
    assert "act: found nothing to take back" in nothing.err


def test_what_later_facts_rest_on_is_not_taken_back(kitchen: Kitchen) -> None:
    into_the_house(kitchen)
    ordered = kitchen.done("history", "--json").json["facts"][1]["act"]
    refused = kitchen.run("undo", ordered, "--yes")
    assert refused.status == 1
    assert "Later facts of this copy rest on this one." in refused.err


def test_undo_asks_before_and_takes_no_silence_for_yes(kitchen: Kitchen) -> None:
    into_the_house(kitchen)
    refused = program(kitchen.home, "undo")
    assert refused.status == 2
    assert "--yes: nobody is here to be asked" in refused.err
    assert len(kitchen.done("history", "--json").json["facts"]) == 2


def test_verify_says_how_much_it_has_proved(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.act("spoil", copy, "--reason", "Tea.")
    assert kitchen.done("verify").out == "The record holds. Facts: 3; copies: 1; texts kept apart: 1.\n"
    told = kitchen.done("verify", "--json").json
    assert set(told) == {"holds", "facts", "head", "copies", "words", "problem"}
    assert (told["holds"], told["facts"], told["problem"]) == (True, 3, None)
    assert len(told["head"]) == 64


def edit(database: Path, *statements: str) -> None:
    """Change the record behind the tool's back: the trigger, which refuses, is taken away first."""
    with sqlite3.connect(database) as connection:
        names = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'records_entry'"
        ).fetchall()
        assert names, "the database itself guards the record"
        for (name,) in names:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
    connection.close()


def test_a_fact_edited_behind_the_tools_back_is_named(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    kitchen.act("opening-talk", copy)
    edit(
        kitchen.database,
        "UPDATE records_entry SET body = replace(body, 'copy issued', 'copy received') WHERE seq = 3",
    )
    found = program(kitchen.home, "verify")
    assert found.status == 1
    assert found.out == ""
    assert "fact 3" in found.err
    told = program(kitchen.home, "verify", "--json")
    assert told.status == 1
    assert told.json["holds"] is False
    assert "fact 3" in told.json["problem"]


def test_a_fact_that_was_removed_is_named(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    edit(kitchen.database, "DELETE FROM records_entry WHERE seq = 2")
    found = program(kitchen.home, "verify")
    assert found.status == 1
    assert "fact 2 is missing" in found.err
    refused = program(kitchen.home, "rebuild")
    assert refused.status == 1
    assert "Sorry" not in refused.err


def test_the_database_itself_refuses_an_edit(kitchen: Kitchen) -> None:
    into_the_house(kitchen)
    with sqlite3.connect(kitchen.database) as connection:
        try:
            connection.execute("UPDATE records_entry SET kind = 'x' WHERE seq = 1")
        except sqlite3.IntegrityError as error:
            said = str(error)
        else:
            said = ""
    connection.close()
    assert said == "what is written on the record stays as it is"


def test_a_cache_that_was_bent_is_found_and_rebuilt(kitchen: Kitchen) -> None:
    into_the_house(kitchen)
    with sqlite3.connect(kitchen.database) as connection:
        connection.execute("UPDATE records_copy SET status = 'issued'")
    connection.close()
    found = program(kitchen.home, "verify")
    assert found.status == 1
    assert "`rebuild` mends the cache" in found.err
    assert program(kitchen.home, "rebuild").out == "Made anew: where 1 copy stands.\n"
    assert program(kitchen.home, "verify").status == 0


def test_a_password_is_given_to_grown_ups_only(kitchen: Kitchen, files: Path, tmp_path: Path) -> None:
    given = kitchen.done("password", "mira", "--password-file", files / "password")
    assert given.out == "Mira Quay signs in as mira.\n"
    renamed = kitchen.done("password", "mira", "--sign-in", "captain", "--password-file", files / "password")
    assert renamed.out == "Mira Quay signs in as captain.\n"
    kept = kitchen.done("password", "mira", "--password-file", files / "password")
    assert kept.out == "Mira Quay signs in as captain.\n"
    weak = tmp_path / "weak"
    weak.write_text("1234\n")
    refused = kitchen.run("password", "tui", "--password-file", weak)
    assert refused.status == 2
    assert "tui, a learner" in refused.err
    assert "password: found a weak one" in refused.err


def test_a_password_is_never_taken_from_nowhere(kitchen: Kitchen, tmp_path: Path) -> None:
    assert "nobody is here to type it" in program(kitchen.home, "password", "mira").err
    (tmp_path / "empty").write_text("")
    refused = kitchen.run("password", "mira", "--password-file", tmp_path / "empty")
    assert refused.status == 2
    assert "the password on the first line" in refused.err
    missing = kitchen.run("password", "mira", "--password-file", tmp_path / "missing")
    assert missing.status == 2
    assert "No such file" in missing.err
