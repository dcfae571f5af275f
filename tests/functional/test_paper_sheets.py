"""The sheets as PDFs: what stands on them, how large, in black alone, tagged; unknown is a line to write on, never 0."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
from pathlib import Path

import pytest

import sheet_farm
from evenstand.base.errors import InputError
from evenstand.base.units import PROFILES, Profile
from evenstand.desk.sheets import SheetContext, believable, use_table
from evenstand.model import BinPlan
from evenstand.paper import KEYS, SHEETS, sheet_pdf, write_sheets
from evenstand.paper.wording import figures

FULL_SIZE = {"si": (595.3, 841.9), "prairie": (612, 792), "us": (612, 792)}


def context(profile: Profile = "si") -> SheetContext:
    """The invented job with all that is known of it."""
    return SheetContext(
        farm="Stonefield Farm", job=sheet_farm.job(), plan=sheet_farm.plan(), outfit=sheet_farm.outfit(), products=sheet_farm.products(),
        lots=sheet_farm.lots(), boundary=sheet_farm.boundary(), profile=profile, made_at="2027-05-04T06:10:00.000Z", who="K. Berg",
    )  # fmt: skip


def bare(profile: Profile = "si") -> SheetContext:
    """Five typed values and nothing else."""
    job = dataclasses.replace(sheet_farm.job(), field_key="", season=0, depth_m=None)
    return SheetContext(farm="", job=job, plan=sheet_farm.bare_plan(), profile=profile)


def _tool(name: str) -> str:
    path = shutil.which(name)
    if path is None:
        pytest.skip(f"NOT RUN HERE: {name} (poppler-utils)")
    return path


def _text(pdf: bytes, folder: Path, *, order: str = "-layout") -> str:
    path = folder / "sheet.pdf"
    path.write_bytes(pdf)
    made = subprocess.run([_tool("pdftotext"), order, str(path), "-"], capture_output=True, text=True, check=True)
    return made.stdout.replace("\u00a0", " ")


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("key", [sheet.key for sheet in SHEETS])
def test_every_sheet_is_tagged_titled_and_on_the_paper_of_its_profile(key: str, profile: Profile, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheet_pdf(context(profile), key))
    made = subprocess.run([_tool("pdfinfo"), str(path)], capture_output=True, text=True, check=True).stdout
    assert re.search(r"^Tagged:\s+yes", made, re.M)
    assert re.search(r"^Title:\s+\S", made, re.M)
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", made)
    assert size is not None
    assert sorted((float(size[1]), float(size[2]))) == pytest.approx(sorted(FULL_SIZE[profile]), abs=0.5)
    assert b"pdfuaid:part" in path.read_bytes()


def test_the_shipped_face_is_in_the_file_and_no_other_for_words(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    for key in ("cab-sheet", "fill-slip"):
        path.write_bytes(sheet_pdf(context(), key))
        made = subprocess.run([_tool("pdffonts"), str(path)], capture_output=True, text=True, check=True).stdout
        names = {line.split()[0].split("+")[-1] for line in made.splitlines()[2:]}
        assert names == {"AtkinsonHyperlegibleNext-Regular", "AtkinsonHyperlegibleNext-Bold"}


@pytest.mark.parametrize("key", [sheet.key for sheet in SHEETS])
def test_text_is_large_enough_for_arms_length(key: str, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheet_pdf(context(), key))
    page = tmp_path / "page.html"
    subprocess.run([_tool("pdftotext"), "-bbox-layout", str(path), str(page)], check=True, capture_output=True)
    found = page.read_text()
    tall = float(re.search(r'<page width="[\d.]+" height="([\d.]+)"', found)[1])  # type: ignore[index]
    words = [
        (float(top), float(bottom) - float(top), word)
        for top, bottom, word in re.findall(r'<word xMin="[\d.]+" yMin="([\d.]+)" xMax="[\d.]+" yMax="([\d.]+)">([^<]*)</word>', found)
    ]
    foot = [h for top, h, _ in words if top > tall - 45]
    assert foot
    ratio = max(foot) / 9.5  # the box of a word over its size: the foot is set at 9.5 points
    assert ratio < 1.7
    body = [(h / ratio, word) for top, h, word in words if top <= tall - 45]
    assert min(body)[0] >= 10.9, min(body)
    if key != "run-map":
        assert max(body)[0] >= 16


@pytest.mark.parametrize("key", [sheet.key for sheet in SHEETS])
def test_sheets_are_safe_in_black_and_white(key: str, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheet_pdf(context(), key))
    subprocess.run([_tool("pdftoppm"), "-r", "40", str(path), str(tmp_path / "page")], check=True, capture_output=True)
    pages = sorted(tmp_path.glob("page*.ppm"))
    assert pages
    for page in pages:
        data = page.read_bytes()
        header = re.match(rb"P6\s+(\d+)\s+(\d+)\s+255\s", data)
        assert header is not None
        pixels = data[header.end() :]
        assert pixels[0::3] == pixels[1::3] == pixels[2::3]


def test_the_cab_sheet_says_where_to_stop_what_to_set_and_when_to_phone(tmp_path: Path) -> None:
    flat = " ".join(_text(sheet_pdf(context(), "cab-sheet"), tmp_path, order="-raw").split())
    assert "by pass 14, no later than 16" in flat
    assert "by pass 31, no later than 33" in flat
    assert "A 1 310 kg" in flat
    assert "121" in flat
    assert "26.2 rpm" in flat
    assert "Still needed: a catch test, bin C" in flat
    assert "overhead line: low where it crosses the east gate" in flat
    assert "38 mm" in flat
    assert "Stop and phone when" in flat
    assert "Shut the fan before any lid is opened." in flat
    assert "58 in all, 1 headland round." in flat


def test_the_cab_sheet_speaks_the_units_of_its_profile(tmp_path: Path) -> None:
    flat = " ".join(_text(sheet_pdf(context("prairie"), "cab-sheet"), tmp_path).split())
    for words in ("151 ac", "53.33 ft", "4.7 mph", "108 lb/ac", "1.50 in", "50.4 ac"):
        assert words in flat
    assert "kg/ha" not in flat
    us = " ".join(_text(sheet_pdf(context("us"), "cab-sheet"), tmp_path).split())
    assert "A 2 890 lb" in us  # 1,310 kg to three figures


def test_what_is_not_known_is_a_line_to_write_on_and_what_it_needs(tmp_path: Path) -> None:
    flat = " ".join(_text(sheet_pdf(bare(), "cab-sheet"), tmp_path).split())
    assert "Still needed: product per turn, bin A. Catch test: turn the meter, weigh, divide." in flat
    assert "needs the field's outline" in flat
    assert not re.search(r"(?<![\d.])0(?:\.0+)? (?:kg|rpm|ha|mm)", flat)
    card = " ".join(_text(sheet_pdf(bare(), "value-card"), tmp_path).split())
    assert "Needs product per turn. Catch test" in card
    assert "None" not in card + flat


def test_every_line_of_the_card_is_on_the_value_card(tmp_path: Path) -> None:
    flat = " ".join(_text(sheet_pdf(context(), "value-card"), tmp_path).split())
    for line in sheet_farm.card():
        assert line.label.split()[0] in flat
        if line.yours:
            assert line.yours in flat
    for words in ("Impl. width", "K. Berg", "0.1927", "1.220 to 1.280 kg/turn", "a proven fan speed", "Stale: A: new lot, humid morning."):
        assert words in flat


def test_the_fill_slip_prints_what_should_be_gone_and_left(tmp_path: Path) -> None:
    flat = " ".join(_text(sheet_pdf(context(), "fill-slip"), tmp_path).split())
    assert "20 3 000 1 400 1 500 2 600 2 420 2 500" in flat  # 150, 75, 121 kg/ha times 20 ha, off 4,359, 4,150, 4,890 kg
    for words in ("left before", "put in", "level now", "ha since", "Time", "Light at", "T ticket"):
        assert words in flat


def test_the_catch_card_gives_the_weight_with_its_band(tmp_path: Path) -> None:
    flat = " ".join(_text(sheet_pdf(context(), "catch-card"), tmp_path).split())
    assert "12.50 kg" in flat
    assert "good 12.12 to 12.88 kg" in flat
    assert "catch longer 11.75 to 13.25 kg" in flat
    assert "find out why beyond" in flat
    assert "W-26-1" in flat
    assert "Fan off" in flat
    assert "No factor yet: Catch 10 turns" in flat


def test_the_run_map_lists_heads_sensors_and_what_is_shut(tmp_path: Path) -> None:
    flat = " ".join(_text(sheet_pdf(context(), "run-map"), tmp_path).split())
    assert "33, 34, 35, 36, 37, 38, 39, 40" in flat
    assert "37, 38" in flat
    assert "as seen from the seat" in flat
    unequal = dataclasses.replace(context(), outfit=sheet_farm.small_outfit())
    assert "A 7, B 6, C 7, D 6, E 7, F 6" in " ".join(_text(sheet_pdf(unequal, "run-map"), tmp_path).split())


def test_sheets_of_a_job_fit_the_pages_they_are_meant_for(tmp_path: Path) -> None:
    most = {"cab-sheet": 2, "value-card": 3, "fill-slip": 1, "catch-card": 1, "run-map": 2}
    for profile in ("si", "prairie"):
        for key, pages in most.items():
            path = tmp_path / "sheet.pdf"
            path.write_bytes(sheet_pdf(context(profile), key))
            made = subprocess.run([_tool("pdfinfo"), str(path)], capture_output=True, text=True, check=True).stdout
            found = re.search(r"Pages:\s+(\d+)", made)
            assert found is not None
            assert int(found[1]) <= pages, (profile, key)


def test_the_same_job_gives_the_same_file() -> None:
    assert sheet_pdf(context(), "fill-slip") == sheet_pdf(context(), "fill-slip")


def test_all_sheets_go_into_a_folder_and_some_if_so_asked(tmp_path: Path) -> None:
    written = write_sheets(context(), tmp_path / "all sheets")
    assert [p.stem for p in written] == list(KEYS)
    assert all(p.stat().st_size > 5_000 for p in written)
    assert [p.name for p in write_sheets(context(), tmp_path / "some", "prairie", only=["pocket-page", "value-card"])] == [
        "value-card.pdf",
        "pocket-page.html",
    ]


def test_an_unknown_sheet_or_a_folder_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'poster' is no sheet"):
        write_sheets(context(), tmp_path, only=["poster"])
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="Name a folder that can be written"):
        write_sheets(context(), tmp_path / "file" / "below")


def test_marks_of_the_typesetter_in_names_stay_letters(tmp_path: Path) -> None:
    odd = dataclasses.replace(context(), farm="#let $x$ *bold* \\ [farm] <a>")
    assert "#let $x$ *bold* \\ [farm] <a>" in _text(sheet_pdf(odd, "cab-sheet"), tmp_path)


def test_the_table_of_use_is_rate_times_area_and_stops_at_empty() -> None:
    bins = sheet_farm.plan().bins
    table = use_table(bins)
    assert [row.area_ha for row in table["C"]] == [5.0 * i for i in range(1, 12)]
    assert table["A"][-1].area_ha == 25.0  # 4,359 kg at 150 kg/ha last 29 ha
    for b in bins:
        for row in table[b.bin]:
            assert row.used_kg == pytest.approx(b.rate_kg_ha * row.area_ha)
            assert b.full_kg is not None
            assert row.left_kg == pytest.approx(b.full_kg.value - row.used_kg)
    acres = use_table(bins, "prairie")["D"]
    assert acres[0].area_ha == pytest.approx(20 * 0.40468564224)
    unknown = use_table((BinPlan(bin="A", product="x", rate_kg_ha=100.0),))["A"]
    assert len(unknown) == 12
    assert all(row.left_kg is None for row in unknown)


def test_a_look_by_eye_tells_less_than_the_low_level_light() -> None:
    found = {(b.bin, b.how): b.share for b in believable(context())}
    assert found[("A", "weighed in, level by eye")] > 2 * found[("A", "weighed in, low-level light")]
    assert ("D", "weighed in, low-level light") not in found  # not learned for that bin
    assert all(0 < share < 1 for share in found.values())


@pytest.mark.parametrize(
    ("kg", "text"), [(4359.4, "4 360 kg"), (63.21, "63.2 kg"), (7.0, "7.00 kg"), (0.0, "0.00 kg"), (16412, "16 400 kg")]
)
def test_amounts_have_no_more_figures_than_they_are_good_for(kg: float, text: str) -> None:
    assert figures(kg, "mass", "si").replace("\u202f", " ") == text
