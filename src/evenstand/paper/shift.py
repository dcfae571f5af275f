"""The shift note on one page, and the same as lines to read aloud."""

from __future__ import annotations

from typing import Any

from evenstand.base.units import Profile, shown
from evenstand.desk.shifts import ShiftBin, ShiftNote, doubt_lines
from evenstand.paper.typesetting import PaperSize, default_paper, typeset
from evenstand.paper.wording import figures

MOST_CHANGES, MOST_DOUBTS, MOST_HAZARDS, MOST_CALLS = 10, 6, 6, 3
"""What one page holds; the rest is counted on it."""
STATES = {"does-not-hold": "Does not hold", "doubtful": "Doubtful", "cannot-tell": "Cannot be told yet"}


def note_lines(note: ShiftNote, profile: Profile) -> list[tuple[str, list[str]]]:
    """The note as titles with their sentences, in the order they are read. [text]

    Parameters
    ----------
    note : ShiftNote
        From `desk.shifts.shift_note`. [metric]
    profile : str
        Units. [-]
    """
    changed = [f"{c.text} ({c.who}, {_clock(c.at)}{f': {c.why}' if c.why else ''})" for c in note.changed]
    return [
        (f"{note.crop.capitalize()}{f', {note.field}' if note.field else ''}: where it stopped", stopped(note, profile)),
        ("In the bins, by the tally", [f"{b.bin} {b.product}: {bin_text(b, profile)}" for b in note.bins] or ["no bin is planned"]),
        (f"Changed since {_clock(note.since)}", changed or ["no value of this job or outfit"]),
        ("In force", [f"{label}: {value}" for label, value in note.in_force]),
        ("Open doubts", [f"{STATES[state]}: {claim} {_settle(settle)}".strip() for state, claim, settle in doubt_lines(note)] or ["none"]),
        ("Runs shut", [", ".join(map(str, note.shut)) or "none"]),
        ("To mind", list(note.hazards) or ["nothing is on record"]),
        *([("Calls", list(note.calls))] if note.calls else []),
        *([("Said", [f"{note.said}{f' ({note.said_by})' if note.said_by else ''}"])] if note.said else []),
    ]


def stopped(note: ShiftNote, profile: Profile) -> list[str]:
    """Where it stopped and what comes next. [text]"""
    if note.done_ha is None:
        out = ["Nothing is sown yet, as far as the book knows."]
    else:
        left = f", {shown(note.left_ha, 'area', profile)} left" if note.left_ha is not None else ""
        out = [f"{shown(note.done_ha, 'area', profile)} sown{left}; read {_clock(note.last_read)}."]
    if note.done_pass is not None:
        out.append(
            f"About pass {note.done_pass} by the area; next pass {note.next_pass}."
            if note.next_pass
            else "The last pass is done, by the area."
        )
    return [*out, note.stop] if note.stop else out


def bin_text(b: ShiftBin, profile: Profile) -> str:
    """'2,360 kg (± 120), good for 19.5 ha; last fill less the rate times the area since'. [text]"""
    if b.left_kg is None:
        return f"not known: {b.how}"
    spread = f" (± {figures(b.sd_kg, 'mass', profile, count=2)})" if b.sd_kg else ""
    lasts = f", good for {shown(b.lasts_ha, 'area', profile)}" if b.lasts_ha is not None else ""
    return f"{figures(b.left_kg, 'mass', profile) if b.left_kg else shown(0.0, 'mass', profile)}{spread}{lasts}; {b.how}"


def _settle(text: str) -> str:
    return f"To settle it: {text.rstrip('.')}." if text else ""


def _clock(at: str) -> str:
    return f"{at[:10]} {at[11:16]} UTC" if len(at) >= 16 else at


def note_pdf(note: ShiftNote, *, farm: str, profile: Profile = "si", paper: PaperSize | None = None) -> bytes:
    """The note as a tagged PDF of one page.

    Parameters
    ----------
    note : ShiftNote
        From `desk.shifts.shift_note`. [metric]
    farm : str
        Its name. [-]
    profile : str
        Units. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]

    Returns
    -------
    bytes
        A tagged PDF. [-]
    """
    return typeset("shift_note", note_data(note, farm=farm, profile=profile), paper=paper or default_paper(profile))[0]


def note_data(note: ShiftNote, *, farm: str, profile: Profile) -> dict[str, Any]:
    """The texts of the note. [text]"""
    names = [
        "stopped",
        "bins",
        "changed",
        "force",
        "doubts",
        "shut",
        "mind",
        *(["calls"] if note.calls else []),
        *(["said"] if note.said else []),
    ]
    parts = dict(zip(names, note_lines(note, profile), strict=True))
    most = {"calls": MOST_CALLS, "changed": MOST_CHANGES, "doubts": MOST_DOUBTS, "mind": MOST_HAZARDS}
    cut = {name: _cut(items, most.get(name, 99)) for name, (_, items) in parts.items()}
    about = " · ".join(part for part in (note.field, note.crop) if part)
    return {
        "head": {
            "title": "Shift note",
            "about": about or note.job,
            "outfit": note.outfit if len(note.outfit) < 44 else f"{note.outfit[:42]}…",
            "foot": " · ".join(part for part in (farm, f"made {_clock(note.at)}") if part),
            "mark": "",
            "lang": "en",
        },
        "titles": {name: title for name, (title, _) in parts.items()},
        "parts": {"said": [], "calls": [], **cut},
        "force": [[label, value] for label, value in note.in_force],
        "bins": [
            [
                b.bin,
                b.product,
                "" if b.left_kg is None else figures(b.left_kg, "mass", profile) if b.left_kg else shown(0.0, "mass", profile),
                "" if b.lasts_ha is None else shown(b.lasts_ha, "area", profile),
                b.how,
            ]
            for b in note.bins
        ],
    }


def _cut(items: list[str], most: int) -> list[str]:
    return items if len(items) <= most else [*items[:most], f"and {len(items) - most} more: see the site"]
