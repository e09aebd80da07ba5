"""Commands that estimate: the numbers of their JSON against the pure functions, and against sources outside the house."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import betabinom, hypergeom

from markstead.measure import irt, oral, spot
from markstead.measure.items import read_items
from markstead.measure.readiness import BookEvidence, Counts, predict, start, work_through
from markstead.measure.sitting import when_to_sit
from tests.cli.conftest import Answer, Kitchen, environment, program
from tests.cli.test_a_workbook import BOOK, into_the_house
from tests.measure import lsat

SUBJECTS = ("maths",)
SECTION_1_WRONG = (3, 7)
EVIDENCE = BookEvidence(
    "maths",
    sections=Counts(20, 17),
    checks=Counts(10, 10),
    practice=(Counts(10, 9),),
    workbook=BOOK,
)
"""What the copy of the tests tells: 8 and 9 of 10 in its sections, 10 of 10 in its checks, 9 of 10 in its practice test."""


def stop(kitchen: Kitchen, copy: str, pages: str, *verdict: str) -> None:
    """Work a stop to its end and mark it; what was wrong is corrected and re-marked."""
    kitchen.act("work", copy, pages, "--minutes", "20")
    kitchen.act("ask-leave", copy, "mark")
    kitchen.act("give-leave", copy)
    kitchen.act("mark", copy, *verdict)
    if "--wrong" in verdict:
        kitchen.act("correct", copy)
        kitchen.act("ask-leave", copy, "re-mark")
        kitchen.act("give-leave", copy)
        kitchen.act("re-mark", copy, "--all-right")


def mark_a_workbook(kitchen: Kitchen) -> str:
    """Tui works the first workbook within three days; on Wednesday its practice test has 9 of 10 right."""
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    kitchen.act("opening-talk", copy)
    stop(kitchen, copy, "1-3", "--wrong", ",".join(map(str, SECTION_1_WRONG)))
    kitchen.act("open-check", copy)
    stop(kitchen, copy, "4", "--all-right")
    kitchen.now = "2026-02-10T09:00"
    stop(kitchen, copy, "5-7", "--wrong", "1")
    kitchen.act("open-check", copy)
    stop(kitchen, copy, "8", "--all-right")
    kitchen.now = "2026-02-11T09:00"
    kitchen.act("open-practice", copy)
    kitchen.act("score-practice", copy, "--wrong", "4")
    return copy


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory, new_home: Path) -> Iterator[Kitchen]:
    """A home in which Tui has a workbook up to its practice test; nothing is written here any more."""
    home = tmp_path_factory.mktemp("worked") / "home"
    shutil.copytree(new_home, home)
    here = Kitchen(home)
    mark_a_workbook(here)
    yield here
    here.close()


@pytest.fixture
def at_the_desk(tmp_path: Path, worked: Kitchen) -> Iterator[Kitchen]:
    """The same home, for a test that writes."""
    shutil.copytree(worked.home, tmp_path / "home")
    here = Kitchen(tmp_path / "home")
    here.now = worked.now
    yield here
    here.close()


@pytest.fixture
def answers_of_lsat_6(tmp_path: Path) -> Path:
    """The 1,000 answers to LSAT section 6 (Bock and Lieberman 1970, Psychometrika 35, 179-197) as a file."""
    file = tmp_path / "lsat6.csv"
    rows = [",".join(map(str, row)) for row in lsat.answers(6)]
    file.write_text("\n".join(["q1,q2,q3,q4,q5", *rows]) + "\n", encoding="utf-8")
    return file


# --- readiness ----------------------------------------------------------------------------------------------------

READINESS = {
    *("mean", "spread", "chance", "chance_range", "shown_percent", "shown_percent_range", "score_range"),
    *("asked", "needed", "evidence"),
}
BOOK_KEYS = {*READINESS, *("copy", "label", "workbook", "title", "begun", "sentence", "sitting")}


def test_readiness_as_json_has_the_numbers_of_the_filter(worked: Kitchen) -> None:
    (tui,) = worked.done("readiness", "tui", "--json").json["learners"]
    (book,) = tui["workbooks"]
    assert set(book) == BOOK_KEYS
    # 80 % of 20 questions pass: 16.
    wanted = predict(work_through(start(SUBJECTS), EVIDENCE), "maths", 20, 16)
    assert book["mean"] == pytest.approx(wanted.mean, abs=1e-12)  # JSON keeps every digit of a number
    assert book["spread"] == pytest.approx(wanted.spread, abs=1e-12)
    assert book["chance"] == pytest.approx(wanted.chance, abs=1e-12)
    assert book["chance_range"] == pytest.approx([wanted.chance_low, wanted.chance_high], abs=1e-12)
    assert book["score_range"] == [wanted.score_low, wanted.score_high]
    assert (book["asked"], book["needed"], book["evidence"]) == (20, 16, str(wanted.evidence))


def test_the_advice_is_told_with_every_number_that_it_rests_on(worked: Kitchen) -> None:
    (tui,) = worked.done("readiness", "tui", "--json").json["learners"]
    (book,) = tui["workbooks"]
    advice = when_to_sit(book["mean"], book["spread"], 20, 16, failed_test_costs=8, hold_day_costs=1)
    assert book["sitting"] == {
        "advice": str(advice.advice),
        "days": advice.days,
        "chance_now": pytest.approx(advice.chance_now, abs=1e-12),
        "chance_after": pytest.approx(list(advice.chance_after), abs=1e-12),
        "days_saved": pytest.approx(advice.days_saved, abs=1e-12),
        "below_gate": False,
        "sentence": advice.sentence,
    }
    assert book["sentence"] == advice.sentence


def test_without_a_name_every_learner_is_told(worked: Kitchen) -> None:
    answer = worked.done("readiness", "--json").json
    assert [(p["key"], len(p["workbooks"])) for p in answer["learners"]] == [("rewi", 0), ("tui", 1)]


def test_a_copy_is_told_with_its_history_and_its_objectives(worked: Kitchen) -> None:
    answer = worked.done("readiness", "--copy", BOOK, "--json").json
    assert set(answer) == {*BOOK_KEYS, "learner", "history", "objectives", "spot_check"}
    # One point for each day of marks, called by its latest mark.
    assert [p["after"] for p in answer["history"]] == ["check 1", "check 2", "the practice test"]
    assert answer["history"][-1]["chance"] == pytest.approx(answer["chance"], abs=1e-12)
    assert [(o["asked"], o["right"]) for o in answer["objectives"]] == [(10, 8), (5, 5), (10, 9), (5, 5)]
    assert set(answer["objectives"][0]) == {"objective", "asked", "right", "mean", "spread", "learnt"}
    assert answer["learner"]["key"] == "tui"


def test_readiness_in_words_names_the_evidence_and_the_advice(worked: Kitchen) -> None:
    book = worked.done("readiness", "--copy", BOOK, "--json").json
    line = next(x for x in worked.done("readiness").out.splitlines() if x.startswith("Tui"))
    low, high = book["score_range"]
    assert f"{low} to {high} of 20" in line
    assert book["evidence"] in line
    told = worked.done("readiness", "--copy", BOOK).out
    assert book["sentence"] in told
    assert "the practice test" in told


def test_a_home_with_nothing_in_hand_says_so(kitchen: Kitchen) -> None:
    assert kitchen.done("readiness").out == "No workbook is in hand.\n"


# --- oral quiz ----------------------------------------------------------------------------------------------------


def quizzes_by_the_card(lines: list[dict[str, Any]], p: float) -> tuple[float, float]:
    """Chance to end with 'learnt' and mean number of questions, from nothing but the printed card."""
    ends = {line["asked"]: (line["right_needed"], line["wrong_ends"]) for line in lines}
    under_way, asked, learnt, questions = {0: 1.0}, 0, 0.0, 0.0
    while under_way:
        asked += 1
        questions += sum(under_way.values())
        reached: dict[int, float] = {}
        for right, weight in under_way.items():
            reached[right + 1] = reached.get(right + 1, 0.0) + weight * p
            reached[right] = reached.get(right, 0.0) + weight * (1 - p)
        right_needed, wrong_ends = ends.get(asked, (None, None))
        under_way = {}
        for right, weight in reached.items():
            if right_needed is not None and right >= right_needed:
                learnt += weight
            elif wrong_ends is None or asked - right < wrong_ends:
                under_way[right] = weight
    return learnt, questions


@pytest.mark.parametrize("prior", [0.5, 0.3, 0.9])
def test_the_card_does_what_is_told_of_it(tmp_path: Path, prior: float) -> None:
    answer = program(tmp_path / "nowhere", "quiz", "card", "--prior", prior, "--json")
    assert answer.status == 0, answer.err
    found = answer.json
    assert [at["p"] for at in found["operating"]] == [0.6, 0.7, 0.8, 0.85, 0.9]
    for at in found["operating"]:
        learnt, questions = quizzes_by_the_card(found["lines"], at["p"])
        # Both are sums of the same products in another order: they differ by rounding alone.
        assert at["learnt"] == pytest.approx(learnt, abs=1e-12)
        assert at["mean_questions"] == pytest.approx(questions, abs=1e-12)


def test_the_card_of_a_copy_starts_from_its_marks_and_lists_its_questions(worked: Kitchen) -> None:
    found = worked.done("quiz", "card", BOOK, "--stop", "section-1", "--json").json
    assert set(found) == {
        *("copy", "learner", "workbook", "stop", "under_way", "prior", "sentence", "lines", "rule"),
        *("operating", "questions"),
    }
    objectives = worked.done("readiness", "--copy", BOOK, "--json").json["objectives"]
    section_1 = next(o for o in objectives if o["objective"].endswith("section 1"))
    assert found["prior"] == pytest.approx(section_1["learnt"], abs=1e-12)
    assert found["sentence"] == oral.card(found["prior"]).sentence
    assert sorted(q["question"] for q in found["questions"]) == list(range(1, 11))
    wrong = {q["question"] for q in found["questions"] if q["wrong_at_first"]}
    assert wrong == set(SECTION_1_WRONG)
    # The first question of a quiz is one that was wrong.
    assert found["questions"][0]["question"] in SECTION_1_WRONG


def test_a_prior_that_is_given_takes_the_place_of_the_marks(worked: Kitchen) -> None:
    found = worked.done("quiz", "card", BOOK, "--prior", "0.2", "--json").json
    assert found["prior"] == 0.2
    assert found["sentence"] == oral.card(0.2).sentence


def test_the_card_printed_twice_on_a_day_asks_the_same(worked: Kitchen) -> None:
    first = worked.done("quiz", "card", BOOK).out
    assert worked.done("quiz", "card", BOOK).out == first
    assert "Section 1, question" in first


def test_the_card_of_a_quiz_under_way_leaves_out_what_was_asked(at_the_desk: Kitchen) -> None:
    begin = (
        "from datetime import UTC, datetime; from pathlib import Path; from markstead.cli import house; "
        f"house.wake(Path({str(at_the_desk.home)!r})); "
        "from markstead.records import queries, quizzes; "
        f"copy = queries.find_copy('home', {BOOK!r}); now = datetime(2026, 2, 10, 20, tzinfo=UTC); "
        "quiz = quizzes.begin('home', copy=copy, by='p1', at=now, stop='section-1'); "
        "quizzes.note('home', quiz.id, place=0, stop='section-1', question=3, right=True)"
    )
    subprocess.run([sys.executable, "-c", begin], env=environment(at_the_desk.home), check=True)
    found = at_the_desk.done("quiz", "card", BOOK, "--stop", "section-1", "--json").json
    live = oral.live([True], found["prior"])
    assert found["under_way"] == {
        "verdict": "go on",
        "asked": 1,
        "right": 1,
        "wrong": 0,
        "at_most_more": live.at_most_more,
        "right_to_go": live.right_to_go,
        "wrong_to_go": live.wrong_to_go,
        "sentence": live.sentence,
    }
    assert (
        f"1 right, 0 wrong. {live.sentence}"
        in at_the_desk.done("quiz", "card", BOOK, "--stop", "section-1").out
    )
    asked = [q["question"] for q in found["questions"]]
    assert sorted(asked) == [1, 2, 4, 5, 6, 7, 8, 9, 10]
    # At most twelve are asked, eleven more: none of the nine that are left is in reserve.
    assert not any(q["reserve"] for q in found["questions"])


def test_a_quiz_is_recorded_as_ever(at_the_desk: Kitchen) -> None:
    told = at_the_desk.act("quiz", BOOK, "3:right", "7:wrong", "--stop", "section-1").out
    assert "Oral quiz held, section 1: 1 of 2 right" in told


def test_quiz_alone_shows_its_help(worked: Kitchen) -> None:
    answer = worked.run("quiz")
    assert answer.status == 2
    assert "card" in answer.out


# --- spot check ---------------------------------------------------------------------------------------------------

SPOT_KEYS = {
    *(
        "learner",
        "day",
        "sentence",
        "ticks",
        "looked_at",
        "slips",
        "to_look_at",
        "mark_again",
        "too_many_slips",
    ),
    *("chance_to_slip_through", "belief", "floor", "together", "practice_ahead", "notes"),
}


def test_spot_tells_which_ticks_to_mark_again_and_the_chance_to_miss_slips(worked: Kitchen) -> None:
    found = worked.done("spot", "tui", "--json").json
    assert set(found) == SPOT_KEYS
    # The latest batch is Tuesday's, section 2 and check 2; the practice test was marked by the educator.
    assert (found["day"], found["ticks"]) == ("2026-02-10", 9 + 5)
    places = {(row["stop"], row["question"]) for row in found["mark_again"]}
    assert len(places) == found["to_look_at"] == len(found["mark_again"])
    ticks, a, b = found["ticks"], found["belief"]["a"], found["belief"]["b"]
    bad = found["too_many_slips"]
    assert bad == spot.too_many(ticks)
    # Outside the house: the beta-binomial and hypergeometric distributions of SciPy.
    through = sum(
        betabinom.pmf(k, ticks, a, b) * hypergeom.pmf(0, ticks, k, found["to_look_at"])
        for k in range(bad, ticks + 1)
    )
    assert found["chance_to_slip_through"] == pytest.approx(through, abs=1e-10)  # SciPy sums logarithms
    assert found["chance_to_slip_through"] <= 0.05


def test_a_spot_check_is_recorded_and_then_nothing_more_is_asked(at_the_desk: Kitchen) -> None:
    before = at_the_desk.done("spot", "tui", "--json").json
    by_stop: dict[str, list[str]] = {}
    for row in before["mark_again"]:
        by_stop.setdefault(row["stop"], []).append(f"{row['question']}:right")
    for where, answers in by_stop.items():
        told = at_the_desk.act("spot-check", BOOK, *answers, "--stop", where).out
        assert "Spot check held" in told
    after = at_the_desk.done("spot", "tui", "--json").json
    assert after["mark_again"] == []
    assert (after["looked_at"], after["slips"]) == (len(before["mark_again"]), 0)
    assert after["sentence"] == "The spot check is done: nothing more to mark again."


def test_a_slip_asks_for_more_of_the_same_batch_and_moves_the_belief(at_the_desk: Kitchen) -> None:
    before = at_the_desk.done("spot", "tui", "--json").json
    first = before["mark_again"][0]
    at_the_desk.act("spot-check", BOOK, f"{first['question']}:wrong", "--stop", first["stop"])
    after = at_the_desk.done("spot", "tui", "--json").json
    assert after["slips"] == 1
    assert after["belief"]["a"] == pytest.approx(before["belief"]["a"] + 1)
    assert after["to_look_at"] >= before["to_look_at"]
    assert "1 slip" in at_the_desk.done("spot", "tui").out


def test_an_answer_that_was_not_ticked_is_no_spot_check(at_the_desk: Kitchen) -> None:
    refused = at_the_desk.run("act", "spot-check", BOOK, "3:right", "--stop", "section-1")
    assert refused.status == 1
    assert refused.err.startswith("Refused:")


def test_a_learner_without_ticks_has_nothing_to_mark_again(worked: Kitchen) -> None:
    found = worked.done("spot", "rewi", "--json").json
    assert (found["ticks"], found["mark_again"], found["chance_to_slip_through"]) == (0, [], None)
    assert "Nothing was marked that wants a spot check." in worked.done("spot", "rewi").out


# --- pace and review ----------------------------------------------------------------------------------------------


def test_pace_tells_the_days_and_their_ranges(worked: Kitchen) -> None:
    found = worked.done("pace", "tui", "--json").json
    (course,) = found["courses"]
    assert set(course) == {
        *("course", "title", "pages_a_day", "pages_a_day_range", "minutes_a_page", "minutes_a_page_range"),
        *("sessions", "days", "by_goals", "median_share", "spread", "weight", "zero_share", "in_hand"),
        *("days_to_finish", "worked"),
    }
    assert [(d["day"], d["pages"]) for d in course["worked"]] == [("2026-02-09", 4), ("2026-02-10", 4)]
    low, high = course["pages_a_day_range"]
    assert low < course["pages_a_day"] < high
    assert course["in_hand"]["pages_left"] == 0
    assert course["days_to_finish"]["expected"] == 0


def test_pace_in_words_gives_the_range_beside_the_mean(worked: Kitchen) -> None:
    (course,) = worked.done("pace", "tui", "--json").json["courses"]
    low, high = course["pages_a_day_range"]
    told = worked.done("pace", "tui").out
    assert f"{course['pages_a_day']:.1f} ({low:.1f} to {high:.1f})" in told
    assert worked.done("pace", "rewi").out == "Rewi has no day of work yet.\n"


def test_review_asks_what_is_most_likely_forgotten_and_the_same_all_day(worked: Kitchen) -> None:
    words = ("review", "tui", "--minutes", "2", "--now", "2026-03-20T10:00", "--json")
    found = worked.done(*words).json
    assert set(found) == {
        *("learner", "sentence", "minutes_given", "minutes_used", "left_out", "questions"),
    }
    assert found["minutes_given"] == 2
    kept = [q["remembered"] for q in found["questions"]]
    assert kept
    assert kept == sorted(kept)
    for q in found["questions"]:
        assert q["remembered_range"][0] <= q["remembered"] <= q["remembered_range"][1]
    assert worked.done(*words).json == found
    assert found["sentence"] in worked.done(*words[:-1]).out


@pytest.mark.parametrize("name", ["pace", "review"])
def test_days_cannot_be_counted_from_before_the_latest_mark(worked: Kitchen, name: str) -> None:
    answer = worked.run(name, "tui", "--now", "2026-02-09T09:00")
    assert answer.status == 2
    assert "today: found 2026-02-09; allowed is a day from 2026-02-11 on" in answer.err


# --- items --------------------------------------------------------------------------------------------------------


def test_items_of_a_file_are_those_of_ltm(answers_of_lsat_6: Path, tmp_path: Path) -> None:
    """R package ltm on LSAT 6: `cronbach.alpha`, `descript`, `rasch` with the slope held at 1, and `ltm(LSAT ~ z1)`."""
    answer = program(tmp_path / "nowhere", "items", "--responses", answers_of_lsat_6, "--json")
    assert answer.status == 0, answer.err
    found = answer.json
    assert found["learners"] == 1000
    assert found["kr20"] == pytest.approx(0.2950, abs=5e-5)  # as printed
    rest = [item["rest_correlation"] for item in found["items"]]
    assert rest == pytest.approx([0.1128, 0.1532, 0.1728, 0.1444, 0.1216], abs=5e-5)
    without = [item["alpha_without"] for item in found["items"]]
    assert without == pytest.approx([0.2754, 0.2376, 0.2168, 0.2459, 0.2663], abs=5e-5)
    b = [item["difficulty"] for item in found["rasch"]["items"]]
    assert b == pytest.approx([-2.872, -1.063, -0.258, -1.388, -2.219], abs=1e-3)  # ltm stops early
    a = [item["slope"] for item in found["two_pl"]["items"]]
    assert a == pytest.approx([0.8254, 0.7229, 0.8905, 0.6886, 0.6575], abs=5e-3)  # ltm stops early


def test_items_as_json_have_every_number_of_the_readings(answers_of_lsat_6: Path, tmp_path: Path) -> None:
    found = program(tmp_path / "nowhere", "items", "--responses", answers_of_lsat_6, "--json").json
    reading, slopes = read_items(lsat.answers(6)), irt.two_pl(lsat.answers(6))
    assert found["kr20_range"] == [reading.kr20_low, reading.kr20_high]
    assert (found["mean"], found["sd"], found["sem"]) == (reading.mean, reading.sd, reading.sem)
    for told, item in zip(found["items"], reading.items, strict=True):
        assert told["right_share_range"] == [item.share_low, item.share_high]
        assert (told["right"], told["asked"], told["look_at_key"]) == (item.right, item.asked, item.mis_keyed)
    errors = [item["slope_error"] for item in found["two_pl"]["items"]]
    assert errors == pytest.approx(list(slopes.slope_error), abs=1e-12)


def test_few_learners_are_said_to_be_few(tmp_path: Path) -> None:
    file = tmp_path / "few.csv"
    file.write_text("q1,q2\n1,0\n1,\n\n0,1\n", encoding="utf-8")
    found = program(tmp_path, "items", "--responses", file, "--json").json
    assert (found["learners"], found["kr20"], found["rasch"], found["two_pl"]) == (3, None, None, None)
    assert [(item["right"], item["asked"]) for item in found["items"]] == [(2, 3), (1, 2)]
    assert found["notes"] == [
        "Too few learners (3) to put the questions on one scale: it takes 20.",
        "Too few learners (3) for a slope of each question: it takes 200.",
    ]


BAD_FILES = {
    "a cell": ("q1,q2\n1,2\n", "row 2, column q2: found '2'; allowed is 1 (right), 0 (wrong)"),
    "a short row": ("q1,q2\n\n1\n", "row 3: found 1 cells; allowed is 2"),
    "no header": ("1,0,1\n1,1,1\n", "row 1: found '1,0,1'; allowed is a header row"),
    "nobody": (
        "q1,q2\n",
        "allowed is a header row with the name of each question, and a row for each learner",
    ),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_is_no_table_of_answers_is_named(worked: Kitchen, tmp_path: Path, name: str) -> None:
    text, sentence = BAD_FILES[name]
    file = tmp_path / "bad.csv"
    file.write_text(text, encoding="utf-8")
    refused(worked.run("items", "--responses", file), sentence)


def test_items_of_a_test_are_the_first_answers_on_the_record(worked: Kitchen) -> None:
    found = worked.done("items", BOOK, "--test", "section-1", "--json").json
    assert (found["workbook"], found["test"], found["homes"], found["learners"]) == (BOOK, "section-1", 1, 1)
    wrong = [item["question"] for item in found["items"] if item["right"] == 0]
    assert wrong == [str(number) for number in SECTION_1_WRONG]
    practice = worked.done("items", BOOK, "--test", "practice test", "--json").json
    assert [item["right"] for item in practice["items"]] == [1, 1, 1, 0, 1, 1, 1, 1, 1, 1]


def test_a_test_that_nobody_sat_says_so(worked: Kitchen) -> None:
    assert f"{BOOK}, unit test: nobody's answers are known." in worked.done("items", BOOK).out
    found = worked.done("items", BOOK, "--json").json
    assert (found["learners"], found["items"]) == (0, [])


def test_difficulties_wait_for_a_unit_test(worked: Kitchen) -> None:
    assert worked.done("items", "--difficulties").out == "No unit test is marked yet.\n"
    assert worked.done("items", "--difficulties", "--json").json == {
        "homes": 0,
        "learners": 0,
        "workbooks": [],
    }


def test_difficulties_are_told_with_their_range(at_the_desk: Kitchen) -> None:
    at_the_desk.act("readiness", BOOK, "ready")
    at_the_desk.now = "2026-02-12T09:00"
    at_the_desk.act("sit", BOOK)
    at_the_desk.act("score-unit", BOOK, "--right", "16")
    (told,) = at_the_desk.done("items", "--difficulties", "--json").json["workbooks"]
    assert (told["workbook"], told["learners"]) == (BOOK, 1)
    low, high = told["harder_logits_range"]
    assert low < told["harder_logits"] < high
    assert f"{low:+.2f} to {high:+.2f}" in at_the_desk.done("items", "--difficulties").out


# --- costs --------------------------------------------------------------------------------------------------------


def test_costs_are_shown_set_and_change_the_advice(at_the_desk: Kitchen) -> None:
    assert at_the_desk.done("costs", "--json").json == {"failed_test_days": 8.0, "hold_day_days": 1.0}
    told = at_the_desk.done("costs", "--failed-test", "20", "--hold-day", "0.5").out
    assert told == "A failed unit test costs this home 20 days of school.\nA hold day costs it 0.5 days.\n"
    answer = at_the_desk.done("readiness", "tui", "--json").json
    assert answer["costs"] == {"failed_test_days": 20.0, "hold_day_days": 0.5}
    book = answer["learners"][0]["workbooks"][0]
    wanted = when_to_sit(book["mean"], book["spread"], 20, 16, failed_test_costs=20, hold_day_costs=0.5)
    assert (book["sitting"]["advice"], book["sitting"]["days"]) == (str(wanted.advice), wanted.days)


# --- what cannot be taken -----------------------------------------------------------------------------------------


def refused(answer: Answer, sentence: str) -> None:
    """Nothing but a sentence on stderr."""
    assert answer.status == 2, answer
    assert sentence in answer.err
    assert answer.out == ""
    assert "Sorry" not in answer.err


BAD = {
    "an unknown learner": (["spot", "nobody"], "person: found 'nobody'; allowed is one of mira, rewi, tui"),
    "an educator for a learner": (
        ["pace", "mira"],
        "learner: found mira, who is no learner; allowed is one of",
    ),
    "an unknown copy": (["readiness", "--copy", "nothing"], "copies that could be meant by 'nothing'"),
    "a copy of another learner": (
        ["readiness", "rewi", "--copy", BOOK],
        "copy: found maths-5-01, which tui has; allowed is a copy that rewi has",
    ),
    "a prior above 1": (
        ["quiz", "card", "--prior", "1.5"],
        "--prior: found 1.5; allowed is a number from 0 to 1",
    ),
    "a prior that is no number": (["quiz", "card", "--prior", "nan"], "--prior: found nan"),
    "a stop of no copy": (["quiz", "card", "--stop", "section-1"], "--stop: found 'section-1'"),
    "an unknown stop": (
        ["quiz", "card", BOOK, "--stop", "section-9"],
        "found 'section-9'; allowed is one of section-1, check-1, section-2, check-2",
    ),
    "minutes below nothing": (["review", "tui", "--minutes", "-1"], "--minutes"),
    "nothing to read items of": (["items"], "one of: a workbook, --responses, --difficulties"),
    "two things to read items of": (["items", BOOK, "--difficulties"], "items: found none or several"),
    "a test of no workbook": (
        ["items", "--difficulties", "--test", "unit-test"],
        "--test: found 'unit-test'",
    ),
    "an unknown test": (
        ["items", BOOK, "--test", "section-9"],
        "found 'section-9'; allowed is one of unit-test, practice-test, section-1",
    ),
    "an unknown workbook": (["items", "maths-9-01"], "workbook: found 'maths-9-01'"),
    "a file that is not there": (["items", "--responses", "no-such.csv"], "--responses: found no-such.csv"),
    "a cost of nothing": (["costs", "--failed-test", "0"], "days a failed test costs: found 0"),
    "a cost that is no number": (["costs", "--hold-day", "nan"], "days a hold day costs: found nan"),
    "a spot check without its stop": (["act", "spot-check", BOOK, "3:right"], "--stop"),
    "a spot check without a verdict": (
        ["act", "spot-check", BOOK, "3:maybe", "--stop", "section-1"],
        "answers: found '3:maybe'",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_taken_leaves_as_a_sentence(worked: Kitchen, name: str) -> None:
    words, sentence = BAD[name]
    refused(worked.run(*words), sentence)


@pytest.mark.parametrize(
    "words",
    [
        ("readiness",),
        ("readiness", "--copy", BOOK),
        ("quiz", "card", BOOK),
        ("spot", "tui"),
        ("pace", "tui"),
        ("review", "tui"),
        ("costs",),
        ("items", BOOK, "--test", "section-1"),
    ],
    ids=" ".join,
)
def test_no_percentage_stands_without_its_range(worked: Kitchen, words: tuple[str, ...]) -> None:
    bare = [line for line in worked.done(*words).out.splitlines() if re.search(r"\d ?%", line)]
    assert not [line for line in bare if "between" not in line]


def test_reading_writes_no_fact(worked: Kitchen) -> None:
    before = worked.done("history", "--json").json
    for words in (("readiness",), ("spot", "tui"), ("quiz", "card", BOOK), ("items", BOOK)):
        worked.done(*words)
    assert worked.done("history", "--json").json == before
