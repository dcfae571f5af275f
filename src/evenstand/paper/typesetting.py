"""From a template and plain data to a tagged PDF. The templates know no formula: everything in the data is text."""

from __future__ import annotations

import json
import re
from importlib.resources import as_file, files
from typing import Any, Literal

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile
from evenstand.drawing.tokens import FONT_FAMILY, TEXT_PT

PaperSize = Literal["a4", "us-letter"]
OutputFormat = Literal["pdf", "png"]
MOST_STRANGE = 40  # pictures and foreign scripts in names, one compilation each
_NOT_IN_FACE = re.compile(r'the text `"(.+?)"` could not be displayed', re.DOTALL)
_IMPORT = '#import "common.typ": *'


def default_paper(profile: Profile) -> PaperSize:
    """A4 for metric units, Letter for the others. [-]"""
    return "a4" if profile == "si" else "us-letter"


def typeset(template: str, data: dict[str, Any], *, paper: PaperSize = "a4", output: OutputFormat = "pdf") -> list[bytes]:
    """Set one sheet.

    Parameters
    ----------
    template : str
        Name of a file in `templates`, without its ending. [-]
    data : dict
        Plain JSON data; every number in it is already text. [-]
    paper : str
        'a4' or 'us-letter'. [-]
    output : str
        'pdf' gives one document, tagged for screen readers (PDF/UA-1); 'png' one picture a page. [-]

    Returns
    -------
    list of bytes
        One document, or one picture for each page. [-]

    Raises
    ------
    EvenstandError
        If the sheet cannot be set; the typesetter's own words are in it.
    """
    import typst

    folder = files("evenstand.paper")
    shared = (folder / "templates" / "common.typ").read_text(encoding="utf-8")
    source = (folder / "templates" / f"{template}.typ").read_text(encoding="utf-8").replace(_IMPORT, shared)
    printable = _printable(data)
    look = {"font": FONT_FAMILY, "paper": paper, **{f"{name}_pt": size for name, size in TEXT_PT.items()}}
    for _ in range(MOST_STRANGE):
        inputs = {"data": json.dumps(printable), "look": json.dumps(look)}
        with as_file(folder / "fonts") as fonts:
            try:
                made = typst.compile(
                    source.encode(),
                    format=output,
                    ppi=110.0,
                    font_paths=typst.Fonts(include_system_fonts=False, font_paths=[str(fonts)]),
                    ignore_system_fonts=True,
                    sys_inputs=inputs,
                    pdf_standards=["ua-1"] if output == "pdf" else [],
                )
                break
            except typst.TypstError as error:
                strange = _NOT_IN_FACE.search(error.message)
                if strange is None:
                    raise _unset(template, error.message) from error
                printable = _printable(printable, strange=strange.group(1))
    else:
        raise _unset(template, "too many signs that no shipped typeface has")
    return [bytes(made)] if isinstance(made, bytes | bytearray) else [bytes(page) for page in made]


def _unset(template: str, why: str) -> EvenstandError:
    return EvenstandError(
        f"the sheet '{template}' could not be set: {why}",
        where=template,
        cure="Report this with the job it was made for; the other sheets are not touched.",
    )


def _printable(value: Any, *, strange: str = "") -> Any:
    """The shipped face has no narrow fixed space: a plain fixed space stands in its place. A sign no face has is printed as '?'."""
    if isinstance(value, str):
        for sign in strange:
            value = value.replace(sign, "?")
        return value.replace("\u202f", "\u00a0")
    if isinstance(value, dict):
        return {key: _printable(part, strange=strange) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(part, strange=strange) for part in value]
    return value
