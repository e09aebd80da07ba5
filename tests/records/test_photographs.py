"""From a printed sheet and a picture of it to the record: one act, the same gates, and a sentence for everything else."""

import hashlib
import hmac
import stat
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest
from django.conf import LazySettings

from markstead.errors import InputError, UnknownError
from markstead.ledger import facts as f
from markstead.ledger.facts import Presence
from markstead.paper.layout import Kind, Sheet, read_sheet, write_sheet
from markstead.paper.read import Why
from markstead.records import actions as a
from markstead.records import paper_key, photographs, plans, printing, queries, samples
from markstead.records.models import PaperPage, PaperSheet, Sample
from markstead.records.paper_day import DayDone
from markstead.records.plans import Effort
from markstead.rules.bars import BarKind as B
from markstead.rules.standing import Cycle
from tests.paper.cast import OTHER_KEY
from tests.paper.scans import scan
from tests.records.house import House, at, entries, standing

MONDAY = date(2026, 1, 12)
MORNING = at("2026-01-12 08:20")
EVENING = at("2026-01-12 18:30")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: LazySettings) -> Path:
    """A home's folder of its own: for the key and for pictures."""
    settings.HOME = tmp_path
    return tmp_path


@pytest.fixture
def begun(house: House) -> str:
    """Asa's copy, begun early on Monday."""
    return house.bring("begun")


def printed(house: House, *kinds: str, learner: str | None = "asa", day: date = MONDAY) -> Sheet:
    """Print one sheet; what the reader keeps of it."""
    before = set(PaperSheet.objects.values_list("id", flat=True))
    printing.print_sheets(
        house.id, day=day, by="ruth", now=MORNING, kinds=kinds or ("day",), learner=learner, paper="a4"
    )
    rows = PaperSheet.objects.filter(household=house.id).order_by("-printed", "-pk")
    row = rows.exclude(id__in=before).first() or rows.first()
    assert row is not None
    return read_sheet(row.layout)


def taken(
    house: House, sheet: Sheet, *marked: str, half: Sequence[str] = (), page: int = 1
) -> photographs.Taken:
    content = scan(sheet, paper_key.key_of(house.id), marked, half=half, page=page)
    return photographs.take_in(house.id, "photo.png", content, by="ruth", now=EVENING)


def record(house: House, sheet: Sheet, *, partly: bool = False, keep: bool = False) -> DayDone:
    read = photographs.sheet_read(house.id, sheet.id)
    return photographs.record(
        house.id, sheet.id, read.marked, by="ruth", now=EVENING, partly=partly, keep=keep
    )


def wrote(done: DayDone) -> list[f.AnyFact]:
    assert done.done is not None, done.refused
    return [entry.fact for entry in done.done.entries]


def whys(found: photographs.Taken) -> list[Why]:
    return [refusal.why for refusal in found.refusals]


class TestTheDay:
    def test_a_filled_sheet_is_the_day_that_somebody_would_have_typed(self, house: House, begun: str) -> None:
        stop = house.home.programme.workbook("maths-5-01").stops[0]
        sheet = printed(house)
        pages = [f"{begun}/pages/{n}" for n in range(1, stop.last + 1)]
        key = f"{begun}/{stop.id}"
        found = taken(
            house, sheet, "day/presence/full day", *pages, f"{begun}/minutes/40", f"{begun}/helped/yes",
            f"{key}/wrong/3", f"{key}/wrong/7", f"{key}/cleared/yes", f"{begun}/wants/yes",
        )  # fmt: skip

        assert [(p.page, p.unsure, p.marked) for p in found.pages] == [(1, 0, len(pages) + 7)]
        assert wrote(record(house, sheet)) == [
            f.PagesWorked(begun, MONDAY, 1, stop.last, 40),
            f.LeaveGiven(begun, f.Step.MARK, stop.id),
            f.FirstMarking(begun, stop.id, stop.questions, (3, 7)),
            f.HelpGiven(begun),
            f.Corrected(begun, stop.id),
            f.LeaveGiven(begun, f.Step.REMARK, stop.id),
            f.ReMarked(begun, stop.id),
            f.HelpAsked(begun),
            f.AttendanceTaken(house.person("asa"), MONDAY, Presence.FULL),
        ]
        assert standing(begun).stop(stop.id).cycle is Cycle.CLEARED

    def test_it_is_one_act_and_the_same_picture_again_changes_nothing(self, house: House, begun: str) -> None:
        sheet = printed(house)
        marks = (f"{begun}/pages/1", f"{begun}/minutes/10")
        taken(house, sheet, *marks)
        done = record(house, sheet)
        before = entries()

        again = taken(house, sheet, *marks)

        assert len({entry.act for entry in before if entry.seq in {e.seq for e in done.done.entries}}) == 1  # type: ignore[union-attr]
        assert whys(again) == [Why.ALREADY_READ]
        assert "on the record already, since 18:30 on Monday 12 January 2026" in again.refusals[0].sentence
        assert photographs.record(house.id, sheet.id, frozenset(), by="ruth", now=EVENING).done.again  # type: ignore[union-attr]
        assert entries() == before
        assert not PaperPage.objects.exists()

    def test_a_sheet_whose_act_was_taken_back_may_be_read_anew(self, house: House, begun: str) -> None:
        sheet = printed(house)
        taken(house, sheet, f"{begun}/pages/1")
        first = record(house, sheet)
        assert first.done is not None
        a.undo(house.id, act=first.done.act, by="ruth", at=EVENING + timedelta(minutes=1))

        taken(house, sheet, f"{begun}/pages/1", f"{begun}/pages/2")
        second = record(house, sheet)

        assert standing(begun).pages == {1, 2}
        assert second.done is not None
        assert second.done.act != first.done.act

    def test_all_done_alone_means_the_goal(self, house: House, begun: str) -> None:
        house.do(a.set_goal, copy=begun, first=1, last=3, day=MONDAY)
        sheet = printed(house)
        taken(house, sheet, f"{begun}/all done/1-3")
        outlook = photographs.look(
            house.id, sheet.id, photographs.sheet_read(house.id, sheet.id).marked, by="ruth", now=EVENING
        )

        assert [try_.facts for try_ in outlook.tries] == [("Pages 1-3 worked",)]
        assert any("no page is" in doubt for doubt in outlook.doubts)
        record(house, sheet)
        assert standing(begun).pages == {1, 2, 3}

    def test_a_box_that_nobody_can_be_sure_of_waits_for_a_person(self, house: House, begun: str) -> None:
        sheet = printed(house)
        found = taken(house, sheet, f"{begun}/pages/1", half=[f"{begun}/pages/2"])
        read = photographs.sheet_read(house.id, sheet.id)

        assert [page.unsure for page in found.pages] == [1]
        assert [photographs.box_words(read, box.id) for box in read.unsure] == [
            "Mathematics 5: pages done, page 2"
        ]
        photographs.record(house.id, sheet.id, read.marked | {read.unsure[0].id}, by="ruth", now=EVENING)
        assert standing(begun).pages == {1, 2}

    def test_a_strip_shows_the_box_that_is_unsure(self, house: House, begun: str) -> None:
        """Cut by hand from the scan: 22 % of its inside is dark."""
        sheet = printed(house)
        box = f"{begun}/pages/2"
        taken(house, sheet, half=[box])
        cut = photographs.strips(photographs.sheet_read(house.id, sheet.id), {"one": [box]}, margin=0.0)[
            "one"
        ]
        grey = cv2.imdecode(np.frombuffer(cut, np.uint8), cv2.IMREAD_GRAYSCALE)
        inside = grey[-20:-3, 3:-3]

        assert 0.1 < float((inside < 120).mean()) < 0.4


class TestShutGates:
    def test_a_learner_who_was_away_and_at_work_is_neither(self, house: House, begun: str) -> None:
        noas = house.bring("begun", learner="noa", workbook="maths-9-01")
        other = printed(house, learner="noa")
        before = len(entries())
        taken(house, other, f"{noas}/pages/1")
        read = photographs.sheet_read(house.id, other.id)
        marked = read.marked | {"day/presence/absent"}
        refused = photographs.record(house.id, other.id, marked, by="ruth", now=EVENING)

        assert refused.done is None
        assert any("absent" in line for one in refused.refused for line in one.says)
        assert len(entries()) == before

    def test_a_gate_that_is_shut_names_its_bar_and_the_rest_can_be_recorded(
        self, house: House, begun: str
    ) -> None:
        stop = house.home.programme.workbook("maths-5-01").stops[0]
        reading = house.bring("begun", workbook="reading-5-01")
        sheet = printed(house)
        # Marked without having been worked: the gate of the marking stop.
        marks = [f"{begun}/{stop.id}/right/yes", f"{reading}/pages/1", f"{reading}/minutes/15"]
        taken(house, sheet, *marks)
        before = len(entries())

        nothing = record(house, sheet)
        assert nothing.done is None
        assert [bar.kind for one in nothing.refused for bar in one.bars] == [B.PAGES_LEFT]
        assert len(entries()) == before

        rest = record(house, sheet, partly=True)
        assert [type(fact) for fact in wrote(rest)] == [f.PagesWorked]
        assert [one.where for one in rest.refused] == [begun]

    def test_boxes_that_contradict_one_another_are_not_recorded(self, house: House, begun: str) -> None:
        sheet = printed(house)
        taken(house, sheet, f"{begun}/pages/1", f"{begun}/pages/3", f"{begun}/minutes/10")

        done = record(house, sheet)

        assert done.done is None
        assert [one.says for one in done.refused] == [
            ("Mathematics 5: pages done: there is a gap between the pages (1, 3).",)
        ]
        assert record(house, sheet, partly=True).done is None
        assert standing(begun).pages == frozenset()

    def test_an_empty_sheet_is_not_recorded(self, house: House, begun: str) -> None:
        sheet = printed(house)
        taken(house, sheet)

        with pytest.raises(InputError, match="nothing marked"):
            record(house, sheet)

    def test_a_day_to_come_is_not_recorded(self, house: House, begun: str) -> None:
        sheet = printed(house, day=MONDAY + timedelta(days=1))
        taken(house, sheet, f"{begun}/pages/1")

        with pytest.raises(InputError, match="today or an earlier day"):
            record(house, sheet)

    def test_a_learner_prints_and_sends_nothing(self, house: House, begun: str) -> None:
        sheet = printed(house)
        with pytest.raises(InputError, match="an educator or a helper"):
            printing.print_sheets(house.id, day=MONDAY, by="asa", now=MORNING)
        with pytest.raises(InputError, match="an educator or a helper"):
            photographs.take_in(house.id, "p", scan(sheet, paper_key.key_of(house.id)), by="asa", now=EVENING)


class TestWhatIsRefused:
    """A clear sentence, and nothing waits or is recorded."""

    def after(self, found: photographs.Taken, why: Why, words: str) -> None:
        assert whys(found) == [why]
        assert words in found.refusals[0].sentence
        assert found.pages == ()
        assert not PaperPage.objects.exists()

    def test_a_sheet_of_another_home(self, house: House, begun: str, next_door: House) -> None:
        sheet = printed(house)
        content = scan(sheet, paper_key.key_of(house.id))
        found = photographs.take_in(next_door.id, "photo.png", content, by="mallory", now=EVENING)

        self.after(found, Why.FOREIGN, "not signed with this home's key")

    def test_a_forged_id(self, house: House, begun: str) -> None:
        content = scan(printed(house), OTHER_KEY)
        found = photographs.take_in(house.id, "photo.png", content, by="ruth", now=EVENING)

        self.after(found, Why.FOREIGN, "not signed with this home's key")

    def test_a_sheet_that_is_forgotten(self, house: House, begun: str) -> None:
        sheet = printed(house)
        PaperSheet.objects.all().delete()

        self.after(taken(house, sheet), Why.UNKNOWN, "older than 60 days")

    def test_a_layout_that_is_not_the_printed_one(self, house: House, begun: str) -> None:
        sheet = printed(house)
        boxes = sheet.pages[0].boxes
        page = replace(sheet.pages[0], boxes=(replace(boxes[0], x=boxes[0].x + 0.1), *boxes[1:]))
        PaperSheet.objects.update(layout=write_sheet(replace(sheet, pages=(page,))))

        self.after(taken(house, sheet), Why.OLDER, "older layout")

    def test_a_layout_of_an_older_program(self, house: House, begun: str) -> None:
        sheet = printed(house)
        PaperSheet.objects.update(layout=write_sheet(sheet).replace('"version":1', '"version":0'))

        self.after(taken(house, sheet), Why.OLDER, "older Markstead")

    def test_half_a_sheet(self, house: House, begun: str) -> None:
        whole = scan(printed(house), paper_key.key_of(house.id))
        grey = cv2.imdecode(np.frombuffer(whole, np.uint8), cv2.IMREAD_GRAYSCALE)
        half = cv2.imencode(".png", grey[: len(grey) // 2])[1].tobytes()
        found = photographs.take_in(house.id, "photo.png", half, by="ruth", now=EVENING)

        self.after(found, Why.PART, "Only 2 corner markers")

    def test_a_second_print_of_the_same_day(self, house: House, begun: str) -> None:
        """Two sheets of one learner in one evening: the first waits, the second is named."""
        first = printed(house)
        house.do(a.set_goal, copy=begun, first=1, last=2, day=MONDAY)
        second = printed(house)
        assert first.id != second.id

        taken(house, first, f"{begun}/pages/1")
        found = taken(house, second, f"{begun}/pages/1")

        assert whys(found) == [Why.SECOND]
        assert [row.sheet_id for row in PaperPage.objects.all()] == [first.id]
        photographs.put_aside(house.id, first.id)
        assert whys(taken(house, second, f"{begun}/pages/1")) == []

    def test_two_prints_of_one_day_in_one_picture(self, house: House, begun: str) -> None:
        first = printed(house)
        house.do(a.set_goal, copy=begun, first=1, last=2, day=MONDAY)
        key = paper_key.key_of(house.id)
        both = [
            cv2.imdecode(np.frombuffer(scan(sheet, key), np.uint8), cv2.IMREAD_GRAYSCALE)
            for sheet in (first, printed(house))
        ]
        content = cv2.imencode(".png", np.hstack(both))[1].tobytes()
        found = photographs.take_in(house.id, "photo.png", content, by="ruth", now=EVENING)

        assert whys(found) == [Why.SECOND]
        assert "a second print of it" in found.refusals[0].sentence
        assert PaperPage.objects.count() == 1

    def test_what_is_no_picture(self, house: House, folder: Path) -> None:
        with pytest.raises(InputError, match="not an image"):
            photographs.take_in(house.id, "diary.txt", b"dear diary" * 9, by="ruth", now=EVENING)
        assert not (folder / paper_key.PICTURES).exists()

    def test_a_sheet_that_does_not_wait(self, house: House, begun: str) -> None:
        with pytest.raises(UnknownError, match="Send a picture"):
            photographs.sheet_read(house.id, printed(house).id)


class TestWhatHasChanged:
    def test_work_recorded_since_it_was_printed_is_shown(self, house: House, begun: str) -> None:
        sheet = printed(house)
        house.until("2026-01-12 10:00")
        house.do(a.work_pages, copy=begun, first=1, last=2, minutes=20)
        taken(house, sheet, f"{begun}/pages/1", f"{begun}/pages/2")

        (note,) = photographs.sheet_read(house.id, sheet.id).notes
        assert "Pages 1-2 worked in 20 min (10:01). Look whether it is the same work." in note

    def test_a_plan_that_was_changed_says_so(self, house: House, begun: str) -> None:
        ruth = house.person("ruth")
        kept = plans.plan_now(house.id, by=ruth, now=MORNING, clock=lambda: MORNING, effort=Effort.ANEW)
        plans.take(house.id, kept.number, now=MORNING)
        sheet = printed(house)
        home = queries.home_of(house.id)
        goal = plans.in_force(home).goals(MONDAY)[house.person("asa"), "maths-5"]  # type: ignore[union-attr]
        hand = plans.by_hand(
            home, learner=house.person("asa"), course="maths-5", day=MONDAY, last=(goal.last or 1) + 1
        )
        changed = plans.plan_now(house.id, by=ruth, now=MORNING, clock=lambda: MORNING, by_hand=hand)
        plans.take(house.id, changed.number, now=MORNING)
        taken(house, sheet, f"{begun}/pages/1")

        notes = photographs.sheet_read(house.id, sheet.id).notes
        assert any(
            f"Mathematics 5 is now pages 1 to {(goal.last or 1) + 1}, on the sheet it is pages 1 to {goal.last}"
            in note
            for note in notes
        )


class TestPrinting:
    def test_printed_again_unchanged_it_is_the_same_sheet(self, house: House, begun: str) -> None:
        def again() -> bytes:
            return printing.print_sheets(house.id, day=MONDAY, by="ruth", now=MORNING, learner="asa").content

        first = again()
        assert again() == first
        sheet = read_sheet(PaperSheet.objects.get().layout)
        taken(house, sheet, f"{begun}/pages/1")
        record(house, sheet)
        again()
        assert PaperSheet.objects.count() == 2

    def test_sheets_too_old_to_be_read_are_forgotten_with_their_pictures(
        self, house: House, begun: str, folder: Path
    ) -> None:
        sheet = printed(house)
        taken(house, sheet, f"{begun}/pages/1")
        assert len(list((folder / paper_key.PICTURES).iterdir())) == 1

        printing.print_sheets(house.id, day=MONDAY + timedelta(days=61), by="ruth", now=EVENING)

        assert not PaperSheet.objects.filter(id=sheet.id).exists()
        assert list((folder / paper_key.PICTURES).iterdir()) == []

    @pytest.mark.parametrize(
        ("asked", "words"),
        [
            ({"kinds": ("poster",)}, "one of day, sitting, marking, week, road"),
            ({"paper": "a3"}, "one of a4, us-letter"),
            ({"kinds": ("week",)}, "no plan is in force"),
            ({"kinds": ("sitting",)}, "nobody may sit"),
        ],
    )
    def test_what_cannot_be_printed_gets_a_sentence(
        self, house: House, begun: str, asked: dict[str, object], words: str
    ) -> None:
        with pytest.raises(InputError, match=words):
            printing.print_sheets(house.id, day=MONDAY, by="ruth", now=MORNING, **asked)  # type: ignore[arg-type]

    def test_what_waits_to_be_marked_stands_on_the_marking_sheet(self, house: House) -> None:
        copy = house.bring("worked")
        stop = house.home.programme.workbook("maths-5-01").stops[0]
        sheet = printed(house, "marking", learner=None)
        taken(house, sheet, f"{copy}/{stop.id}/refused/yes")

        done = wrote(record(house, sheet))

        assert [type(fact) for fact in done] == [f.LeaveAsked, f.LeaveRefused]
        assert (
            queries.words(house.id, done[1].reason)
            == "Sent back on the marking sheet: look through it again."
        )  # type: ignore[union-attr]

    def test_a_re_marking_asks_about_what_was_wrong_only(self, house: House) -> None:
        copy = house.bring("corrected")
        sheet = printed(house, "marking")
        wrong = [box.value for page in sheet.pages for box in page.boxes if box.group.endswith("/wrong")]
        stop = house.home.programme.workbook("maths-5-01").stops[0].id
        assert wrong == ["3", "7"]
        taken(house, sheet, f"{copy}/{stop}/wrong/7")

        assert wrote(record(house, sheet))[-1] == f.ReMarked(copy, stop, (7,))

    def test_a_sitting_sheet_records_that_it_was_sat_and_marked(self, house: House) -> None:
        """Ready on Monday, so it may be sat from Tuesday on; 20 questions, 3 wrong."""
        copy = house.bring("ready")
        day = house.home.calendar.next_school_day(house.clock.date())
        sheet = printed(house, "sitting", day=day)
        assert sheet.kind is Kind.SITTING
        marks = (
            f"{copy}/aids/pencil", f"{copy}/aids/ruler", f"{copy}/watcher/{house.person('ruth')}",
            *(f"{copy}/unit/wrong/{n}" for n in (2, 5, 11)),
        )  # fmt: skip
        content = scan(sheet, paper_key.key_of(house.id), marks)
        evening = at(f"{day} 18:00")
        photographs.take_in(house.id, "photo.png", content, by="ruth", now=evening)
        read = photographs.sheet_read(house.id, sheet.id)
        done = photographs.record(house.id, sheet.id, read.marked, by="ruth", now=evening)

        asked = house.home.programme.workbook("maths-5-01").unit_questions
        sat, scored = wrote(done)
        assert sat == f.UnitTestSat(copy, 1, day, ("pencil", "ruler"), house.person("ruth"))
        assert isinstance(scored, f.UnitTestScored)
        assert (scored.right, scored.wrong) == (asked - 3, (2, 5, 11))

    def test_a_sheet_of_two_pages_waits_for_its_second(self, house: House) -> None:
        for course in ("maths-5", "reading-5"):
            house.bring("begun", workbook=f"{course}-01")
        sheet = printed(house)
        if len(sheet.pages) == 1:  # the sample's sheets fit one page: part it by hand
            first, second = sheet.pages[0].boxes[:-9], sheet.pages[0].boxes[-9:]
            pages = (replace(sheet.pages[0], boxes=first), replace(sheet.pages[0], number=2, boxes=second))
            sheet = replace(sheet, pages=pages)
            PaperSheet.objects.update(layout=write_sheet(sheet))
        taken(house, sheet, sheet.pages[0].boxes[4].id)
        assert photographs.sheet_read(house.id, sheet.id).missing == (2,)

        taken(house, sheet, page=2)
        assert photographs.sheet_read(house.id, sheet.id).missing == ()


class TestPictures:
    def test_a_picture_is_removed_when_the_sheet_is_recorded(
        self, house: House, begun: str, folder: Path
    ) -> None:
        sheet = printed(house)
        taken(house, sheet, f"{begun}/pages/1")
        record(house, sheet)

        assert list((folder / paper_key.PICTURES).iterdir()) == []

    def test_a_picture_waits_under_its_hash_and_is_kept_as_a_sample_of_the_learners_work(
        self, house: House, begun: str, folder: Path
    ) -> None:
        sheet = printed(house)
        content = scan(sheet, paper_key.key_of(house.id), [f"{begun}/pages/1"])
        photographs.take_in(house.id, "photo.png", content, by="ruth", now=EVENING)
        name = f"{hashlib.sha256(content).hexdigest()}.png"
        assert [file.name for file in (folder / paper_key.PICTURES).iterdir()] == [name]
        assert stat.S_IMODE((folder / paper_key.PICTURES / name).stat().st_mode) == 0o600

        record(house, sheet, keep=True)

        (kept,) = samples.samples_of(house.home, learner="asa")
        assert (kept.day, kept.words, kept.kind) == (MONDAY, "Day sheet", "image/png")
        assert samples.path_of(kept.digest, kept.kind).stat().st_size == kept.size
        assert list((folder / paper_key.PICTURES).iterdir()) == []

    def test_of_a_picture_of_two_sheets_the_learners_own_is_cut_out(self, house: House, begun: str) -> None:
        house.bring("begun", learner="noa", workbook="maths-9-01")
        own, other = printed(house), printed(house, learner="noa")
        key = paper_key.key_of(house.id)
        both = cv2.vconcat(
            [
                cv2.imdecode(np.frombuffer(scan(one, key, marks), np.uint8), cv2.IMREAD_GRAYSCALE)
                for one, marks in ((own, [f"{begun}/pages/1"]), (other, []))
            ]
        )
        photographs.take_in(
            house.id, "two.png", cv2.imencode(".png", both)[1].tobytes(), by="ruth", now=EVENING
        )
        record(house, own, keep=True)

        (kept,) = samples.samples_of(house.home)
        assert kept.learner == house.person("asa")
        assert (kept.width, kept.height) == (210 * photographs.FLAT_PER_MM, 297 * photographs.FLAT_PER_MM)

    def test_the_picture_of_a_sheet_of_several_learners_is_not_kept_as_a_sample(self, house: House) -> None:
        copies = [house.bring("asked"), house.bring("asked", learner="noa", workbook="maths-9-01")]
        sheet = printed(house, "marking", learner=None)
        box = next(
            one.id for one in sheet.pages[0].boxes if copies[0] in one.id and one.id.endswith("right/yes")
        )
        taken(house, sheet, box)

        with pytest.raises(InputError, match="marking sheet of everybody; allowed is that of one learner's"):
            record(house, sheet, keep=True)

        assert not Sample.objects.exists()
        record(house, sheet)


class TestTheKey:
    def test_it_lies_beside_the_record_and_for_nobody_else_to_read(self, folder: Path, db: None) -> None:
        key = paper_key.key_of("home")
        path = folder / paper_key.FILE
        master = bytes.fromhex(path.read_text().strip())

        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert len(master) == 32
        assert key == hmac.digest(master, b"household\0home", "sha256")
        assert paper_key.key_of("home") == key != paper_key.key_of("away")

    def test_a_damaged_key_is_said(self, folder: Path, db: None) -> None:
        (folder / paper_key.FILE).write_text("no key")
        with pytest.raises(InputError, match="64 hexadecimal digits"):
            paper_key.key_of("home")
