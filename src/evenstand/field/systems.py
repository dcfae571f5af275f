"""Coordinate systems of foreign files: to WGS 84 degrees, or a refusal that says what the numbers look like."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from evenstand.base.errors import CrsError
from evenstand.model.place import FloatArray

LOCAL = "local"
"""The word for metres on a flat frame with no place on earth. [-]"""

FIT_M = 1.5
"""A shift of datum rated worse than this is told to the reader. [m]"""

_DUST_DEG = 1e-6
_CLARKE_1866_M = 6_378_206.4


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """A coordinate system to read from. label: short name; unit_m: length of one unit, 0 for degrees [m]; notes: warnings in sentences."""

    label: str
    unit_m: float
    is_local: bool
    transformer: Any
    notes: tuple[str, ...]


def system_of(stated: str | None, wanted: str | None, xy: FloatArray, *, where: str, is_geojson: bool) -> System:
    """The system of a layer: what its file states, or what the caller says it is.

    Parameters
    ----------
    stated : str or None
        What the file says. [-]
    wanted : str or None
        What the caller says: a code such as "EPSG:26913", WKT or PROJ text, or "local" for metres with no place. [-]
    xy : ndarray (n, 2)
        All coordinates of the layer. [unit of the layer]
    where : str
        The file's name for messages. [-]
    is_geojson : bool
        GeoJSON is WGS 84, longitude first, unless the caller says otherwise (RFC 7946). [-]

    Raises
    ------
    CrsError
        If nothing is known, the name means nothing, or the numbers cannot be of that system.
    """
    if not bool(np.isfinite(xy).all()):
        raise CrsError("a coordinate is no number", where=where, cure="Export the outline again.")
    if wanted is not None and wanted.strip().lower() == LOCAL:
        return _local(xy, where)
    chosen = wanted or stated
    if chosen is None:
        raise CrsError(f"the file does not say in which coordinates it is; {looks_like(xy)}", where=where, cure=_cure(xy))
    parsed = _parse(chosen, where, given=wanted is not None)
    notes = _choice_notes(stated, wanted, parsed, is_geojson=is_geojson)
    if parsed.is_geographic:
        _check_degrees(xy, where, is_geojson=is_geojson and wanted is None)
    elif not parsed.is_projected:
        raise CrsError(
            f"{_label(parsed)} is neither degrees nor a map projection", where=where, cure="Give crs= with a code such as EPSG:4326."
        )
    accuracy = _datum_note(parsed, xy)
    return System(
        label=_label(parsed),
        unit_m=0.0 if parsed.is_geographic else float(parsed.axis_info[0].unit_conversion_factor),
        is_local=False,
        transformer=_to_degrees(parsed.to_wkt()),
        notes=(*notes, *accuracy),
    )


def to_degrees(system: System, xy: FloatArray, where: str) -> FloatArray:
    """WGS 84 longitude and latitude of coordinates, shape (n, 2). [deg]

    Raises
    ------
    CrsError
        If a point lies outside of the system's reach.
    """
    lon, lat = system.transformer.transform(xy[:, 0], xy[:, 1])
    out = np.column_stack([np.clip(lon, -180.0, 180.0), np.clip(lat, -90.0, 90.0)]).astype(np.float64)
    if not bool(np.isfinite(out).all()):
        raise CrsError(
            f"the coordinates are out of reach of {system.label}; {looks_like(xy)}", where=where, cure="Give the right system with crs=."
        )
    return out


def looks_like(xy: FloatArray) -> str:
    """What numbers without a system look like, in words, never a claim. [-]"""
    (x0, y0), (x1, y1) = xy.min(axis=0), xy.max(axis=0)
    span = f"x runs from {x0:,.6g} to {x1:,.6g}, y from {y0:,.6g} to {y1:,.6g}"
    if _within_degrees(xy) and max(x1 - x0, y1 - y0) < 5:
        return f"{span}: these look like degrees"
    if _within_degrees(xy):
        across = 111 * max(x1 - x0, y1 - y0)
        return f"{span}: as degrees that would be {across:,.0f} km across, so more likely local units with no place on earth"
    if x0 >= 100_000 and x1 <= 900_000 and y0 >= 0 and 100_000 < y1 <= 10_000_000:
        return f"{span}: these look like metres of a UTM zone"
    if abs(x1) <= 20_037_509 and abs(x0) <= 20_037_509 and max(abs(x0), abs(x1)) > 1_000_000:
        return f"{span}: these look like metres of a web map or a national grid"
    return f"{span}: these look like local units with no place on earth"


def _cure(xy: FloatArray) -> str:
    text = looks_like(xy)
    if text.endswith("degrees"):
        return 'If they are WGS 84 longitude and latitude, give crs="EPSG:4326".'
    if "UTM" in text:
        return 'Give the zone with crs=, for instance crs="EPSG:32613" for zone 13 north; the zone is stated where the file was exported.'
    if "web map" in text:
        return 'Give the system with crs=, for instance crs="EPSG:3857" for web map metres; it is stated where the file was exported.'
    return f'Give the system with crs=; if they are metres on a plan with no place on earth, crs="{LOCAL}".'


def _local(xy: FloatArray, where: str) -> System:
    size = float(np.ptp(xy, axis=0).max())
    if size > 100_000:
        raise CrsError(f"{size:,.0f} m across is no local plan; {looks_like(xy)}", where=where, cure="Give the system with crs=.")
    note = "Coordinates are taken as metres of a local plan, as you said: the outline has no place on earth."
    return System(label=LOCAL, unit_m=1.0, is_local=True, transformer=None, notes=(note,))


def _parse(text: str, where: str, *, given: bool) -> Any:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        parsed = CRS.from_user_input(text)
    except CRSError as error:
        what = (
            f"crs={text[:60]!r} names no coordinate system" if given else f"the file's coordinate system is not understood ({text[:60]!r})"
        )
        raise CrsError(what, where="crs" if given else where, cure="Give a code such as EPSG:4326 or EPSG:32613 with crs=.") from error
    return parsed.sub_crs_list[0] if parsed.is_compound else parsed


def _label(parsed: Any) -> str:
    code = parsed.to_authority(min_confidence=70)
    return ":".join(code) if code else str(parsed.name)


def _choice_notes(stated: str | None, wanted: str | None, parsed: Any, *, is_geojson: bool) -> tuple[str, ...]:
    if wanted and stated and not (is_geojson and stated == "EPSG:4326"):
        same = _parse(stated, "", given=False).equals(parsed, ignore_axis_order=True)
        return () if same else (f"The file says {_short(stated)}; {_label(parsed)} was used, as you said.",)
    if wanted and not stated:
        return (f"The file names no coordinate system; {_label(parsed)} was used, as you said.",)
    if is_geojson and stated and stated != "EPSG:4326" and not wanted:
        return (f"The GeoJSON names {_short(stated)}, which RFC 7946 no longer allows; it was followed.",)
    return ()


def _short(text: str) -> str:
    return _label(_parse(text, "", given=False))


def _within_degrees(xy: FloatArray) -> bool:
    return bool((np.abs(xy[:, 0]) <= 180 + _DUST_DEG).all() and (np.abs(xy[:, 1]) <= 90 + _DUST_DEG).all())


def _check_degrees(xy: FloatArray, where: str, *, is_geojson: bool) -> None:
    if _within_degrees(xy):
        return
    who = "GeoJSON is longitude and latitude in degrees of WGS 84 (RFC 7946)" if is_geojson else "the system named counts in degrees"
    if bool((np.abs(xy[:, 0]) <= 90).all() and (np.abs(xy[:, 1]) <= 180).all()):
        raise CrsError(
            f"latitude {xy[np.abs(xy[:, 1]).argmax(), 1]:.6g} is beyond 90 degrees: the pairs are probably latitude first",
            where=where,
            limit="longitude first, then latitude",
            cure="Swap each pair.",
        )
    raise CrsError(f"{who}, but {looks_like(xy)}", where=where, cure=_cure(xy))


def _datum_note(parsed: Any, xy: FloatArray) -> tuple[str, ...]:
    """A warning when the way from this datum to WGS 84 is rough or not known here."""
    geodetic = parsed.geodetic_crs
    datum = str(getattr(geodetic.datum, "name", "") or geodetic.name)
    if "World Geodetic System 1984" in datum or datum.startswith(("WGS", "North American Datum 1983", "NAD83", "European Terrestrial")):
        return ()
    old = "1927" in datum or "NAD27" in datum
    rated = _shift_accuracy(parsed, xy)
    if not old and 0 <= rated <= FIT_M:
        return ()
    how = f"is rated {rated:.0f} m" if rated > 0 else "is not rated"
    clarke = geodetic.ellipsoid is not None and abs(geodetic.ellipsoid.semi_major_metre - _CLARKE_1866_M) < 1
    name = "NAD27" if old else f"a datum it calls {datum!r}" + (", on the ellipsoid that NAD27 uses" if clarke else "")
    return (
        f"The file is in {name}. Without its grid file the shift to WGS 84 {how}: shape and area hold, the place may be off by that much. "
        "Compare a corner with a GNSS position before you drive by it.",
    )


def _shift_accuracy(parsed: Any, xy: FloatArray) -> float:
    """Rated accuracy of the best shift that can be made here; negative where nobody rates it. [m]"""
    import warnings

    from pyproj.aoi import AreaOfInterest
    from pyproj.transformer import TransformerGroup

    lon, lat = _to_degrees(parsed.to_wkt()).transform(*xy.mean(axis=0))
    area: Any = (
        AreaOfInterest(lon - 0.01, lat - 0.01, lon + 0.01, lat + 0.01) if np.isfinite(lon) and abs(lon) < 179 and abs(lat) < 89 else None
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # "best transformation is not available": said in our own words
        group = TransformerGroup(parsed, "EPSG:4326", always_xy=True, area_of_interest=area)
    return float(group.transformers[0].accuracy) if group.transformers else -1.0


@lru_cache(maxsize=32)
def _to_degrees(wkt: str) -> Any:
    from pyproj import Transformer

    return Transformer.from_crs(wkt, "EPSG:4326", always_xy=True)
