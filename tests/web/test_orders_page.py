"""The orders' page: what to order when, one order or parcel in one act, the sheets; for educators alone."""

import csv
import io
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from html import unescape

import pypdfium2
import pytest
from django.http import HttpResponse
from django.test import Client

from markstead.ledger.facts import CopyOrdered, CopyReceived
from markstead.ledger.serial import read_body
from markstead.plan.wishes import SupplierWish
from markstead.records import actions, ahead, order_calls, ordering, queries
from markstead.records.home import Home
from markstead.records.models import Document, Entry
from markstead.records.plan_asks import set_wishes
from markstead.rules.steps import CallKind
from markstead.web import beside, morning, orders_page
from tests.tools.homes import PASSWORD, small_home

MONDAY = datetime(2026, 1, 12, 9, 0, tzinfo=UTC)
QUAYSIDE = "Quayside Books"


@pytest.fixture(autouse=True)
def forgetful() -> None:
    """Nothing is remembered from the test before."""
    ahead._AHEAD.clear()
    queries._SIGHTS.clear()


def text(answer: HttpResponse) -> str:
    """What is read on a page."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def look(ruth: Client, address: str = "/orders/") -> str:
    answer = ruth.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def facts(kind: type) -> list[object]:
    bodies = Entry.objects.filter(household="home").order_by("seq").values_list("body", flat=True)
    return [fact for body in bodies if isinstance(fact := read_body(body).fact, kind)]


def form(page: str, after: str = "/orders/place") -> dict[str, object]:
    """The first form of an order or a parcel as a browser would send it."""
    part = page[page.index(f'action="{after}"') :]
    part = part[: part.index("</form>")]
    sent: dict[str, object] = {
        name: unescape(value)
        for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', part)
    }
    del sent["csrfmiddlewaretoken"]
    for name in ("line", "copies"):
        boxes = re.findall(rf'name="{name}" value="([^"]*)"( checked)?', part)
        if boxes:
            sent[name] = [unescape(value) for value, ticked in boxes if ticked]
    return sent


def place(ruth: Client, **given: object) -> HttpResponse:
    return ruth.post("/orders/place", {**form(look(ruth)), **given})


# --- what to order ------------------------------------------------------------------------------------------------


class TestWhatToOrder:
    def test_it_tells_what_to_order_today_for_whom_and_for_how_much(self, ruth: Client) -> None:
        page = text(ruth.get("/orders/"))
        reading = ordering.reading_now(queries.home_of("home"), MONDAY.date())
        (due,) = [line.order for line in reading.orders if line.order.by <= MONDAY.date()]
        assert f"Order now from {QUAYSIDE}: EUR {due.total / 100:.2f} with postage." in page
        assert f"{QUAYSIDE}, today" in page
        for who in ("Asa", "Noa"):
            assert f"Counting Boats Sums 5 for {who}" in page

    def test_postage_and_what_is_missing_to_the_least_order_are_told(self, ruth: Client) -> None:
        wish = SupplierWish(QUAYSIDE, postage=395, least=10_000)
        set_wishes("home", lambda wishes: wishes.with_supplier(wish), at=MONDAY)
        page = text(ruth.get("/orders/"))
        assert "Postage EUR 3.95" in page
        assert "Missing to the least order EUR" in page
        assert "Postage EUR 3.95; least order EUR 100.00." in page

    def test_without_terms_it_says_that_none_are_entered(self, ruth: Client) -> None:
        assert "No terms are entered" in look(ruth)

    def test_a_line_that_may_come_too_late_is_told_by_name(self, ruth: Client) -> None:
        page = text(ruth.get("/orders/"))
        assert re.search(r"May come too late: [^.]*Counting Boats", page)

    def test_the_months_come_to_the_sum_below_them(self, ruth: Client) -> None:
        page = look(ruth)
        table = page[page.index('class="budget"') : page.index("</tfoot>", page.index('class="budget"'))]
        *months, whole = [float(sum_) for sum_ in re.findall(r"EUR ([\d.]+)", table)]
        assert sum(months) == pytest.approx(whole)
        assert whole > 0

    def test_with_nothing_to_order_it_says_so(self, ruth: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-04-13T09:00:00+00:00")
        page = look(ruth)
        assert "Nothing is to be ordered." in page
        assert "/orders/place" not in page

    def test_it_says_that_all_of_it_is_an_estimate_and_who_decides(self, ruth: Client) -> None:
        page = text(ruth.get("/orders/"))
        assert "All days and chances here are estimates." in page
        assert "You decide; nothing is ordered by this program." in page

    def test_a_workbook_without_a_supplier_is_told_with_what_to_do(self, monday: datetime, db: None) -> None:
        from tests.tools import homes

        bare = homes.WORKBOOKS.replace("20,20,4.20,Quayside Books\nsums,5,2", "20,20,4.20,\nsums,5,2")
        assert bare != homes.WORKBOOKS
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(homes, "PAPERS", homes.Papers(homes.RULES, bare, homes.CALENDAR))
            small_home(sign_in=True)
        client = Client()
        client.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
        page = text(client.get("/orders/"))
        assert "Without a supplier or a price" in page
        assert "Counting Boats Sums 5, for Asa and Noa now" in page

        wrong = client.post("/orders/offers", {"from": "Reed Books", "price-sums-5-01": "cheap"})
        assert wrong.status_code == 409
        assert "a price such as 6 or 6.50" in text(wrong)
        assert 'value="cheap"' in wrong.content.decode()
        assert 'value="Reed Books"' in wrong.content.decode()

        taken = client.post(
            "/orders/offers", {"from": " Reed  Books", "price-sums-5-01": "£6,5"}, follow=True
        )
        assert taken.status_code == 200
        assert "Without a supplier or a price" not in text(taken)
        book = queries.home_of("home").programme.workbook("sums-5-01")
        assert (book.supplier, book.price) == ("Reed Books", 650)
        # All else of the file is as it was.
        kept = Document.objects.filter(kind="workbooks").order_by("version").values_list("text", flat=True)
        before, after = (list(csv.DictReader(io.StringIO(one))) for one in kept)
        assert [row | {"price": "", "supplier": ""} for row in before] == [
            row | {"price": "", "supplier": ""} for row in after
        ]


@pytest.mark.parametrize(
    ("share", "se", "words"),
    [
        (0.999, 0.001, "more than 99 in 100"),
        (0.004, 0.001, "less than 1 in 100"),
        (0.75, 0.01, "about 75 in 100 (73 to 77)"),
        (0.99, 0.02, "about 99 in 100 (95 to 99)"),
        (0.01, 0.02, "about 1 in 100 (1 to 5)"),
        (0.75, 0.0, "about 75 in 100"),
        (0.75, None, "about 75 in 100"),
    ],
)
def test_a_chance_is_never_certain_and_has_its_range(share: float, se: float | None, words: str) -> None:
    assert orders_page.chance_words(share, se) == words


# --- recording an order -------------------------------------------------------------------------------------------


class TestRecordingAnOrder:
    def test_all_of_it_is_written_in_one_act_and_told_with_the_way_back(self, ruth: Client) -> None:
        sent = form(look(ruth))
        answer = ruth.post("/orders/place", {**sent, "expected": "2026-01-20"})
        assert answer.status_code == 302
        written = facts(CopyOrdered)
        lines = [str(line).split("/") for line in sent["line"]]  # type: ignore[attr-defined]
        assert len(written) == sum(int(count) for _, _, count in lines)
        assert {fact.expected for fact in written} == {date(2026, 1, 20)}  # type: ignore[attr-defined]
        assert len(set(Entry.objects.filter(kind="copy ordered").values_list("act", flat=True))) == 1
        page = ruth.get(answer["Location"])
        assert f"{len(written)} copies ordered from {QUAYSIDE}: " in text(page)
        assert re.search(r'action="/acts/[\w-]+/undo"', page.content.decode())

    def test_what_was_recorded_is_on_the_way_and_not_to_order_any_more(self, ruth: Client) -> None:
        place(ruth)
        page = look(ruth)
        assert 'id="way-h"' in page
        assert (
            "for Asa"
            not in page[page.find('id="now-h"') if 'id="now-h"' in page else 0 : page.index('id="way-h"')]
        )

    def test_a_line_without_its_tick_is_not_ordered(self, ruth: Client) -> None:
        sent = form(look(ruth))
        first, *others = sent["line"]  # type: ignore[misc]
        ruth.post("/orders/place", {**sent, "line": others})
        workbook, learner, _ = first.split("/")
        assert (workbook, learner or None) not in {(f.workbook, f.learner) for f in facts(CopyOrdered)}  # type: ignore[attr-defined]
        assert facts(CopyOrdered)

    def test_sent_twice_it_is_written_once(self, ruth: Client) -> None:
        sent = form(look(ruth))
        first, second = ruth.post("/orders/place", sent), ruth.post("/orders/place", sent)
        assert first["Location"] == second["Location"]
        assert len(set(Entry.objects.filter(kind="copy ordered").values_list("act", flat=True))) == 1

    def test_undo_takes_all_of_it_back_and_says_so(self, ruth: Client) -> None:
        answer = place(ruth)
        act = answer["Location"].partition("act=")[2]
        back = ruth.post(f"/acts/{act}/undo", {"from": "orders"})
        assert back.status_code == 302
        page = text(ruth.get(back["Location"]))
        assert "Taken back; both stay on the record" in page
        assert f"Order now from {QUAYSIDE}" in page
        again = ruth.post(f"/acts/{act}/undo", {"from": "orders"})
        assert "Taken back" in text(ruth.get(again["Location"]))

    def test_what_somebody_ordered_meanwhile_is_said_and_nothing_typed_is_lost(self, ruth: Client) -> None:
        sent = form(look(ruth))
        kept = [line for line in sent["line"] if "/asa" not in line]  # type: ignore[attr-defined]
        asa = queries.home_of("home").person("asa").id
        noa = queries.home_of("home").person("noa").id
        actions.order_copy("home", workbook="sums-5-01", learner=asa, by="ruth", at=MONDAY)
        answer = ruth.post("/orders/place", {**sent, "line": kept, "expected": "2026-01-20"})
        page = answer.content.decode()
        assert answer.status_code == 409
        assert (
            "Counting Boats (Sums 5) for Asa: found a copy that is in the house or on order already"
            in text(answer)
        )
        assert len(facts(CopyOrdered)) == 1
        assert 'name="expected" value="2026-01-20"' in page
        assert f'value="sums-5-01/{noa}/1" checked' in page

    @pytest.mark.parametrize(
        ("given", "says"),
        [
            ({"line": []}, "at least one line with its tick"),
            ({"line": ["sums-5-01"]}, "the form as it was shown"),
            ({"line": ["sums-5-01//0"]}, "the form as it was shown"),
            ({"line": ["sums-5-01//100"]}, "the form as it was shown"),
            ({"line": ["sums-5-01//²"]}, "the form as it was shown"),
            ({"line": ["sums-5-99//1"]}, "sums-5-99"),
            ({"line": ["sums-5-01/nobody/1"]}, "nobody"),
            ({"expected": "soon"}, "a day, such as"),
            ({"expected": "2026-01-09"}, "a day from 2026-01-12 on"),
            ({"token": "<script>"}, "a token that is not ours"),
        ],
    )
    def test_what_cannot_be_meant_is_refused_in_words(
        self, ruth: Client, given: dict[str, object], says: str
    ) -> None:
        answer = place(ruth, **given)
        assert answer.status_code == 409
        assert says in text(answer)
        assert facts(CopyOrdered) == []

    def test_an_act_that_is_not_there_is_passed_over(self, ruth: Client) -> None:
        assert "Recorded" not in look(ruth, "/orders/?act=never")


# --- booking in ---------------------------------------------------------------------------------------------------


class TestBookingIn:
    def test_a_parcel_is_booked_in_at_one_press(self, ruth: Client) -> None:
        place(ruth)
        sent = form(look(ruth), "/orders/receive")
        answer = ruth.post("/orders/receive", sent)
        assert [fact.copy for fact in facts(CopyReceived)] == sent["copies"]  # type: ignore[attr-defined]
        assert f"{len(facts(CopyReceived))} copies in the house now: " in text(ruth.get(answer["Location"]))

    def test_sent_twice_it_is_booked_in_once(self, ruth: Client) -> None:
        place(ruth)
        sent = form(look(ruth), "/orders/receive")
        ruth.post("/orders/receive", sent)
        assert ruth.post("/orders/receive", sent).status_code == 302
        assert len(facts(CopyReceived)) == len(sent["copies"])  # type: ignore[arg-type]

    def test_a_copy_that_somebody_booked_in_meanwhile_is_said(self, ruth: Client) -> None:
        place(ruth)
        sent = form(look(ruth), "/orders/receive")
        actions.receive_copy("home", copy=sent["copies"][0], by="ruth", at=MONDAY)  # type: ignore[index]
        answer = ruth.post("/orders/receive", sent)
        assert answer.status_code == 409
        assert "Not yet: nothing was recorded" in text(answer)
        assert "Pass with this reason" not in text(answer)
        assert len(facts(CopyReceived)) == 1

    def test_without_a_tick_nothing_is_booked_in(self, ruth: Client) -> None:
        place(ruth)
        answer = ruth.post("/orders/receive", {"token": "x1"})
        assert answer.status_code == 409
        assert "at least one copy that is on order" in text(answer)

    def test_a_late_parcel_stands_first_and_says_so(
        self, ruth: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        place(ruth, expected="2026-01-14")
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-16T09:00:00+00:00")
        page = text(ruth.get("/orders/"))
        assert "On the way 1 late" in page
        assert "Late: it should have come by 14 January 2026. Call the supplier." in page


# --- sheets -------------------------------------------------------------------------------------------------------


def links(page: str) -> Iterator[str]:
    yield from (unescape(link) for link in re.findall(r'href="(/orders/sheet\?[^"]*)"', page))


class TestSheets:
    def test_every_sheet_that_the_page_names_can_be_had(self, ruth: Client) -> None:
        place(ruth)
        found = list(links(look(ruth)))
        kinds = {ruth.get(link)["Content-Type"] for link in found}
        assert {ruth.get(link).status_code for link in found} == {200}
        assert kinds == {"application/pdf", "text/csv; charset=utf-8"}

    def test_the_csv_comes_to_the_total_of_the_page(self, ruth: Client) -> None:
        page = look(ruth)
        link = next(link for link in links(page) if "kind=csv" in link)
        answer = ruth.get(link)
        *_, total = csv.reader(io.StringIO(answer.content.decode()))
        assert f"<strong>EUR {total[-1]}</strong>" in page
        assert answer["Content-Disposition"] == 'attachment; filename="order-quayside-books-2026-01-12.csv"'

    def test_only_the_educator_s_own_copy_has_names(self, ruth: Client) -> None:
        sheets = [link for link in links(look(ruth)) if "kind=pdf" in link]
        words = {}
        for link in sheets[:2]:
            document = pypdfium2.PdfDocument(ruth.get(link).content)
            words["whose=yes" in link] = " ".join(p.get_textpage().get_text_range() for p in document)
            document.close()
        assert "Asa" not in words[False]
        assert "Asa" in words[True]

    @pytest.mark.parametrize(
        ("asked", "says"),
        [
            ("kind=doc", "one of csv, pdf"),
            ("supplier=Nobody", "a supplier with something to order: Quayside Books"),
            ("supplier=Quayside+Books&by=2020-01-01", "an order of the plan as it is now"),
            ("supplier=Quayside+Books&by=soon", "a day, such as"),
            ("supplier=Quayside+Books&ordered=2026-01-12", "copies on the way"),
            ("supplier=Quayside+Books&paper=a5", "one of a4, us-letter"),
        ],
    )
    def test_a_sheet_that_is_not_there_is_told_on_the_page(self, ruth: Client, asked: str, says: str) -> None:
        answer = ruth.get(f"/orders/sheet?{asked}")
        assert answer.status_code == 409
        assert says in text(answer)


# --- who may ------------------------------------------------------------------------------------------------------


def test_orders_are_for_educators_alone(ruth: Client) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert {tobi.get(path).status_code for path in ("/orders/", "/orders/sheet")} == {403}
    assert {tobi.post(path).status_code for path in ("/orders/place", "/orders/receive")} == {403}
    assert 'href="/orders/' not in tobi.get("/").content.decode()
    assert Client().get("/orders/").status_code == 302
    assert 'href="/orders/"' in ruth.get("/").content.decode()


# --- today's page -------------------------------------------------------------------------------------------------


class TestTodaysPage:
    def test_a_look_at_the_orders_is_what_today_s_page_calls_by(self, ruth: Client, home: Home) -> None:
        assert "Order Counting Boats" in text(ruth.get("/"))
        look(ruth)
        page = text(ruth.get("/"))
        assert "Order Counting Boats" not in page
        assert f"Order today from {QUAYSIDE}: " in page
        assert 'href="/orders/#now-h"' in ruth.get("/").content.decode()

    def test_a_late_parcel_leads_to_what_is_on_the_way(
        self, ruth: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        place(ruth, expected="2026-01-14")
        look(ruth)
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-16T09:00:00+00:00")
        page = ruth.get("/").content.decode()
        assert "should have come by 14 January 2026" in page
        assert 'href="/orders/#way-h"' in page

    def test_a_helper_is_told_and_led_nowhere(self, ruth: Client) -> None:
        look(ruth)
        tobi = Client()
        tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
        page = tobi.get("/").content.decode()
        assert f"Order today from {QUAYSIDE}" in page
        assert "/orders/" not in page

    def test_once_recorded_the_call_goes(self, ruth: Client) -> None:
        place(ruth)
        page = queries.today("home", now=MONDAY + timedelta(minutes=1))
        assert not [c for c in page.calls if c.kind is CallKind.ORDER and "today" in c.what]


class TestANewDay:
    """Of a home with an order plan the orders are planned anew in the morning, beside the server."""

    @pytest.fixture
    def begun(self, monkeypatch: pytest.MonkeyPatch, settings: object) -> list[list[str]]:
        """The commands that would be begun beside the server."""
        settings.PLANS_IN_A_PROCESS = True  # type: ignore[attr-defined]
        morning._LOOKED.clear()
        commands: list[list[str]] = []

        class Worker:
            def __init__(self, words: list[str], **_: object) -> None:
                commands.append(words)

            def poll(self) -> int:
                return 0

        monkeypatch.setattr(beside.subprocess, "Popen", Worker)
        return commands

    def test_the_first_look_of_a_day_begins_it_and_the_second_does_not(
        self, ruth: Client, begun: list[list[str]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        look(ruth)
        ruth.get("/")
        assert begun == []  # they are of today
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-13T09:00:00+00:00")
        ruth.get("/")
        ruth.get("/")
        assert [words[-3:] for words in begun] == [["--household", "home", "orders"]]

    def test_without_an_order_plan_none_is_begun(self, ruth: Client, begun: list[list[str]]) -> None:
        ruth.get("/")
        assert order_calls.kept_text("home") is None
        assert begun == []

    def test_where_no_process_can_be_begun_the_page_is_there_all_the_same(
        self, ruth: Client, begun: list[list[str]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        look(ruth)
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-13T09:00:00+00:00")

        def fails(*_: object, **__: object) -> None:
            raise OSError(11, "no more processes")

        monkeypatch.setattr(beside.subprocess, "Popen", fails)
        assert ruth.get("/").status_code == 200
