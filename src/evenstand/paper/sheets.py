"""All sheets of one job, written into a folder."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenstand.base.errors import InputError
from evenstand.base.units import Profile
from evenstand.desk.sheets import SheetContext
from evenstand.paper.cab import cab_data
from evenstand.paper.card import card_data
from evenstand.paper.catches import catch_data
from evenstand.paper.lid import map_data
from evenstand.paper.pocket import pocket_page
from evenstand.paper.slip import slip_data
from evenstand.paper.typesetting import PaperSize, default_paper, typeset


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One kind of sheet: its key and file name, its title, its template and what fills it."""

    key: str
    title: str
    template: str
    data: Callable[[SheetContext], dict[str, Any]]


SHEETS: tuple[Sheet, ...] = (
    Sheet(key="cab-sheet", title="Cab sheet", template="cab_sheet", data=cab_data),
    Sheet(key="value-card", title="Value card", template="value_card", data=card_data),
    Sheet(key="fill-slip", title="Fill slip", template="fill_slip", data=slip_data),
    Sheet(key="catch-card", title="Catch card", template="catch_card", data=catch_data),
    Sheet(key="run-map", title="Run map", template="run_map", data=map_data),
)
POCKET = "pocket-page"
KEYS: tuple[str, ...] = (*(sheet.key for sheet in SHEETS), POCKET)


def sheet_pdf(context: SheetContext, key: str, *, paper: PaperSize | None = None) -> bytes:
    """One sheet as a tagged PDF.

    Parameters
    ----------
    context : SheetContext
        Farm, job, plan and outfit. [metric]
    key : str
        One of `KEYS` without the pocket page. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]

    Raises
    ------
    InputError
        If there is no such sheet.
    """
    for sheet in SHEETS:
        if sheet.key == key:
            return typeset(sheet.template, sheet.data(context), paper=paper or default_paper(context.profile))[0]
    raise InputError(f"'{key}' is no sheet", where="sheet", cure=f"Sheets: {', '.join(s.key for s in SHEETS)}.")


def sheet_pictures(context: SheetContext, key: str, *, paper: PaperSize | None = None) -> list[bytes]:
    """One sheet as PNG pictures, one for each page. [-]"""
    sheet = next((s for s in SHEETS if s.key == key), None)
    if sheet is None:
        raise InputError(f"'{key}' is no sheet", where="sheet", cure=f"Sheets: {', '.join(s.key for s in SHEETS)}.")
    return typeset(sheet.template, sheet.data(context), paper=paper or default_paper(context.profile), output="png")


def write_sheets(
    context: SheetContext,
    folder: str | Path,
    profile: Profile | None = None,
    paper: PaperSize | None = None,
    *,
    only: Sequence[str] = (),
) -> list[Path]:
    """Write the sheets and the pocket page of a job into a folder; a file that is there is replaced.

    Parameters
    ----------
    context : SheetContext
        Farm, job, plan and outfit. [metric]
    folder : path
        Made if it is not there. [-]
    profile : str or None
        Units; None: those of the context. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]
    only : sequence of str
        Keys of `KEYS`; empty: all. [-]

    Returns
    -------
    list of Path
        The files, in the order of `KEYS`. [-]

    Raises
    ------
    InputError
        If a key is unknown, or the folder cannot be written.
    """
    import dataclasses

    unknown = [key for key in only if key not in KEYS]
    if unknown:
        raise InputError(f"'{unknown[0]}' is no sheet", where="only", cure=f"Sheets: {', '.join(KEYS)}.")
    if profile is not None:
        context = dataclasses.replace(context, profile=profile)
    place = Path(folder)
    written = []
    try:
        place.mkdir(parents=True, exist_ok=True)
        for key in KEYS:
            if only and key not in only:
                continue
            if key == POCKET:
                path, content = place / f"{key}.html", pocket_page(context).encode()
            else:
                path, content = place / f"{key}.pdf", sheet_pdf(context, key, paper=paper)
            path.write_bytes(content)
            written.append(path)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", where=str(place), cure="Name a folder that can be written.") from error
    return written
