"""The map of a trail and the field record: pass strips first, ink and hatch only, tagged, with what cannot be said left open."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from evenstand.desk.trails import FieldRecord, field_record
from evenstand.drawing import page_svg, paper_svg, trail_map
from evenstand.drawing.shapes import Area, Polyline, Rect, Text
from evenstand.formats.delimited import write_trail_csv
from evenstand.model import Frame, Trail
from evenstand.paper.record import record_data, record_pdf
from evenstand.trail import coverage, trail_facts
from evenstand.trail.doses import turns_of
from evenstand.trail.outlines import located, map_facts, pass_grounds, patches_of
from evenstand.trail.places import places_of
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import strips_of
from made_trails import passes_trail, square, tool

HOME = Frame(lon_deg=-106.483, lat_deg=51.317)


def logged() -> Trail:
    """Twelve passes of 10 m on 10 m; pass 4 lies 4 m over pass 3; run 2 dead for the last four; six rows missing in pass 2."""
    trail = passes_trail(passes=12)
    xy = trail.xy_m.copy()
    on = (xy[:, 0] > 34) & (xy[:, 0] < 36)
    xy[on, 0] -= 4.0
    seen = np.ones((trail.n, 6), dtype=bool)
    seen[8 * trail.n // 12 :, 1] = False
    keep = np.ones(trail.n, dtype=bool)
    second = np.flatnonzero((xy[:, 0] == 15.0) & (xy[:, 1] < 60))[:6]
    keep[second] = False
    full = replace(
        trail, xy_m=xy, t_ms=trail.t_ms + 1_800_000_000_000, bins=("A",), echoed_kg_ha=np.full((trail.n, 1), 120.0), run_present=seen,
        runs=tuple(range(1, 7)),
    )  # fmt: skip
    return replace(
        full, t_ms=full.t_ms[keep], xy_m=full.xy_m[keep], lifted=full.lifted[keep], echoed_kg_ha=full.echoed_kg_ha[keep],
        run_present=full.run_present[keep], rows=int(keep.sum()), kept=int(keep.sum()),
    )  # fmt: skip


def recorded(*, boundary: bool = True) -> FieldRecord:
    trail, outfit = logged(), tool(10.0)
    field = square(120.0, 0, -10) if boundary else None
    covered = coverage(trail, outfit, field, check=True)
    return FieldRecord(
        name="day.csv", trail=trail, outfit=outfit, boundary=field, facts=trail_facts(trail, outfit, covered=covered), covered=covered,
        places=places_of(trail, outfit, field, products={"A": "wheat"}), turns=turns_of(trail, outfit, steps_of(trail)),
        products={"A": "wheat"}, field="Home", crop="wheat", season="2027",
    )  # fmt: skip


def test_patches_are_ground_one_can_walk_to_and_no_slivers():
    trail = logged()
    grounds = pass_grounds(strips_of(trail, tool(10.0), steps_of(trail)), trail_facts(trail, tool(10.0)).passes)
    assert sum(g.area_m2 for g in grounds) == pytest.approx(coverage(trail, tool(10.0)).strips_m2, rel=1e-6)
    field = np.array([[0, 0], [120, 0], [120, 100], [0, 100], [0, 0]], dtype=float)
    found = patches_of(grounds, [field])
    assert [round(p.area) for p in found.twice] == [400]  # 4 m of pass 4 over pass 3
    assert sorted(round(p.area) for p in found.skipped) == pytest.approx([140, 400], abs=2)  # the missing rows and beside pass 4
    assert patches_of(grounds).skipped == ()


def test_the_map_shows_passes_and_places_in_ink_and_hatch():
    r = recorded()
    found = map_facts(r.trail, r.outfit, r.boundary, r.facts.passes, r.facts.run_faults)
    drawn = trail_map(r.trail, r.facts.passes, found, name="Home")
    lines = [s for s in drawn.shapes if isinstance(s, Polyline)]
    assert sum(s.role in ("pass", "pass-marked") for s in lines) == 12
    assert sum(s.role == "entry" for s in lines) == 4
    assert {s.role for s in drawn.shapes if isinstance(s, Area)} >= {"boundary", "exception", "exception-light"}
    words = {s.text for s in drawn.shapes if isinstance(s, Text)}
    assert {"5", "10", "not sown", "nothing recorded"} <= words
    assert all(0 <= x <= drawn.width and 0 <= y <= drawn.height for s in lines for x, y in s.points)
    assert "12 passes" in drawn.description and "Run 2 without flow." in drawn.description
    for text in (page_svg(drawn), paper_svg(drawn)):
        assert "green" not in text and "#0f0" not in text and "gradient" not in text
    places = located(found.patches, r.trail.frame)
    assert {p.kind for p in places} == {"skipped", "twice"}
    assert sum(p.area_m2 for p in places if p.kind == "twice") == pytest.approx(400, rel=1e-3)
    assert all(abs(p.lon_deg - r.trail.frame.lon_deg) < 0.01 and abs(p.lat_deg - r.trail.frame.lat_deg) < 0.01 for p in places)
    bare = trail_map(r.trail, r.facts.passes, map_facts(r.trail, r.outfit, None, r.facts.passes, ()))
    assert not any(isinstance(s, Rect) and s.role == "exception" for s in bare.shapes)


@pytest.mark.parametrize("profile", ["si", "prairie"])
def test_the_record_is_a_tagged_pdf_with_the_same_figures(profile):
    r = recorded()
    pdf = record_pdf(r, profile=profile, made_at="2027-05-04T10:00:00Z", who="N. N.")
    assert pdf.startswith(b"%PDF-")
    assert b"/StructTreeRoot" in pdf or b"/MarkInfo" in pdf
    data = record_data(r, profile=profile)
    assert len(data["strips"]) == 2  # twelve passes, six a part, so that they break over pages
    assert "a run without flow" not in data["strips"][0]["svg"].split("</title>")[-1]  # the signs are explained once, below the last
    area = {"si": "1.15 ha", "prairie": "2.8 ac"}[profile]
    assert data["figures"][0][1].replace("\u202f", " ").replace("\xa0", " ") == area
    assert data["products"][0][1] == "wheat"
    assert [f["says"].startswith("Run 2") for f in data["faults"]] == [True]
    assert dict(data["faults"][0]["rows"])["What it is worth"].startswith("Never worth sowing again")
    assert any(row[0] == "Field efficiency" for row in data["time"])
    assert data["unseen"]
    assert "agree with" in data["check"]
    assert "As the controller reported" in data["source"]


def test_what_is_not_known_is_not_printed_as_nought():
    data = record_data(recorded(boundary=False), profile="si")
    assert not any("outline" in row[0] for row in data["figures"])
    bare = replace(recorded(boundary=False), places=None)
    assert record_data(bare, profile="si")["products"] == []
    assert record_pdf(bare, profile="si").startswith(b"%PDF-")


def test_the_command_and_the_site_write_the_record_of_a_job(tmp_path):
    from starlette.testclient import TestClient

    from evenstand.book import Book
    from evenstand.cli.trail import command
    from evenstand.desk.demo import build_book
    from evenstand.web.site import create_app

    build_book(tmp_path / "book")
    write_trail_csv(replace(logged(), frame=HOME), tmp_path / "log.csv")
    words = ["read", str(tmp_path / "log.csv"), "--book", str(tmp_path / "book"), "--job", "home-wheat", "--json"]
    kept = json.loads(CliRunner().invoke(command, words, standalone_mode=False).output)["record"]
    out = tmp_path / "record.pdf"
    result = CliRunner().invoke(
        command, ["report", "home-wheat", "--book", str(tmp_path / "book"), "--pdf", str(out)], standalone_mode=False
    )
    assert result.exception is None
    assert out.read_bytes().startswith(b"%PDF-")
    with Book.open(tmp_path / "book") as book:
        record = field_record(book, "home-wheat", trails=(kept,))
        assert (record.field, record.job) == ("Home quarter (invented)", "home-wheat")
        assert record.products
    with TestClient(create_app(tmp_path / "book"), base_url="http://127.0.0.1") as client:
        page = client.get(f"/after/trail/{kept}")
        assert page.status_code == 200
        assert 'id="map-of-passes"' in page.text
        assert "Largest places on the map" in page.text
        pdf = client.get(f"/after/trail/{kept}/record.pdf")
        assert pdf.status_code == 200
        assert pdf.headers["content-type"] == "application/pdf"
        assert pdf.content.startswith(b"%PDF-")
        assert client.get("/after/trail/none/record.pdf").status_code in (404, 422, 400)
