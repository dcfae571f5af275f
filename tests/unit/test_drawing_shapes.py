"""Drawings: the words, the places and the two ways of writing them down."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace as dataclasses_replace

import pytest

import sheet_farm
from evenstand.drawing import Drawing, Mark, Strip, field_plan, page_svg, paper_svg, pass_strips, raster, run_map
from evenstand.drawing.shapes import Area, Circle, Line, Polyline, Rect, Text
from evenstand.drawing.tokens import COLOURS, PAPER_COLOURS, ROLE_STYLES, custom_properties, font_faces, role_rules

SVG = "{http://www.w3.org/2000/svg}"


def _luminance(colour: str) -> float:
    """Relative luminance of '#rrggbb' (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(a: str, b: str) -> float:
    light, dark = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("name", ["ink", "ink-soft", "accent", "accent-deep", "attention"])
@pytest.mark.parametrize("behind", ["paper", "paper-deep", "accent-wash"])
def test_every_ink_reads_on_every_ground_at_the_ratio_asked_of_small_text(name: str, behind: str) -> None:
    assert _contrast(COLOURS[name], COLOURS[behind]) >= 4.5


def test_edges_of_controls_stand_out_from_the_paper() -> None:
    assert _contrast(COLOURS["rule-strong"], COLOURS["paper"]) >= 3.0
    assert _contrast(COLOURS["ink"], COLOURS["mark"]) >= 4.5


def test_paper_is_printed_in_greys_alone() -> None:
    assert set(PAPER_COLOURS) == set(COLOURS)
    assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in PAPER_COLOURS.values())


def test_every_role_uses_a_colour_there_is_and_has_a_rule() -> None:
    rules = role_rules()
    for role, style in ROLE_STYLES.items():
        assert f".r-{role} {{" in rules
        for paint in (style.stroke, style.fill):
            assert paint in COLOURS or paint.startswith("hatch") or paint == "none"
    assert "--accent: " + COLOURS["accent"] in custom_properties()
    assert font_faces("/f/").count("@font-face") == 2


def test_two_writers_write_the_same_shapes() -> None:
    drawing = field_plan(sheet_farm.boundary(), sheet_farm.drive(), sheet_farm.plan().stops)
    page, paper = ET.fromstring(page_svg(drawing)), ET.fromstring(paper_svg(drawing))
    for tag in ("polyline", "path", "circle", "rect", "line"):
        drawn = sum(
            isinstance(s, {"polyline": Polyline, "path": Area, "circle": Circle, "rect": Rect, "line": Line}[tag]) for s in drawing.shapes
        )
        patterns = 3 if tag == "rect" else 0  # the line patterns are rectangles too
        assert len(page.findall(f".//{SVG}{tag}")) == drawn + patterns
        assert len(paper.findall(f".//{SVG}{tag}")) == drawn + patterns


def test_paper_has_neither_class_nor_variable_nor_colour() -> None:
    text = paper_svg(run_map(sheet_farm.outfit()))
    assert "class=" not in text
    assert "var(" not in text
    for colour in re.findall(r"#[0-9a-f]{6}", text):
        assert colour[1:3] == colour[3:5] == colour[5:7]


def test_the_page_names_the_picture_and_tells_it_in_words() -> None:
    root = ET.fromstring(page_svg(field_plan(sheet_farm.boundary(), sheet_farm.drive(), sheet_farm.plan().stops), key="plan"))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "plan-title plan-desc"
    told = root.find(f"{SVG}desc")
    assert told is not None
    assert told.text is not None
    assert "Fill 1 after pass 14." in told.text
    assert "1 obstacle to keep out of." in told.text
    assert "Mind 1: overhead line" in told.text


def test_text_from_a_book_cannot_become_markup() -> None:
    odd = Drawing(
        width=10, height=10, title="<b>", description='"&', shapes=(Text(role="label", at=(1, 1), text="<script>", title="</text>"),)
    )
    for text in (page_svg(odd), paper_svg(odd)):
        assert "<script>" not in text
        assert ET.fromstring(text) is not None


def test_north_is_up_and_lengths_keep_their_proportion() -> None:
    drawing = field_plan(sheet_farm.boundary(), with_key=False)
    outline = next(s for s in drawing.shapes if isinstance(s, Area) and s.role == "boundary").rings[0]
    (x0, y0), (x1, y1), (_, y3) = outline[0], outline[1], outline[4]
    assert x1 > x0  # east is right
    assert y3 < y0  # the northern corner stands higher
    assert (x1 - x0) / (y0 - y3) == pytest.approx(780 / 800)
    assert all(0 <= x <= drawing.width and 0 <= y <= drawing.height for x, y in outline)
    assert y1 == pytest.approx(y0)


def test_stops_stand_at_the_end_of_their_pass() -> None:
    drive = sheet_farm.drive()
    stops = sheet_farm.plan().stops
    drawing = field_plan(sheet_farm.boundary(), drive, stops)
    marks = [s for s in drawing.shapes if isinstance(s, Rect) and s.role == "stop" and s.title]
    passes = {s.title: s for s in drawing.shapes if isinstance(s, Polyline) and s.title.startswith("Pass")}
    assert [m.title for m in marks] == ["Fill 1: after pass 14", "Fill 2: after pass 31"]
    for mark, stop in zip(marks, stops, strict=True):
        end = passes[f"Pass {stop.after_pass}"].points[-1]
        assert (mark.corner[0] + 12, mark.corner[1] + 12) == pytest.approx(end, abs=0.06)


def test_every_fifth_pass_is_heavier() -> None:
    drawing = field_plan(sheet_farm.boundary(), sheet_farm.drive())
    heavy = {int(s.title.split()[1]) for s in drawing.shapes if isinstance(s, Polyline) and s.role == "pass-marked"}
    light = {int(s.title.split()[1]) for s in drawing.shapes if isinstance(s, Polyline) and s.role == "pass"}
    assert heavy
    assert all(n % 5 == 0 for n in heavy)
    assert all(n % 5 for n in light)
    assert len(heavy | light) == sheet_farm.drive().passes - 1  # all but the headland round


def test_openers_stand_from_left_to_right_and_no_two_touch() -> None:
    drawing = run_map(sheet_farm.outfit())
    openers = {s.title.split(":")[0]: s.centre for s in drawing.shapes if isinstance(s, Circle) and s.title.startswith("Opener ")}
    assert len(openers) == 64
    xs = [openers[f"Opener {n}"][0] for n in range(1, 65)]
    assert xs == sorted(xs)
    places = list(openers.values())
    for i, (xa, ya) in enumerate(places):
        for xb, yb in places[i + 1 :]:
            assert (xa - xb) ** 2 + (ya - yb) ** 2 > 26**2


def test_a_single_rank_too_narrow_for_its_numbers_stands_on_several_lines() -> None:
    import dataclasses

    outfit = sheet_farm.outfit()
    outfit = dataclasses.replace(outfit, runs=tuple(dataclasses.replace(r, rank=1) for r in outfit.runs))
    drawing = run_map(outfit, width=720)
    places = [s.centre for s in drawing.shapes if isinstance(s, Circle) and s.title.startswith("Opener ")]
    assert len({y for _, y in places}) > 1
    assert all((xa - xb) ** 2 + (ya - yb) ** 2 > 26**2 for i, (xa, ya) in enumerate(places) for xb, yb in places[i + 1 :])


def test_shut_runs_are_hatched_and_told() -> None:
    drawing = run_map(sheet_farm.outfit())
    assert sum(isinstance(s, Circle) and s.role == "run-shut" for s in drawing.shapes) == 3  # two openers, one in the key
    assert "Shut: 37, 38." in drawing.description
    assert "None is shut." in run_map(sheet_farm.small_outfit()).description


def test_an_outfit_without_runs_says_so() -> None:
    assert "No runs are written down yet" in run_map(sheet_farm.outfit(runs=False)).description


def test_a_gap_leaves_the_line_open_and_hatch_is_what_was_sown_twice() -> None:
    strips = (
        Strip(number=1, length_m=100.0),
        Strip(number=2, length_m=100.0, marks=(Mark(kind="skipped", from_m=40, to_m=60), Mark(kind="twice", from_m=0, to_m=10))),
    )
    drawing = pass_strips(strips, width=720)
    lines = [s for s in drawing.shapes if isinstance(s, Line) and s.role == "strip" and s.start[1] == s.end[1]]
    lengths = sorted(round(s.end[0] - s.start[0]) for s in lines)
    full = 720 - 58 - 104
    assert lengths == [round(full * 0.4), round(full * 0.4), full]
    hatched = [s for s in drawing.shapes if isinstance(s, Rect) and s.role == "exception" and s.title]
    assert [round(s.width) for s in hatched] == [round(full * 0.1)]
    assert drawing.description == "2 passes. Not sown on pass 2. Sown twice on pass 2."


def test_a_strip_that_is_all_gap_draws_no_line() -> None:
    drawing = pass_strips((Strip(number=1, length_m=50.0, marks=(Mark(kind="no-data", from_m=0, to_m=50),)),))
    assert not any(isinstance(s, Line) and s.role == "strip" and s.title == "Pass 1" for s in drawing.shapes)


def test_too_many_shapes_become_one_picture_with_the_words_kept() -> None:
    many = tuple(Line(role="pass", start=(i % 500, 0), end=(i % 500, 300)) for i in range(200))
    drawing = Drawing(width=500, height=300, title="t", description="d", shapes=(*many, Text(role="label", at=(5, 20), text="pass 5")))
    root = ET.fromstring(page_svg(drawing, raster_over=100))
    assert len(root.findall(f".//{SVG}image")) == 1
    assert root.findall(f".//{SVG}line") == []
    assert [t.text for t in root.findall(f".//{SVG}text")] == ["pass 5"]
    assert len(ET.fromstring(page_svg(drawing)).findall(f".//{SVG}line")) == 200


def test_a_raster_is_a_picture_of_the_size_asked() -> None:
    drawing = Drawing(width=200, height=100, title="t", description="d", shapes=(Rect(role="stop", corner=(0, 0), width=200, height=100),))
    png = raster(drawing, pixels_unit=1.5)
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert (int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")) == (300, 150)


def test_signs_on_one_spot_stand_beside_each_other_with_a_line_to_it() -> None:
    import dataclasses

    boundary = sheet_farm.boundary()
    corner = (0.0, 0.0)
    crowded = dataclasses.replace(
        boundary,
        entries=(corner,),
        fill_points=(corner,),
        hazards=tuple(dataclasses.replace(h, x_m=0.0, y_m=0.0) for h in boundary.hazards),
    )
    drawing = field_plan(crowded, sheet_farm.drive(), with_key=False)
    signs = [s.at for s in drawing.shapes if isinstance(s, Text) and s.text in {"G", "T", "S", "1", "2"} and not s.halo]
    assert len(signs) == 5
    assert all((xa - xb) ** 2 + (ya - yb) ** 2 >= 25**2 for i, (xa, ya) in enumerate(signs) for xb, yb in signs[i + 1 :])
    assert all(0 < x < drawing.width and 0 < y < drawing.height - 30 for x, y in signs)


def test_the_passes_of_a_trail_become_strips_with_their_exceptions() -> None:
    from evenstand.drawing import strips_of, strips_of_passes
    from evenstand.drawing.pass_strips import WORDS
    from evenstand.trail.passes import PassException, PassFacts

    kinds = ("no-data", "stop", "off-rate", "run-dead", "sections-off")
    facts = PassFacts(
        number=3, first_row=0, last_row=99, start_ms=0, end_ms=1000, start_s=0, end_s=100, length_m=200, speed_m_s=2, heading_deg=0,
        off_share=None, exceptions=tuple(PassException(kind=k, from_m=20.0 * i, to_m=20.0 * i + 10) for i, k in enumerate(kinds)),
    )  # fmt: skip
    late = dataclasses_replace(facts, exceptions=(PassException(kind="stop", from_m=190, to_m=260),))
    (strip,) = strips_of([facts])
    assert (strip.number, strip.length_m) == (3, 200)
    assert [m.kind for m in strip.marks] == list(kinds)
    assert strips_of([late])[0].marks[0].to_m == 200  # nothing is drawn beyond the pass
    drawing = strips_of_passes([facts])
    assert all(WORDS[k].split()[0].lower() in drawing.description.lower() for k in kinds)
