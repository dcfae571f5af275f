"""Ground in cells as a GeoTIFF a GIS opens, in the trail's own frame. Needs rasterio, which is an extra."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import MissingError, RangeError
from evenstand.model.trail import Trail

if TYPE_CHECKING:
    from evenstand.trail.cells import CellMap, DoseArray

EXACT_FLOAT32 = 2**24


def need_rasterio() -> Any:
    """The library that writes GeoTIFF.

    Raises
    ------
    MissingError
        If it is not installed; the message names the extra.
    """
    try:
        import rasterio
    except ImportError as error:
        raise MissingError(
            "GeoTIFF needs the library rasterio, which is not installed",
            where="OUT",
            cure="Install it with pip install 'evenstand[raster]'.",
        ) from error
    return rasterio


def write_cells_tif(cells: CellMap, doses_kg_ha: Mapping[str, DoseArray], trail: Trail, path: str | Path) -> None:
    """Write a map of cells as a GeoTIFF. Bands: count, first_row, first_s (seconds after the trail's first row), and for each bin
    dose_BIN_kg_ha; not a number where nothing was sown.

    Parameters
    ----------
    cells : CellMap
        An upright map, its rows along x. [-]
    doses_kg_ha : mapping
        By bin letter, shape (rows, columns), on the same cells; as the controller reported. [kg/ha]
    trail : Trail
        For its frame and times. [-]
    path : str or Path
        Where to; an existing file is replaced. [-]

    Raises
    ------
    MissingError
        If rasterio is not installed.
    RangeError
        If the map is a turned one.
    """
    rasterio = need_rasterio()

    if tuple(cells.across) != (1.0, 0.0):
        raise RangeError("the map is turned", where="cells", limit="rows of cells along x", cure="Make it with upright=True.")
    rows, columns = cells.count.shape
    kind = np.float32 if trail.n < EXACT_FLOAT32 else np.float64
    never = cells.count == 0
    first = np.where(never, 0, cells.first)
    bands: list[tuple[str, Any]] = [
        ("count", cells.count),
        ("first_row", first),
        ("first_s", (trail.t_ms[first] - trail.t_ms[0]) / 1e3),
        *((f"dose_{b}_kg_ha", d) for b, d in doses_kg_ha.items()),
    ]
    x, y = float(cells.origin_m[0]), float(cells.origin_m[1] + rows * cells.cell_m)
    top = rasterio.Affine(cells.cell_m, 0.0, x, 0.0, -cells.cell_m, y)
    form = {
        "driver": "GTiff", "height": rows, "width": columns, "count": len(bands), "dtype": kind.__name__, "crs": _system(trail),
        "transform": top, "nodata": float("nan"), "compress": "deflate", "tiled": rows > 256 and columns > 256, "BIGTIFF": "IF_SAFER",
    }  # fmt: skip
    with rasterio.open(Path(path), "w", **form) as file:
        for i, (name, values) in enumerate(bands, start=1):
            band = values.astype(kind)
            band[never] = np.nan
            file.write(band[::-1], i)
            file.set_band_description(i, name)
        file.update_tags(
            count="times sown, 255 standing for that or more", first_row="row of the trail that sowed it first, from 0",
            first_s="seconds after the trail's first row", dose="as the controller reported", start_ms=str(int(trail.t_ms[0])),
        )  # fmt: skip


def _system(trail: Trail) -> str:
    """The trail's frame as well-known text."""
    from pyproj import CRS

    return str(CRS.from_user_input(trail.frame.proj).to_wkt("WKT1_GDAL"))
