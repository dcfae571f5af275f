"""A field's own flat frame: metres east and north of its middle, true to scale on its ground."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import CrsError, require_range
from evenstand.model import Frame
from evenstand.model.place import FloatArray

REACH_M = 100_000.0
"""How far from its middle a frame is used; a transverse Mercator is 1.2e-4 long at that distance. [m]"""


def frame_for(lon_deg: float, lat_deg: float, height_m: float = 0.0) -> Frame:
    """The frame of a field.

    Parameters
    ----------
    lon_deg, lat_deg : float
        Its middle, WGS 84. [deg]
    height_m : float
        Height of the ground above the ellipsoid; 700 m left out makes areas 0.02 % small. [m]

    Returns
    -------
    Frame
        Transverse Mercator about that point. [-]

    Raises
    ------
    RangeError
        If the place is not on earth, or nearer than 1 degree to a pole.

    References
    ----------
    definition: transverse Mercator about the field's middle, scale 1 there, on the WGS 84 ellipsoid raised to the ground.
    """
    require_range("lon_deg", lon_deg, -180, 180, unit="deg")
    require_range("lat_deg", lat_deg, -89, 89, unit="deg")
    require_range("height_m", height_m, -500, 9000, unit="m")
    return Frame(lon_deg=round(lon_deg, 9), lat_deg=round(lat_deg, 9), height_m=height_m)


def to_frame(frame: Frame, lon_deg: npt.ArrayLike, lat_deg: npt.ArrayLike) -> FloatArray:
    """Positions in a frame.

    Parameters
    ----------
    frame : Frame
        The field's frame. [-]
    lon_deg, lat_deg : array_like (n,)
        WGS 84. [deg]

    Returns
    -------
    ndarray (n, 2)
        East and north of the frame's middle. [m]

    Raises
    ------
    CrsError
        If a position is too far away for the frame (`REACH_M`), or no position at all.

    References
    ----------
    definition: forward transverse Mercator of that frame.
    """
    lon, lat = np.atleast_1d(np.asarray(lon_deg, dtype=float)), np.atleast_1d(np.asarray(lat_deg, dtype=float))
    x, y = _transformer(frame.proj).transform(lon, lat)
    xy = np.column_stack([x, y]).astype(np.float64)
    if xy.size and not bool((np.abs(xy) <= REACH_M).all()):
        raise CrsError(
            "a position lies too far from the field for its frame",
            where=f"lon {lon.min():.4f} to {lon.max():.4f}, lat {lat.min():.4f} to {lat.max():.4f}",
            limit=f"at most {REACH_M / 1e3:.0f} km from lon {frame.lon_deg:.4f}, lat {frame.lat_deg:.4f}",
            cure="Check that the positions belong to this field and are degrees of WGS 84.",
        )
    return xy


def from_frame(frame: Frame, xy_m: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Longitudes and latitudes of positions in a frame.

    Parameters
    ----------
    frame : Frame
        The field's frame. [-]
    xy_m : array_like (n, 2)
        East and north of the frame's middle. [m]

    Returns
    -------
    tuple of ndarray (n,)
        Longitude, latitude, WGS 84. [deg]

    References
    ----------
    definition: inverse transverse Mercator of that frame.
    """
    xy = np.asarray(xy_m, dtype=float).reshape(-1, 2)
    lon, lat = _transformer(frame.proj).transform(xy[:, 0], xy[:, 1], direction="INVERSE")
    return np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)


@lru_cache(maxsize=64)
def _transformer(proj: str) -> Any:
    from pyproj import Transformer

    return Transformer.from_crs("EPSG:4326", proj, always_xy=True)
