"""Kept calls on the site: listed with the job, and put in from a file."""

from __future__ import annotations

import html
import subprocess
import sys
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from evenstand.book import Book, Farm
from evenstand.check.calls import likely_text
from evenstand.desk.calls import calls_of
from evenstand.desk.demo import build_book
from evenstand.web.site import create_app

JOB = "eighty-wheat"


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    path = tmp_path_factory.mktemp("calls") / "kim.json"
    words = ["call", "--rate", "120", "--rate-seen", "134.5", "--caller", "Kim <b>", "--note", "Rang at noon.", "--keep", str(path)]
    subprocess.run([sys.executable, "-m", "evenstand", *words], capture_output=True, timeout=240, stdin=subprocess.DEVNULL)
    return path.read_bytes()  # the command itself ends with 1: the readings do not hold


@pytest.fixture
def folder(tmp_path):
    build_book(tmp_path / "book")
    return tmp_path / "book"


@pytest.fixture
def site(folder):
    with TestClient(create_app(folder), base_url="http://127.0.0.1") as client:
        client.headers["Origin"] = "http://127.0.0.1"
        yield client


def put(site, data, job=JOB, name="kim.json"):
    return site.post("/after/calls", data={"job": job}, files={"file": (name, data, "application/json")})


def test_a_call_is_put_in_listed_with_its_job_and_goes_in_once(folder, site, kept):
    assert "No call is kept" in site.get("/after/calls").text
    page = put(site, kept)
    assert page.status_code == 200
    assert "Kept with the book." in page.text
    with Book.open(folder) as book:
        (call,) = calls_of(book, job=JOB)
    text = html.unescape(page.text)
    for told in (call.asked, call.advice, "Rang at noon.", *likely_text(call.causes)):
        assert told in text
    assert "Kim &lt;b&gt;" in page.text
    assert "Rang at noon." in site.get(f"/after/calls?job={JOB}").text
    assert "Rang at noon." not in site.get("/after/calls?job=home-wheat").text
    again = put(site, kept)
    assert again.status_code == 422
    assert "is in the book already" in again.text


def test_what_was_said_comes_in_the_readers_units(folder, kept):
    with Book.open(folder, write=True, who="test") as book:
        book.put(replace(book.all(Farm)[0], profile="prairie"))
    with TestClient(create_app(folder), base_url="http://127.0.0.1") as site:
        site.headers["Origin"] = "http://127.0.0.1"
        text = html.unescape(put(site, kept).text)
    assert "kg/ha was asked" not in text
    assert "107 lb/ac was asked" in text  # 120 kg/ha


def test_a_call_whose_job_is_not_known_is_kept_all_the_same(folder, site, kept):
    assert put(site, kept, job="").status_code == 200
    with Book.open(folder) as book:
        (call,) = calls_of(book)
    assert (call.job, call.outfit) == ("", "")


@pytest.mark.parametrize("data", [b"", b"{}", b"[]", b"\xff\xfe", b'{"format": "other"}', b"x" * 300_000, b"[" * 5000])
def test_what_is_no_call_is_refused_beside_the_field(folder, site, data):
    page = put(site, data)
    assert page.status_code == 422
    assert 'id="e-file"' in page.text
    with Book.open(folder) as book:
        assert calls_of(book) == ()


def test_no_file_and_a_strange_job_are_told(site, kept):
    none = site.post("/after/calls", data={"job": JOB})
    assert none.status_code == 422
    assert "Choose the file" in none.text
    assert 'id="e-job"' in put(site, kept, job="nobodys").text
