"""Every form of every page, found by reading the pages, takes any text: an answer, a redirect or a fault beside its field, never a crash."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

import pytest
from starlette.testclient import TestClient

from evenstand.base.clock import FixedClock
from evenstand.web.site import create_app

START = (
    "/", "/start", "/before", "/before/new", "/at-the-fill", "/at-the-fill/catch", "/at-the-fill/entry", "/after", "/after/check", "/after/tally",
    "/after/stand", "/machine", "/shed", "/shed/treat", "/shed/bins", "/proof", "/proof/history", "/-/components",
)  # fmt: skip
ALIKE = 1  # pages of one kind, such as two jobs, that are looked at
ALLOWED = {200, 303, 422}
SCRIPT = "<script>alert(1)</script>"
HOSTILE = (
    "", " ", "0", "-1", "-0", "0.0000000001", "1e308", "1e-320", "1e12", "-1e12", "nan", "inf", "--5", "9" * 400, "x" * 20_000, SCRIPT,
    "' OR 1=1 --", "../../etc/passwd", "\x00", "a\x00b", "\u202e12", "\ud7ff", "💥", "１２", "²", "1,200", "1 200,5", "12 kg", "12 ha", "12 furlongs",
    "150 %", "-3 %", "2027-02-31", "0000-00-00", "9999-12-31", "2027-05-09T25:00", "{{ 7 * 7 }}", "%s%n", "=1+1", "A=", "=A", ";;;", ":", "|",
    "a\nb\nc", "5.21; x; ;5.2", "N=80-", "<= <=", "1e5 t/ha/h", "café", "10 ± -5", "± ±", "home-wheat|Z", "|A", "120 kg/ha ± 1e400",
)  # fmt: skip
LIKELY = (
    "12",
    "3.5",
    "120 kg/ha",
    "62 ha",
    "85 %",
    "250 mm",
    "5 m",
    "2027-05-12",
    "wheat",
    "5.21; 5.17",
    "A=1.2, B=1.1",
    "7.5 km/h",
    "4000 kg",
)
NAMES = ("a.csv", "outline.geojson", "x.zip", "../../x.shp", "b\u202e.gpkg", "..", ".", "x" * 300 + ".csv", "a\x00b.csv", "CON", "%00.json")
ROUNDS = 10
SEED = 20270509


@dataclass
class Form:
    """A form as its page shows it. fields: name -> values offered, none for free text; files: names that take a file."""

    page: str
    action: str
    method: str
    kind: str = ""
    fields: dict[str, list[str]] = field(default_factory=dict)
    typed: dict[str, str] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)


class _Reader(HTMLParser):
    """Forms and links of one page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.page, self.forms, self.links, self._form, self._select, self._area = page, [], [], None, "", ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = {k: v or "" for k, v in attrs}
        if tag == "a" and got.get("href", "").startswith("/"):
            self.links.append(got["href"].partition("#")[0])
        elif tag == "form":
            self._form = Form(
                page=self.page, action=got.get("action") or self.page, method=got.get("method", "get"), kind=got.get("enctype", "")
            )
            self.forms.append(self._form)
        elif self._form is not None:
            self._field(tag, got)

    def _field(self, tag: str, got: dict[str, str]) -> None:
        form, name = self._form, got.get("name", "")
        if tag == "option" and self._select:
            form.fields[self._select].append(got.get("value", ""))
        elif not name:
            return
        elif tag == "select":
            self._select = name
            form.fields[name] = []
        elif tag == "input" and got.get("type") == "file":
            form.files.append(name)
        elif tag in {"input", "textarea", "button"}:
            form.fields.setdefault(name, [])
            form.typed[name] = got.get("value", "")
            if got.get("type") == "hidden":
                form.fields[name] = [form.typed[name]]

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        if tag == "select":
            self._select = ""


def read(site: TestClient, path: str) -> _Reader:
    reader = _Reader(path.partition("?")[0])
    reader.feed(site.get(path).text)
    return reader


def kind_of(path: str) -> str:
    """'/before/home-wheat/card' as '/before/*/card': pages of one kind have one form."""
    parts = path.partition("?")[0].split("/")
    return "/".join(
        "*" if i == 2 and parts[1] in {"before", "machine"} and part not in {"new", "outline"} else part for i, part in enumerate(parts)
    )


def pages(site: TestClient) -> list[str]:
    """Every page that the site leads to, one of each kind."""
    found, seen, waiting = [], {}, list(START)
    while waiting:
        path = waiting.pop(0)
        kind = kind_of(path)
        if path in found or seen.get(kind, 0) >= ALIKE or path.endswith("/sheets") or path.startswith("/-/static"):
            continue
        seen[kind] = seen.get(kind, 0) + 1
        found.append(path)
        waiting += [link.partition("?")[0] for link in read(site, path).links]
    return found


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Iterator[TestClient]:
    from evenstand.desk.demo import MORNING, build_book

    folder = tmp_path_factory.mktemp("fuzz") / "book"
    build_book(folder)
    app = create_app(folder, clock=FixedClock(MORNING))
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=True, follow_redirects=False) as client:
        yield client


@pytest.fixture(scope="module")
def forms(site) -> list[Form]:
    """Every form once, by where it goes."""
    found: dict[tuple[str, str, str], Form] = {}
    for path in pages(site):
        for form in read(site, path).forms:
            found.setdefault((form.method, kind_of(form.action), ",".join(sorted(form.fields))), form)
    return list(found.values())


def values(form: Form, chance: random.Random, round_number: int) -> dict[str, str]:
    """What is typed in one round: nothing; the page as it stands; hostile texts only; bare numbers of any size, and empty fields, so that the
    sums behind the form are reached; likely texts with a hostile one."""
    if round_number == 0:
        return dict.fromkeys(form.fields, "")
    as_it_stands = {name: (offered[0] if offered else form.typed.get(name, "")) for name, offered in form.fields.items()}
    if round_number == 1:
        return as_it_stands
    if round_number % 3 == 0:
        return {n: chance.choice(offered) if offered else _number(chance, form.typed.get(n, "")) for n, offered in form.fields.items()}
    out = {}
    for name, offered in form.fields.items():
        likely = chance.choice(offered) if offered else chance.choice(LIKELY)
        out[name] = chance.choice(HOSTILE) if round_number % 3 == 2 else likely
    if out:
        out[chance.choice(list(out))] = chance.choice(HOSTILE)
    return out


def _number(chance: random.Random, as_it_stands: str) -> str:
    """A number of any size, nothing, or what stands there."""
    number = f"{10 ** chance.uniform(-2, 4):.3g}" if chance.random() < 0.8 else f"{10 ** chance.uniform(-8, 12):.3g}"
    return chance.choice((as_it_stands, as_it_stands, "", number, number, number, f"{number} {number}", f"-{number}"))


def send(site: TestClient, form: Form, typed: dict[str, str], chance: random.Random):
    """The form as a browser sends it."""
    if form.method == "get":
        return site.get(form.action, params=typed)
    if form.files:
        content = chance.choice(
            (b"", b"\x00\xff" * 40, b"time,lat,lon\n1,2,3\n", b'{"type":"FeatureCollection","features":[]}', b"PK\x03\x04" + b"x" * 50)
        )
        name = chance.choice(NAMES)
        return site.post(form.action, data=typed, files={form.files[0]: (name, content)})
    return site.post(form.action, data=typed)


def test_the_forms_are_found(forms):
    kinds = {kind_of(f.action) for f in forms}
    assert len(forms) >= 18
    for path in ("/units", "/start", "/before/new", "/before/*/blend", "/at-the-fill", "/after/stand", "/machine/*/today", "/machine/outline",
                 "/shed/load", "/shed/lot", "/shed/treat", "/shed/bins", "/after/check", "/next/put-off"):  # fmt: skip
        assert path in kinds, path


def test_any_text_in_any_form_is_answered(site, forms):
    chance = random.Random(SEED)
    sent, odd = 0, []
    for form in forms:
        for round_number in range(ROUNDS):
            typed = values(form, chance, round_number)
            try:
                answer = send(site, form, typed, chance)
            except Exception as error:  # a crash is told with what was typed, and the others still get their turn
                odd.append((form.method, form.action, typed, repr(error)[:300]))
                continue
            sent += 1
            if answer.status_code not in ALLOWED:
                odd.append((form.method, form.action, typed, answer.status_code))
            assert SCRIPT not in answer.text, (form.action, typed)
            assert "Traceback" not in answer.text
    assert sent >= 200
    assert not odd, f"{len(odd)} of {sent}: " + "\n".join(
        f"{m} {a}: { ({k: v[:60] for k, v in t.items() if v}) } -> {e}" for m, a, t, e in odd[:12]
    )


def test_any_name_of_an_uploaded_file_is_answered(site):
    for path in ("/machine/outline", "/after/trail"):
        for name in NAMES:
            answer = site.post(path, data={"job": "home-wheat"}, files={"file": (name, b"time,lat,lon\n1,2,3\n")})
            assert answer.status_code in ALLOWED, (path, name)


def test_any_text_about_the_columns_of_a_log_is_answered(site):
    chance = random.Random(SEED)
    log = b"time,lat,lon,speed_km_h,rate_a\n2027-05-09T12:00:00Z,51,-105,7.5,120\n2027-05-09T12:00:01Z,51.00002,-105,7.5,121\n"
    for round_number in range(ROUNDS):
        page = site.post("/after/trail", data={"job": "home-wheat", "again": "yes"}, files={"file": ("day.csv", log)})
        reader = _Reader("/after/trail")
        reader.feed(page.text)
        form = next(f for f in reader.forms if f.action == "/after/trail/columns")
        typed = values(form, chance, round_number)
        typed["token"] = typed["token"] if round_number % 5 == 4 else form.typed["token"]
        answer = site.post(form.action, data=typed)
        assert answer.status_code in ALLOWED, typed
        assert SCRIPT not in answer.text


def test_pages_still_open_after_all_that(site, forms):
    for path in pages(site):
        answer = site.get(path)
        assert answer.status_code in {200, 303}, (path, answer.status_code)
        assert SCRIPT not in answer.text, path


def test_a_change_beyond_all_counting_is_refused(site):
    assert site.post("/proof/undo", data={"change": "9" * 40}).status_code == 422
