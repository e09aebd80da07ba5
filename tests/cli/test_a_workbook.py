"""A whole workbook is driven from the command line, from the order to the second copy's passed unit test."""

import pytest

from tests.cli.conftest import Kitchen

BOOK = "maths-5-01"


def section(kitchen: Kitchen, copy: str, pages: str) -> None:
    """A section with nothing wrong."""
    kitchen.act("work", copy, pages, "--minutes", "20")
    kitchen.act("ask-leave", copy, "mark")
    kitchen.act("give-leave", copy)
    kitchen.act("mark", copy, "--all-right")


def check(kitchen: Kitchen, copy: str, pages: str) -> None:
    kitchen.act("open-check", copy)
    section(kitchen, copy, pages)


def through_the_practice_test(kitchen: Kitchen, copy: str, learner: str = "tui") -> None:
    """Issue a copy and work it all, up to a passed practice test and the decision on readiness."""
    kitchen.act("issue", copy, "--learner", learner)
    kitchen.act("opening-talk", copy)
    section(kitchen, copy, "1-3")
    check(kitchen, copy, "4")
    section(kitchen, copy, "5-7")
    check(kitchen, copy, "8")
    kitchen.act("open-practice", copy)
    kitchen.act("score-practice", copy, "--right", "9")
    kitchen.act("readiness", copy, "ready")


def into_the_house(kitchen: Kitchen, book: str = BOOK) -> str:
    copy = kitchen.act("order", book, "--json").json["facts"][0]["fact"]["copy"]
    kitchen.act("receive", copy)
    return str(copy)


@pytest.fixture
def ready(kitchen: Kitchen) -> str:
    """A copy that is ready for its unit test, on the day of its practice test."""
    copy = into_the_house(kitchen)
    through_the_practice_test(kitchen, copy)
    return copy


def test_each_act_says_what_was_recorded_and_what_comes_next(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    assert kitchen.act("issue", copy, "--learner", "tui").out == (
        f"Recorded: Copy issued to Tui. [{copy}]\nNext for {BOOK}: Hold the opening talk (you).\n"
    )
    kitchen.act("opening-talk", copy)
    worked = kitchen.act("work", copy, "1-3", "--minutes", "35").out
    assert worked == (
        f"Recorded: Pages 1-3 worked in 35 min. [{copy}]\nNext for {BOOK}: Ask leave to mark section 1 (Tui).\n"
    )


def test_the_cycle_at_a_stop_runs_without_naming_the_stop(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    kitchen.act("opening-talk", copy)
    kitchen.act("work", copy, "1-3")
    kitchen.act("ask-leave", copy, "mark")
    refused = kitchen.act("refuse-leave", copy, "--reason", "Page 2 has blanks.")
    assert "Leave to mark refused, section 1" in refused.out
    kitchen.act("ask-leave", copy, "mark")
    kitchen.act("give-leave", copy)
    few = kitchen.act("mark", copy, "--wrong", "3,7")
    assert "First marking, section 1: wrong 3, 7, of 10" in few.out
    assert "Correct questions 3, 7 of section 1 (Tui)" in few.out
    kitchen.act("correct", copy)
    kitchen.act("ask-leave", copy, "re-mark")
    kitchen.act("give-leave", copy)
    again = kitchen.act("re-mark", copy, "--wrong", "7")
    assert "still wrong 7" in again.out
    kitchen.act("correct", copy)
    kitchen.act("ask-leave", copy, "re-mark")
    kitchen.act("give-leave", copy)
    assert "Re-marked, section 1: cleared" in kitchen.act("re-mark", copy, "--all-right").out


def test_work_from_before_the_record_is_taken_over_and_no_marks_are_made_up(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    taken = kitchen.act("take-over", copy, "3")
    assert "Work taken over" in taken.out
    again = kitchen.run("act", "take-over", copy, "3")
    assert again.status == 1
    beyond = kitchen.run("act", "take-over", copy, "99")
    assert "last page: found 99" in beyond.err


def test_how_long_a_unit_test_took_is_kept_with_its_result(kitchen: Kitchen, ready: str) -> None:
    kitchen.now = "2026-02-10T09:00"
    kitchen.act("sit", ready)
    scored = kitchen.act("score-unit", ready, "--all-right", "--minutes", "38", "--json").json
    assert scored["facts"][0]["fact"]["minutes"] == 38


def test_many_wrong_shut_the_gate_until_a_quiz_was_held(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    kitchen.act("opening-talk", copy)
    kitchen.act("work", copy, "1-3")
    kitchen.act("ask-leave", copy, "mark")
    kitchen.act("give-leave", copy)
    kitchen.act("mark", copy, "--wrong", "1-3")
    kitchen.act("correct", copy)
    kitchen.act("ask-leave", copy, "re-mark")
    shut = kitchen.run("act", "give-leave", copy)
    assert shut.status == 1
    assert "3 of 10 were wrong" in shut.err
    quiz = kitchen.act("quiz", copy, "1:right", "3:wrong", "2:right")
    assert "Oral quiz held, section 1: 2 of 3 right" in quiz.out
    kitchen.act("give-leave", copy)


def test_a_unit_test_too_early_is_refused_with_every_bar(kitchen: Kitchen, ready: str) -> None:
    kitchen.now = "2026-02-09T13:30"
    refused = kitchen.run("act", "sit", ready)
    assert refused.status == 1
    assert refused.out == ""
    heading, first, lifts_first, second, lifts_second = refused.err.splitlines()
    assert heading == "Refused:"
    assert first.endswith("Monday 9 February 2026; the unit test comes on a later school day.")
    assert lifts_first == "    -> Wait until Tuesday 10 February 2026."
    assert second == "  It is 13:30; unit tests begin between 08:00 and 12:00."
    assert lifts_second == "    -> Wait until Tuesday 10 February 2026, 08:00."


def test_an_educator_passes_the_rules_with_a_reason_that_stays(kitchen: Kitchen, ready: str) -> None:
    kitchen.act("sit", ready, "--override", "We travel tomorrow.")
    told = kitchen.done("history", "--copy", ready, "--json").json["facts"]
    assert [fact["kind"] for fact in told[:2]] == ["unit test sat", "gate overridden"]
    assert told[1]["words"] == "We travel tomorrow."


def test_nobody_passes_a_bar_about_who_may_act(kitchen: Kitchen, ready: str) -> None:
    kitchen.now = "2026-02-10T09:00"
    refused = kitchen.run("act", "sit", ready, "--by", "tui", "--override", "I would like to.")
    assert refused.status == 1
    assert "Only an educator may do this." in refused.err


def test_a_failed_unit_test_leads_to_a_second_copy_that_passes(kitchen: Kitchen, ready: str) -> None:
    kitchen.now = "2026-02-10T09:00"
    sat = kitchen.act("sit", ready)
    assert "Unit test sat, watched by Mira Quay; pencil, eraser, ruler" in sat.out
    failed = kitchen.act("score-unit", ready, "--right", "15")
    assert "15 of 20, below the pass mark, 16 needed" in failed.out
    ordered = kitchen.act("reorder", ready, "--expected", "2026-02-13", "--json").json
    second = ordered["facts"][1]["fact"]["copy"]
    kitchen.now = "2026-02-13T08:30"
    kitchen.act("receive", second)
    assert kitchen.run("act", "receive", f"{BOOK} (2)").status == 1  # found by its label; it is there already
    through_the_practice_test(kitchen, second)
    kitchen.now = "2026-02-16T08:30"  # Friday's test opens on Monday
    assert "attempt 2" in kitchen.act("sit", second).out
    passed = kitchen.act("score-unit", second, "--wrong", "2,5,9,20")
    assert "16 of 20, passed" in passed.out
    kitchen.act("send", second, ready, "--tracking", "parcel 7")
    sent = kitchen.done("copies", "--status", "sent", "--json").json["copies"]
    assert {copy["label"]: copy["unit_test"]["passed"] for copy in sent} == {BOOK: False, f"{BOOK} (2)": True}
    assert kitchen.done("verify").out.startswith("The record holds.")


def test_help_goals_attendance_and_a_spoiled_copy_are_recorded(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    kitchen.act("opening-talk", copy)
    assert "Goal for Mon 9 Feb: pages 1-3" in kitchen.act("goal", copy, "1-3").out
    assert (
        "Goal for Tue 10 Feb: to mark"
        in kitchen.act("goal", copy, "--step", "mark", "--day", "2026-02-10").out
    )
    assert "taken away" in kitchen.act("goal", copy, "--nothing").out
    assert "Help asked, page 2" in kitchen.act("ask-help", copy, "--page", "2").out
    assert "Help given, 10 min" in kitchen.act("give-help", copy, "--minutes", "10").out
    here = kitchen.act("attendance", "tui", "half", "--minutes", "150").out
    assert here == "Recorded: Attendance taken: Tui, Mon 9 Feb, half day, 150 min.\n"
    assert "Copy spoiled" in kitchen.act("spoil", copy, "--reason", "Tea.").out


def test_what_happened_earlier_is_dated_earlier_and_written_now(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    kitchen.now = "2026-02-09T12:00"
    kitchen.act("issue", copy, "--learner", "tui", "--at", "9:40")
    fact = kitchen.done("history", "--limit", "1", "--json").json["facts"][0]
    # Auckland is 13 hours before UTC in February (IANA, Pacific/Auckland).
    assert (fact["at"], fact["written"]) == ("2026-02-08T20:40:00Z", "2026-02-08T23:00:00Z")


def test_the_same_slip_twice_is_written_once(kitchen: Kitchen) -> None:
    copy = into_the_house(kitchen)
    first = kitchen.act("issue", copy, "--learner", "tui", "--slip", "monday-1", "--json").json
    again = kitchen.act("issue", copy, "--learner", "tui", "--slip", "monday-1", "--json").json
    assert (first["again"], again["again"]) == (False, True)
    assert again["facts"] == first["facts"]
    assert len(kitchen.done("history", "--json").json["facts"]) == 3
    words = kitchen.act("give-leave", copy, "--slip", "monday-1").out  # whatever it is called the second time
    assert words.startswith("Was recorded before; nothing was added.")
