"""Layers nobody here made: those inside pyogrio's wheel, and the spatial data of Debian's r-cran-spdata."""

from __future__ import annotations

import os
from pathlib import Path

import pyogrio
import pytest

from evenstand.base.errors import CrsError, FileError, GeometryError
from evenstand.field import list_areas, read_areas, read_boundary

FIXTURES = Path(pyogrio.__file__).parent / "tests" / "fixtures"
SPDATA_FOLDERS = (os.environ.get("EVENSTAND_SPDATA", ""), "/usr/lib/R/site-library/spData/shapes")


@pytest.fixture
def fixtures() -> Path:
    if not FIXTURES.is_dir():
        pytest.skip("NOT RUN HERE: this pyogrio was installed without its test layers")
    return FIXTURES


@pytest.fixture
def spdata() -> Path:
    """The folder `shapes` of the package, or of its parent wherever it was unpacked."""
    for folder in filter(None, SPDATA_FOLDERS):
        for found in (Path(folder), *Path(folder).glob("**/spData/shapes")):
            if (found / "wheat.shp").is_file():
                return found
    pytest.skip("NOT RUN HERE: Debian's r-cran-spdata is not unpacked (folder in EVENSTAND_SPDATA)")


def test_the_countries_of_the_world_are_listed_not_imported(fixtures: Path) -> None:
    with pytest.raises(GeometryError, match=r"there are 177 areas: 1: Fiji .* and 137 more"):
        read_boundary(fixtures / "naturalearth_lowres" / "naturalearth_lowres.shp")


def test_a_country_is_refused_as_a_field_with_the_limit(fixtures: Path) -> None:
    with pytest.raises(GeometryError, match=r"Canada: 1,0\d\d,\d+,\d+ ha is no single field \(at most 5,000 ha\)"):
        read_boundary(fixtures / "naturalearth_lowres", field="Canada")
    with pytest.raises(GeometryError, match="Fiji"):  # across the date line
        read_boundary(fixtures / "naturalearth_lowres", field="Fiji")


def test_no_country_passes_for_a_field_in_an_import_of_the_whole_layer(fixtures: Path) -> None:
    with pytest.raises(GeometryError, match="and 137 more areas are unfit"):
        read_areas(fixtures / "naturalearth_lowres")


def test_the_area_of_a_country_is_that_of_an_atlas(fixtures: Path) -> None:
    """Lesotho: 30,355 km² in every atlas (from memory), drawn here with few corners."""
    areas = {a.name: a for a in list_areas(fixtures / "naturalearth_lowres")}
    assert areas["Lesotho"].area_m2 / 1e6 == pytest.approx(30_355, rel=0.12)


def test_lines_and_points_hold_no_area(fixtures: Path) -> None:
    with pytest.raises(GeometryError, match="no area in this layer"):
        read_boundary(fixtures / "line_zm.gpkg")
    with pytest.raises(GeometryError, match="no area in this layer"):
        read_boundary(fixtures / "curve.gpkg")
    with pytest.raises(GeometryError, match=r"no area in this layer \(4 points\)"):
        read_boundary(fixtures / "test_gpkg_nulls.gpkg")


@pytest.mark.parametrize("name", ["curvepolygon.gpkg", "multisurface.gpkg"])
def test_curved_areas_are_straightened_and_then_refused_by_size(fixtures: Path, name: str) -> None:
    with pytest.raises(GeometryError, match="no single field"):
        read_boundary(fixtures / name)


def test_a_file_of_many_layers_lists_them(fixtures: Path) -> None:
    with pytest.raises(FileError, match=r"5 layers: points \(Point\); lines"):
        read_boundary(fixtures / "sample.osm.pbf")


def test_what_is_no_vector_file_is_refused(fixtures: Path) -> None:
    with pytest.raises(FileError, match="cannot be read as a vector file"):
        read_boundary(fixtures / "README.md")
    with pytest.raises(FileError, match="Parquet"):
        read_boundary(fixtures / "list_field_values_file.parquet")


@pytest.mark.outside_data
def test_plot_polygons_without_coordinates_are_asked_about(spdata: Path) -> None:
    with pytest.raises(CrsError, match=r"wheat\.shp: the file does not say.*7,326 km across.*local"):
        read_boundary(spdata / "wheat.shp")


@pytest.mark.outside_data
def test_the_500_plots_of_the_wheat_trial_have_their_published_size(spdata: Path) -> None:
    """8.283 square units each; as a plan in metres the plots are far too small for fields, and all 500 say so."""
    plots = list_areas(spdata / "wheat.shp", crs="local")
    assert len(plots) == 500
    assert sum(p.area_m2 for p in plots) == pytest.approx(500 * 8.283, rel=1e-9)
    assert {round(p.area_m2, 3) for p in plots} == {8.283}
    with pytest.raises(GeometryError, match="and 460 more areas are unfit"):
        read_areas(spdata / "wheat.shp", crs="local")


@pytest.mark.outside_data
def test_plots_called_degrees_are_refused_as_countries(spdata: Path) -> None:
    with pytest.raises(GeometryError, match="no single field"):
        read_boundary(spdata / "wheat.shp", crs="EPSG:4326", field=1)


@pytest.mark.outside_data
def test_a_foreign_geopackage_in_utm_is_read(spdata: Path) -> None:
    """New York census tracts in UTM 18 on an old ellipsoid: the areas agree with the same tracts in the second file."""
    with pytest.raises(GeometryError, match="there are 281 areas"):
        read_boundary(spdata / "NY8_bna_utm18.gpkg")
    tract = read_boundary(spdata / "NY8_bna_utm18.gpkg", field=5)
    twin = read_boundary(spdata / "NY8_utm18.shp", field=5)
    assert tract.area_m2 == pytest.approx(twin.area_m2, rel=1e-3)
    assert tract.area_m2 == pytest.approx(tract.geodesic_m2, rel=1e-5)
    assert any("NAD27 uses" in note for note in tract.repairs)


@pytest.mark.outside_data
def test_points_of_a_foreign_geojson_are_no_area(spdata: Path) -> None:
    with pytest.raises(GeometryError, match=r"no area in this layer \(742 points\)"):
        read_boundary(spdata / "cycle_hire.geojson")
