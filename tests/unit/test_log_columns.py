"""Names in several languages and cut short; columns that their own numbers settle, contradict or leave open; lines that are no rows."""

from __future__ import annotations

import numpy as np
import pytest

from evenstand.base.errors import CrsError, FileError
from evenstand.formats.columns import factor_of, tidy_unit, understand_name
from evenstand.formats.delimited import propose
from evenstand.formats.placing import told_system
from evenstand.formats.vocabulary import abbreviated, meanings, words_of
from evenstand.trail import read_trail
from made_trails import write_log

ROWS = 120


def drive() -> dict[str, np.ndarray]:
    """To and fro: speed, heading, way, and where product flows. The tool is up in the middle third."""
    i = np.arange(ROWS)
    v = 2.0 + 0.4 * np.sin(i / 7.0)
    y = np.concatenate([[0.0], np.cumsum(v[1:])])
    north = np.where(i < 60, y, 2 * y[60] - y)
    down = (i < 40) | (i >= 80)
    east = np.where(i < 60, 0.0, 9.0)
    return {
        "v": v,
        "lon": 10.0 + east / 71_700,
        "lat": 50.0 + north / 111_229,
        "down": down,
        "way": y + 500.0,
        "heading": np.where(i <= 60, 0.0, 180.0),
    }


def log(tmp_path, columns: dict[str, list[str]], *, name: str = "a.csv", utc: bool = True):
    d = drive()
    base = {
        "time": [f"2027-05-04T14:{i // 60:02d}:{i % 60:02d}{'Z' if utc else ''}" for i in range(ROWS)],
        "lon": [f"{x:.8f}" for x in d["lon"]],
        "lat": [f"{x:.8f}" for x in d["lat"]],
    }
    cells = base | columns
    return write_log(tmp_path / name, [",".join(cells), *(",".join(c[i] for c in cells.values()) for i in range(ROWS))])


def text(values: np.ndarray, digits: int = 3) -> list[str]:
    return [f"{v:.{digits}f}" for v in values]


def taken(path, column: str, **said):
    return next(g for g in propose(path, **said).columns if g.use.name == column)


@pytest.mark.parametrize(
    ("header", "role", "unit", "bin_", "number"),
    [
        ("Geschw. [km/h]", "speed", "km/h", "", 0), ("Fahrgeschwindigkeit (km/h)", "speed", "km/h", "", 0), ("Vitesse", "speed", "", "", 0),
        ("v_ms", "speed", "m/s", "", 0), ("KNOTS", "speed", "kn", "", 0), ("Speed over ground (miles per hour)", "speed", "mph", "", 0),
        ("Länge", "lon", "", "", 0), ("geogr. Breite", "lat", "", "", 0), ("Kurs [°]", "heading", "deg", "", 0), ("Cap", "heading", "", "", 0),
        ("Teilbr. 3", "section", "", "", 3), ("Tronçon 2", "section", "", "", 2), ("S4", "section", "", "", 4), ("SEC MASK", "sections", "", "", 0),
        ("Sollmenge 1 [kg/ha]", "asked", "kg/ha", "A", 0), ("Dose réelle 2 (kg/ha)", "echoed", "kg/ha", "B", 0),
        ("Tgt lb/ac Tank 2", "asked", "lb/ac", "B", 0), ("B1 PV", "echoed", "", "A", 0), ("bin2TargetKgHa", "asked", "kg/ha", "B", 0),
        ("Dosierer 1 Umdr.", "turns", "", "A", 0), ("Meter B turns", "turns", "", "B", 0), ("Gebläsedrehzahl", "fan", "", "", 0),
        ("fan_hz", "fan", "turns/s", "", 0), ("Régime turbine (tr/min)", "fan", "rpm", "", 0), ("lbs/min", "mass_rate", "lb/min", "", 0),
        ("area_m2", "area", "m2", "", 0), ("AC TOT", "area", "ac", "", 0), ("Position outil", "tool", "", "", 0), ("ausgehoben", "lifted", "", "", 0),
        ("row_flow_7", "run", "", "", 7), ("UTM E", "east", "", "", 0), ("X_FT", "east", "ft", "", 0), ("lat_e7", "lat", "e7", "", 0),
        ("Rate (A) kg/ha", "rate", "kg/ha", "A", 0),
    ],
)  # fmt: skip
def test_names_in_other_words(header, role, unit, bin_, number):
    named = understand_name(header)
    assert (named.role, named.unit, named.bin, named.number) == (role, unit, bin_, number)


@pytest.mark.parametrize(
    "header",
    [
        "Target speed (km/h)", "Motordrehzahl [U/min]", "Eng RPM", "Depth target (mm)", "depth_set_mm", "Restmenge 1 [kg]", "Area remaining (ha)",
        "Arbeitsbreite (m)", "Wind speed (m/s)", "Distance to end", "Fan target (rpm)", "Tank level A (kg)", "Heading error", "Satellites",
        "Applied total A (kg)", "Speed limit", "Mass flow A (kg/s)",
    ],
)  # fmt: skip
def test_names_of_other_things_are_no_match(header):
    named = understand_name(header)
    assert named.role == "extra" or named.soft


def test_words_are_taken_apart_and_cut_short_ones_understood():
    assert words_of("Dose d'engrais_2 (N° 4)") == ["dose", "engrais", "2", "no", "4"]
    assert [sorted(m) for m in meanings("sollmenge")] == [["asked"], ["rate"]]
    assert meanings("xyzzy") == ()
    assert (sorted(abbreviated("trgt")), sorted(abbreviated("hdng"))) == (["asked"], ["heading"])
    assert abbreviated("con") == frozenset()
    assert [tidy_unit(u) for u in ("tr/min", "U/min", "pounds per acre", "m²", "Knoten")] == ["rpm", "rpm", "lb/ac", "m2", "Knoten"]
    assert factor_of("speed", "kn") == pytest.approx(1852 / 3600)


def test_a_name_half_known_counts_if_its_numbers_bear_it_out(tmp_path):
    d = drive()
    path = log(
        tmp_path, {"Zorp speed (km/h)": text(d["v"] * 3.6), "Zorp heading": text(d["heading"], 1), "Zorp2 speed (mph)": text(d["v"] * 9)}
    )
    assert (taken(path, "Zorp speed (km/h)").use.role, taken(path, "Zorp speed (km/h)").sure) == ("speed", "likely")
    assert taken(path, "Zorp heading").use.role == "heading"
    assert taken(path, "Zorp2 speed (mph)").use.role == "extra"


def test_columns_without_a_known_name_are_found_by_their_numbers(tmp_path):
    d = drive()
    path = log(
        tmp_path, {"qq (km/h)": text(d["v"] * 3.6), "rr": text(d["heading"], 1), "ss (ft)": text(d["way"] / 0.3048), "tt": text(d["v"])}
    )
    assert [taken(path, c).use.role for c in ("qq (km/h)", "rr", "ss (ft)", "tt")] == ["speed", "heading", "distance", "extra"]
    assert np.allclose(read_trail(path).speed_m_s, d["v"], atol=1e-3)


def test_an_angle_in_radians_or_a_number_of_passes_is_no_heading(tmp_path):
    d = drive()
    path = log(tmp_path, {"heading": text(np.radians(d["heading"]) + 1.0), "track": text(1.0 + (np.arange(ROWS) > 60), 0)})
    assert taken(path, "heading").use.role == "extra"
    assert taken(path, "track").use.role == "extra"


def test_a_rate_is_asked_or_reported_by_what_it_does(tmp_path):
    d = drive()
    noise = np.random.default_rng(3).normal(0, 1.0, ROWS)
    shown = np.where(d["down"], 120 + noise, 0.0)
    columns = {
        "rate A (kg/ha)": text(shown, 1), "rate B (kg/ha)": ["80"] * ROWS, "applied C (kg/ha)": text(shown / 2, 1), "rate D (kg/ha)": ["0"] * ROWS,
    }  # fmt: skip
    proposal = propose(log(tmp_path, columns))
    roles = {g.use.name: (g.use.role, g.sure) for g in proposal.columns}
    assert roles["rate A (kg/ha)"] == ("echoed", "likely")
    assert roles["rate B (kg/ha)"] == ("asked", "likely")
    assert roles["rate D (kg/ha)"][1] == "unsure"
    assert any("asked for or reported?" in q.text for q in proposal.questions)


@pytest.mark.parametrize(("one", "lifted_where_one"), [("1", False), ("0", True)])
def test_a_state_of_the_tool_is_told_by_where_product_flows(tmp_path, one, lifted_where_one):
    d = drive()
    other = "0" if one == "1" else "1"
    state = [one if down else other for down in d["down"]]
    shown = {"applied A (kg/ha)": text(np.where(d["down"], 118.0 + np.sin(np.arange(ROWS)), 0.0), 1)}
    path = log(tmp_path, {"Implement": state, **shown})
    assert taken(path, "Implement").use.role == ("lifted" if lifted_where_one else "work")
    assert np.array_equal(read_trail(path).lifted, ~d["down"])
    alone = log(tmp_path, {"Implement": state}, name="b.csv")
    assert taken(alone, "Implement").sure == "unsure"
    assert any("lifted or at work is not known" in note for note in read_trail(alone).notes)
    named = log(tmp_path, {("Lifted" if one == "1" else "Working"): state, **shown}, name="c.csv")
    assert any("product flows where it says" in q.text for q in propose(named).questions)


def test_sections_as_a_number_or_in_hexadecimal(tmp_path):
    d = drive()
    on = [(7 if i % 2 else 5) if down else 0 for i, down in enumerate(d["down"])]
    for name, cells in (("a.csv", [str(v) for v in on]), ("b.csv", [f"0x{v:02X}" for v in on])):
        trail = read_trail(log(tmp_path, {"section mask": cells}, name=name))
        assert trail.sections.shape == (ROWS, 3)
        assert trail.sections[0].tolist() == [True, False, True]
        assert trail.sections[1].tolist() == [True, True, True]
        assert not trail.sections[50].any()
    odd = log(tmp_path, {"section mask": [str(v + 2) for v in on]}, name="c.csv")
    assert taken(odd, "section mask").sure == "unsure"


def test_numbered_states_of_an_unknown_name_are_asked_for_once(tmp_path):
    state = ["on" if i % 3 else "off" for i in range(ROWS)]
    proposal = propose(log(tmp_path, {"zorp 1": state, "zorp 2": state, "zorp 3": state}))
    assert [g.sure for g in proposal.columns[3:]] == ["unsure"] * 3
    assert sum("sections, or runs?" in q.text for q in proposal.questions) == 1


def test_letters_of_the_hemisphere_stand_beside_or_in_the_name(tmp_path):
    rows = [f"2027-05-04T14:00:{i:02d}Z,{3300 + i / 1000:.5f},S,{7030 + i / 1000:.5f},W" for i in range(60)]
    trail = read_trail(write_log(tmp_path / "a.csv", ["time,lat,ns,lon,ew", *rows]))
    assert (round(trail.frame.lat_deg, 3), round(trail.frame.lon_deg, 3)) == (-33.0, -70.5)
    named = [f"2027-05-04T14:00:{i:02d}Z,{33 + i / 1e5:.5f},{70 + i / 1e5:.5f}" for i in range(60)]
    with pytest.raises(CrsError, match="carry no sign"):
        read_trail(write_log(tmp_path / "b.csv", ["time,lat (S),lon (W)", *named]))


def projected(tmp_path, columns: dict[str, np.ndarray], names=("x_ft", "y_ft"), scale: float = 0.3048, top: tuple[str, ...] = ()):
    d = drive()
    x, y = np.zeros(ROWS) + 5e5, (d["way"] + 5e6) / scale
    cells = {names[0]: text(x), names[1]: text(y), **{k: text(v) for k, v in columns.items()}}
    rows = [",".join([f"2027-05-04T14:{i // 60:02d}:{i % 60:02d}Z", *(c[i] for c in cells.values())]) for i in range(ROWS)]
    return write_log(tmp_path / "p.csv", [*top, ",".join(["time", *cells]), *rows])


def test_projected_feet_are_no_metres(tmp_path):
    d = drive()
    path = projected(tmp_path, {"dist": d["way"] / 0.3048, "speed": d["v"] * 3.6})
    assert (taken(path, "dist").use.unit, taken(path, "speed").use.unit) == ("ft", "km/h")
    with pytest.raises(CrsError, match="does not count in ft"):
        read_trail(path, crs="EPSG:32613")


def test_a_speed_tells_whether_projected_numbers_are_metres_or_feet(tmp_path):
    d = drive()
    for scale in (1.0, 0.3048):
        path = projected(tmp_path, {"dist": d["way"], "speed": d["v"] / 0.44704}, ("x", "y"), scale)
        assert (taken(path, "dist").use.unit, taken(path, "speed").use.unit) == ("m", "mph")
    path = projected(tmp_path, {"dist": d["way"]}, ("x", "y"))
    assert taken(path, "dist").sure == "unsure"


def test_a_coordinate_system_above_the_header_is_taken_and_said(tmp_path):
    path = projected(tmp_path, {}, ("x", "y"), 1.0, ("# grid EPSG:32613",))
    assert propose(path).recipe.crs == "EPSG:32613"
    trail = read_trail(path)
    assert trail.n == ROWS
    assert any("EPSG:32613" in note for note in trail.notes)
    assert told_system(("UTM 13N", "EPSG:32613 or EPSG:32614")) == ("", 0)
    assert told_system(("WGS84 / UTM zone 32 N",)) == ("EPSG:32632", 1)


def test_the_header_again_its_units_and_sums_are_set_aside_by_name(tmp_path):
    path = log(tmp_path, {"section 1": ["on"] * ROWS})
    lines = path.read_text().splitlines()
    lines.insert(1, "ISO,deg,deg,")
    lines[40:40] = [lines[0], lines[1]]
    lines.append("Total,,,")
    trail = read_trail(write_log(tmp_path / "b.csv", lines))
    assert [r.reason for r in trail.set_aside] == [
        "the header again",
        "the units under the header again",
        "a line of sums or means, no row",
    ]
    assert trail.n == ROWS
    assert trail.sections.all()


def test_another_header_in_the_middle_is_refused(tmp_path):
    path = log(tmp_path, {"section 1": ["on"] * ROWS})
    lines = path.read_text().splitlines()
    lines.insert(60, "lon,lat,time,section 1")
    with pytest.raises(FileError, match="columns in another order"):
        read_trail(write_log(tmp_path / "b.csv", lines))
