"""Vector files: GeoJSON, Shapefile, GeoPackage and whatever else GDAL reads, zipped or plain. Opens files, judges no field."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import FileError
from evenstand.formats.archives import MOST_BYTES, unpack
from evenstand.formats.iso11783.folders import is_task_data

MOST_FEATURES = 200_000
"""Most rows read from one layer. [-]"""
MOST_VERTICES = 10_000_000
"""Most corners read from one layer. [-]"""

_MAIN = (".shp", ".gpkg", ".geojson", ".json", ".geojsonl", ".kml", ".gml", ".fgb", ".tab", ".mif", ".dxf", ".gpx")
_SIDE = {".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix"}
_JSON = {".geojson", ".json"}
_JSON_LEAD = b"\xef\xbb\xbf\x1e \t\r\n"
_DEAD_PROXY = {
    "GDAL_HTTP_PROXY": "127.0.0.1:9",
    "GDAL_HTTPS_PROXY": "127.0.0.1:9",
    "GDAL_HTTP_CONNECTTIMEOUT": "1",
    "GDAL_HTTP_MAX_RETRY": "0",
}
_KINDS: tuple[tuple[bytes, str, tuple[str, ...]], ...] = (
    (b"PK\x03\x04", "a zip archive", (".zip", ".kmz", ".xlsx", ".ods")),
    (b"SQLite format 3\x00", "a GeoPackage or other SQLite file", (".gpkg", ".sqlite", ".db")),
    (b"\x00\x00\x27\x0a", "a Shapefile", (".shp", ".shx")),
    (b"fgb", "a FlatGeobuf file", (".fgb",)),
    (b"\x89PNG", "a PNG picture", ()),
    (b"\xff\xd8\xff", "a JPEG picture", ()),
    (b"%PDF", "a PDF document", ()),
    (b"PAR1", "a Parquet file", ()),
    (b"II*\x00", "a TIFF picture", ()),
    (b"MM\x00*", "a TIFF picture", ()),
)
_POINTS_ELSEWHERE = (b"<OGRVRTDataSource", b"<VRTDataset", b"<OGRWFSDataSource", b"<GDAL_WMS", b"<WCS_GDAL", b"<OGCAPI")


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer as read. geometries (n,) of shapely geometries, None where a row has none, flat (2-D); attributes: column -> n values;
    crs: what the file says of its coordinates, or None; notes: what reading changed or left out, in sentences."""

    source: str
    name: str
    crs: str | None
    geometries: npt.NDArray[np.object_]
    attributes: dict[str, tuple[Any, ...]]
    is_geojson: bool
    file_hash: str
    notes: tuple[str, ...] = ()


def read_layer(path: str | os.PathLike[str], *, layer: str | None = None) -> Layer:
    """Read one layer of a vector file on this machine.

    Parameters
    ----------
    path : str or path
        A file, a zip archive, or a folder (Shapefiles, file geodatabase). Never an address on a network. [-]
    layer : str or None
        Name of the layer; needed only where there are several. [-]

    Returns
    -------
    Layer
        Geometries in the file's own coordinates. [unit of the file's coordinate system]

    Raises
    ------
    FileError
        If the file is missing, empty, cut off, mislabelled, too large or no vector file, or if it has several layers and
        none was named; the message says which.
    """
    source = _existing(path)
    if is_task_data(source):
        from evenstand.formats.iso11783.layers import task_layer

        return task_layer(source, layer)
    digest = file_hash(source)
    with _opened_folder(source) as files:
        layers = [(file, name, kind) for file in files for name, kind in _list_layers(file, source)]
        file, name = _pick_layer(source, layers, layer)
        return _read(file, name, source, digest)


def layer_names(path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Names of the layers that have a geometry. [-]"""
    source = _existing(path)
    if is_task_data(source):
        from evenstand.formats.iso11783.layers import task_layer_names

        return task_layer_names(source)
    with _opened_folder(source) as files:
        return tuple(name for file in files for name, kind in _list_layers(file, source) if kind)


def file_hash(path: Path) -> str:
    """SHA-256 of a file, or of a Shapefile and its side files, or of all files in a folder. [hex]"""
    digest = hashlib.sha256()
    for part in _parts(path):
        with part.open("rb") as stream:
            while chunk := stream.read(1 << 20):
                digest.update(chunk)
    return digest.hexdigest()


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write text to a file in one go: a reader finds the old file or the new one, never half of one."""
    target = Path(path)
    scratch = target.with_name(f".{target.name}.part")
    scratch.write_text(text, encoding="utf-8")
    scratch.replace(target)


def _parts(path: Path) -> list[Path]:
    if path.is_dir():
        return sorted(p for p in path.rglob("*") if p.is_file())
    if path.suffix.lower() == ".shp":
        return sorted(p for p in path.parent.glob("*") if p.is_file() and p.stem == path.stem and p.suffix.lower() in _SIDE | {".shp"})
    return [path]


def _existing(path: str | os.PathLike[str]) -> Path:
    """The absolute path of something that is there, has content, is not too large, and is what its name says."""
    given = os.fspath(path)
    if "\x00" in given:
        raise FileError("the name holds a zero byte", where=repr(given[:60]), cure="Give the name of a file on this machine.")
    source = Path(os.path.abspath(given))
    if not source.exists():
        cure = "Give a file on this machine; addresses on a network are not opened." if "://" in given or given.startswith("/vsi") else ""
        raise FileError("there is no such file", where=given, cure=cure or "Check the name and the folder.")
    if not (source.is_file() or source.is_dir()):
        raise FileError("it is neither a file nor a folder", where=source.name, cure="Give a file on this machine.")
    try:
        size = sum(part.stat().st_size for part in _parts(source))
        if source.is_file():
            _check_label(source)
    except OSError as error:
        raise FileError(f"it cannot be read ({error.strerror})", where=source.name, cure="Check that you may read it.") from error
    if size > MOST_BYTES:
        raise FileError(
            f"the file holds {size / 1e6:,.0f} MB",
            where=source.name,
            limit=f"at most {MOST_BYTES / 1e6:,.0f} MB",
            cure="Export only the layer with the outlines.",
        )
    return source


def _check_label(source: Path) -> None:
    """Refuse what is empty, what is not what its name says, and what would make GDAL open something else."""
    with source.open("rb") as stream:
        head = stream.read(65536)
    suffix = source.suffix.lower()
    if not head.strip(b"\x00 \t\r\n"):
        raise FileError("the file is empty", where=source.name, cure="Export it again from where it came.")
    if suffix in _SIDE:
        raise FileError(
            "this is a side file of a Shapefile", where=source.name, cure=f"Give {source.stem}.shp, with all its parts beside it."
        )
    if any(mark in head for mark in _POINTS_ELSEWHERE):
        raise FileError(
            "the file holds no outlines, it only points to other files or to a server",
            where=source.name,
            cure="Give the file it points to.",
        )
    for magic, kind, suffixes in _KINDS:
        if head.startswith(magic) and suffix not in suffixes:
            if not suffixes:
                raise FileError(
                    f"it is {kind}, no outlines", where=source.name, cure="Export the outlines as GeoJSON, Shapefile or GeoPackage."
                )
            cure = f"Rename it to end in {suffixes[0]}."
            raise FileError(f"its name ends in {suffix or 'nothing'} but it is {kind}", where=source.name, cure=cure)
    if head.replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").startswith(b"<"):
        _check_markup(source)
    if suffix == ".shp":
        _check_shapefile(source, head)
    if suffix in _JSON or head.lstrip(_JSON_LEAD).startswith(b"{"):
        _check_json(source)


def _check_markup(source: Path) -> None:
    """Refuse markup that defines entities of its own: no layer needs them, and they can grow without end or point to other files."""
    before = b""
    with source.open("rb") as stream:
        while chunk := stream.read(1 << 20):
            if b"<!ENTITY" in (before + chunk).replace(b"\x00", b""):
                raise FileError("the file defines entities of its own", where=source.name, cure="Do not trust this file.")
            before = chunk[-32:]


def _check_shapefile(source: Path, head: bytes) -> None:
    cure = "Take all parts (.shp .shx .dbf .prj) from the same export."
    if not head.startswith(b"\x00\x00\x27\x0a"):
        raise FileError("its name ends in .shp but it is no Shapefile", where=source.name, cure=cure)
    stated, size = 2 * int.from_bytes(head[24:28], "big"), source.stat().st_size
    if size < max(stated, 100):
        raise FileError(f"the file is cut off: {size:,} bytes", where=source.name, limit=f"its head says {stated:,}", cure=cure)
    names = {p.name.lower() for p in source.parent.iterdir()}
    if f"{source.stem.lower()}.shx" not in names:
        raise FileError(f"{source.stem}.shx is missing", where=source.name, cure=cure)


def _check_json(source: Path) -> None:
    """Read the text as JSON first: a cut-off or mistyped file is named with its line, not half read."""
    for data in _json_values(source):
        if not isinstance(data, dict) or not {"type", "geometryType", "rings"} & data.keys():
            raise FileError("the file is JSON but no GeoJSON: it has no 'type'", where=source.name, cure="Export it again as GeoJSON.")
        crs = data.get("crs")
        if isinstance(crs, dict) and str(crs.get("type", "")).lower() not in {"name", "epsg", ""}:
            raise FileError(
                "its coordinate system is a link to somewhere else, which is not followed",
                where=source.name,
                cure="Take the member 'crs' out, and give the system with crs=.",
            )


def _json_values(source: Path) -> Iterator[Any]:
    """The JSON value of a file, or those of its lines."""

    def no_number(text: str) -> float:
        raise ValueError(f"{text} is no number")

    text = source.read_bytes()
    try:
        try:
            yield json.loads(text.lstrip(b"\x1e"), parse_constant=no_number)
        except json.JSONDecodeError as error:
            lines = [line for line in text.replace(b"\x1e", b"\n").splitlines() if line.strip()]
            if source.suffix.lower() in _JSON or error.msg != "Extra data":
                raise
            for line in lines:
                yield json.loads(line, parse_constant=no_number)
    except json.JSONDecodeError as error:
        at = f"{source.name}, line {error.lineno}, column {error.colno}"
        raise FileError(
            f"the text stops being JSON here ({error.msg})", where=at, cure="The file may be cut off: export it again."
        ) from error
    except (UnicodeDecodeError, ValueError) as error:
        raise FileError(f"the file is no GeoJSON: {error}", where=source.name, cure="Export it again as GeoJSON (UTF-8).") from error
    except RecursionError as error:
        raise FileError("brackets are nested without end", where=source.name, cure="Do not trust this file.") from error


@contextmanager
def _opened_folder(source: Path) -> Iterator[list[Path]]:
    """The files to give to GDAL; an archive is unpacked into a folder that goes away afterwards."""
    if source.is_dir():
        yield [source] if source.suffix.lower() == ".gdb" else _inside(source, source)
    elif source.suffix.lower() in {".zip", ".kmz"}:
        with tempfile.TemporaryDirectory(prefix="evenstand-") as folder:
            unpack(source, Path(folder))
            files = _inside(Path(folder), source)
            for file in files:
                if file.is_file():
                    _check_label(file)
            yield files
    else:
        yield [source]


def _inside(folder: Path, source: Path) -> list[Path]:
    found = sorted(
        p for p in folder.rglob("*") if (p.is_file() and p.suffix.lower() in _MAIN) or (p.is_dir() and p.suffix.lower() == ".gdb")
    )
    if not found:
        raise FileError(
            "there is no vector file inside", where=source.name, limit=f"looked for {' '.join(_MAIN)}", cure="Check what was packed."
        )
    return found


def _gdal_path(file: Path) -> Path:
    if "!" in str(file):
        raise FileError("the name holds an exclamation mark", where=file.name, cure="Rename the file or its folder.")
    return file


def _list_layers(file: Path, source: Path) -> list[tuple[str, str | None]]:
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    pyogrio.set_gdal_config_options(_DEAD_PROXY)  # whatever a file points to, nothing leaves this machine
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return [(str(name), None if kind is None else str(kind)) for name, kind in pyogrio.list_layers(_gdal_path(file))]
    except (DataSourceError, DataLayerError, ValueError) as error:
        raise FileError(
            f"it cannot be read as a vector file ({_first_sentence(str(error), file)})",
            where=source.name,
            cure="Give GeoJSON, Shapefile or GeoPackage, complete as exported.",
        ) from error


def _pick_layer(source: Path, layers: list[tuple[Path, str, str | None]], wanted: str | None) -> tuple[Path, str]:
    with_geometry = [(file, name, kind) for file, name, kind in layers if kind]
    listed = "; ".join(f"{name} ({kind})" for _, name, kind in with_geometry)
    if wanted is not None:
        match = [(file, name) for file, name, _ in layers if name == wanted] or [
            (file, name) for file, name, _ in layers if name.lower() == wanted.lower()
        ]
        if len(match) == 1:
            return match[0]
        what = f"there is no layer {wanted!r}" if not match else f"{len(match)} layers are called {wanted!r}"
        raise FileError(what, where=source.name, limit=f"layers: {listed or 'none with a geometry'}", cure="Name one of them.")
    if not with_geometry:
        raise FileError("no layer has a geometry, only tables", where=source.name, cure="Give the file with the outlines.")
    if len(with_geometry) > 1:
        raise FileError(f"there are {len(with_geometry)} layers: {listed}", where=source.name, cure="Name one with layer=.")
    return with_geometry[0][:2]


def _read(file: Path, name: str, source: Path, digest: str) -> Layer:
    import shapely
    from pyogrio import raw, read_info
    from pyogrio.errors import DataLayerError, DataSourceError

    where = source.name if file == source else f"{source.name}, {file.name}"
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            count = int(read_info(file, layer=name)["features"])
            if count > MOST_FEATURES:
                raise FileError(f"layer {name} has {count:,} rows", where=where, limit=f"at most {MOST_FEATURES:,}", cure="Export fewer.")
            meta, _, wkb, columns = raw.read(file, layer=name, datetime_as_string=True)
    except (DataSourceError, DataLayerError, ValueError, UnboundLocalError) as error:  # the last: of a system in broken text
        raise FileError(
            f"layer {name} cannot be read ({_first_sentence(str(error), file)})",
            where=where,
            cure="The file may be damaged: export it again as GeoJSON, Shapefile or GeoPackage.",
        ) from error
    notes = sorted({_plain_warning(str(w.message), file) for w in caught} - {""})
    geometries = _geometries(wkb, where)
    if bool(np.any(shapely.has_z(geometries))):
        geometries = np.asarray(shapely.force_2d(geometries), dtype=object)
        notes.append("The outline carries heights; they were dropped.")
    return Layer(
        source=where,
        name=name,
        crs=meta.get("crs"),
        geometries=geometries,
        attributes={str(key): tuple(_plain(v) for v in column) for key, column in zip(meta["fields"], columns, strict=True)},
        is_geojson=file.suffix.lower() in {*_JSON, ".geojsonl"},
        file_hash=digest,
        notes=tuple(notes),
    )


def _geometries(wkb: npt.NDArray[np.object_] | None, where: str) -> npt.NDArray[np.object_]:
    import shapely

    if wkb is None:
        return np.empty(0, dtype=object)
    try:
        geometries = np.asarray(shapely.from_wkb(wkb, on_invalid="fix"), dtype=object)
    except shapely.errors.ShapelyError as error:
        raise FileError(f"a geometry is damaged ({error})", where=where, cure="Export the file again.") from error
    vertices = int(shapely.get_num_coordinates(geometries).sum())
    if vertices > MOST_VERTICES:
        raise FileError(
            f"{vertices:,} corners", where=where, limit=f"at most {MOST_VERTICES:,}", cure="Simplify the outline or export fewer."
        )
    return geometries


def _plain(value: Any) -> Any:
    """A plain Python value; not-a-number is None."""
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and value != value else value


def _first_sentence(text: str, file: Path) -> str:
    text = text.split(";")[0].split("\n")[0].replace(str(file), file.name)
    return text.strip().rstrip(".")[:200]


def _plain_warning(text: str, file: Path) -> str:
    if "Measured (M)" in text:
        return "The outline carries measures (M); they were dropped."
    if "More than one layer" in text:
        return ""
    return f"While reading: {_first_sentence(text, file)}."
