"""Loads as a command, a page and a sheet: the same lines in all three; orders from entry to closed."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from evenstand.base.clock import FixedClock
from evenstand.book import Book
from evenstand.desk.demo import JOB, MORNING, build_book
from evenstand.desk.loads import shed, shed_findings
from evenstand.desk.truck import truck_run
from evenstand.model import Fill, Load, Order
from evenstand.paper.shed import shed_data, shed_pdf
from evenstand.web.site import create_app


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("loads") / "book"
    build_book(folder)
    return folder


@pytest.fixture
def book(made, tmp_path):
    shutil.copytree(made, tmp_path / "book")
    return tmp_path / "book"


def evening() -> FixedClock:
    clock = FixedClock(MORNING)
    clock.advance(hours=10)
    return clock


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "evenstand", *arguments], capture_output=True, text=True, timeout=240, stdin=subprocess.DEVNULL
    )


def doubled(folder) -> None:
    with Book.open(folder, write=True, clock=evening()) as book:
        twin = replace(
            book.get(Fill, "eighty-2"), key="eighty-2b", at="2027-05-03T15:24:00.000Z", level_before_kg=None, level_before_sd_kg=None
        )
        book.put(twin)


def test_the_demo_farm_agrees_and_its_one_ticket_is_split_over_three_fills(book):
    with Book.open(book) as opened:
        wheat = next(p for p in shed(opened).products if p.key == "wheat")
        assert shed_findings(opened) == ()
    ticket = next(t for t in wheat.tickets if "4107" in t.title)
    fills = [p for p in ticket.parts if "fill" in p.what]
    assert len(fills) == 3
    assert sum(p.span.value_kg for p in fills) == pytest.approx(4320, abs=60)
    assert wheat.findings[0].state == "holds" and "agree" in wheat.findings[0].claim


def test_a_fill_entered_twice_is_told_alike_by_command_page_and_sheet(book):
    doubled(book)
    ran = run("book", "loads", str(book), "--product", "wheat", "--json")
    assert ran.returncode == 1
    claim = json.loads(ran.stdout)["products"][0]["findings"][0]["claim"]
    assert "entered twice" in claim
    with Book.open(book) as opened:
        sheet = shed_data(shed(opened), truck_run(opened, JOB), farm="F", made_at="2027-05-09T12:00", profile="si")
    assert claim in sheet["doubts"]
    with TestClient(create_app(book, clock=evening()), base_url="http://127.0.0.1") as client:
        assert claim in client.get("/shed").text


def test_the_sheet_lists_the_stops_of_a_job_and_is_one_page(book):
    with Book.open(book) as opened:
        for profile in ("si", "us"):
            made, run_of = shed(opened, profile=profile), truck_run(opened, JOB, profile=profile)
            assert run_of.stops and run_of.totals
            pdf = shed_pdf(made, run_of, farm="F", made_at="2027-05-09T12:00", profile=profile)
            assert pdf[:5] == b"%PDF-"
            if shutil.which("pdfinfo"):
                told = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
                assert "Pages:           1" in told


def test_orders_are_kept_counted_and_closed_on_the_site(book):
    with TestClient(create_app(book, clock=evening()), base_url="http://127.0.0.1") as client:
        wrong = client.post("/shed/orders", data={"product": "urea", "quantity": "", "supplier": "x"})
        assert wrong.status_code == 422 and "Ordered is needed" in wrong.text
        assert client.post("/shed/orders", data={"product": "urea", "quantity": "12 parsecs"}).status_code == 422
        kept = client.post(
            "/shed/orders", data={"product": "urea", "quantity": "40 t", "supplier": "<b>Co-op</b>", "wanted_by": "2027-05-12"}
        )
        assert "40.00 t" in kept.text and "&lt;b&gt;Co-op" in kept.text
        page = client.get("/shed").text
        assert "Order it belongs to" in page
        with_order = client.post(
            "/shed/load",
            data={"kind": "delivery", "product": "urea", "mass": "15 t", "how": "ticket", "ticket": "9", "order": key_of(page)},
        )
        assert with_order.status_code == 200
        assert "25.00 t" in client.get("/shed/orders").text
        closed = client.post("/shed/orders/close", data={"order": key_of(page)})
        assert "no more to come" in closed.text
        assert client.post("/shed/orders/close", data={"order": "moon"}).status_code == 422
    with Book.open(book) as opened:
        assert [o.closed_at != "" for o in opened.all(Order)] == [True]


def key_of(page: str) -> str:
    return page.split('name="order"')[1].split('value="')[2].split('"')[0]


def test_nothing_left_over_is_a_number_and_a_choice_that_was_not_offered_is_not_taken(book):
    with TestClient(create_app(book, clock=evening()), base_url="http://127.0.0.1") as client:
        kept = client.post(
            "/shed/load", data={"kind": "left-over", "product": "wheat", "mass": "0", "how": "glance", "load_lot": "wheat-1"}
        )
        assert kept.status_code == 200, kept.text
        forged = client.post("/shed/load", data={"kind": "truck", "product": "wheat", "mass": "1 t", "how": "ticket", "part_of": "moon"})
        assert forged.status_code == 200
    with Book.open(book) as opened:
        loads = {x.kind: x for x in opened.all(Load)}
        assert loads["left-over"].mass_kg == 0.0 and loads["left-over"].lot == "wheat-1"
        assert loads["truck"].part_of == ""


def test_an_unknown_product_is_named_with_those_there_are(book):
    ran = run("book", "loads", str(book), "--product", "moon dust")
    assert ran.returncode == 2 and "wheat" in ran.stderr
