"""Drills and lessons on paper: drills two to a page with room for the answer, their answers behind; one page for each number."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from evenstand.base.units import Profile, restated
from evenstand.desk.drill_marks import mark
from evenstand.desk.drills import Drill, Solution, draw
from evenstand.desk.lessons import Lesson, lesson
from evenstand.desk.teaching import repeated
from evenstand.paper.typesetting import PaperSize, default_paper, typeset


def _head(title: str, about: str) -> dict[str, str]:
    return {
        "title": title,
        "about": about,
        "outfit": "",
        "foot": "A simulated machine: no real field, no real fault",
        "mark": "",
        "lang": "en",
    }


def drills_pdf(seed: int, *, faults: int = 1, count: int = 4, profile: Profile = "si", paper: PaperSize | None = None) -> bytes:
    """Drills to print, with their answers on pages of their own at the end.

    Parameters
    ----------
    seed : int
        Of the first; the others follow one by one. [-]
    faults, count : int
        How many things are wrong in each, and how many drills. [-]
    profile : str
        Units. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]

    Returns
    -------
    bytes
        A tagged PDF. [-]
    """
    return typeset("drill_sheet", drills_data(seed, faults=faults, count=count, profile=profile), paper=paper or default_paper(profile))[0]


def drills_data(seed: int, *, faults: int, count: int, profile: Profile) -> dict[str, Any]:
    """The texts of the drill sheet. [text]"""
    drawn = [draw(seed + i, faults=faults, profile=profile) for i in range(count)]
    last = f" to {seed + count - 1}" if count > 1 else ""
    return {
        "head": _head("Six readings: what is wrong?", f"Drills {seed}{last}"),
        "lead": f"{'One thing is' if faults == 1 else 'Two things are'} wrong in each. "
        "It may be that nobody could tell from these six: then say so, and say what you would read next.",
        "drills": [_question(d, profile) for d, _ in drawn],
        "answers": [_answer(d, s) for d, s in drawn],
    }


def _question(d: Drill, profile: Profile) -> dict[str, Any]:
    return {
        "seed": str(d.seed),
        "facts": list(d.facts),
        "rows": [[r.label, r.said(profile), f"{r.how} {r.give_or_take(profile)}".strip()] for r in d.readings],
        "lines": d.faults,
    }


def _answer(d: Drill, s: Solution) -> dict[str, Any]:
    return {
        "seed": str(d.seed),
        "lines": [line.partition(": ")[2] for line in mark(d, s, ()).lines],
        "why": list(dict.fromkeys(e for f in s.findings for e in f.evidence)),
        "natures": [[r.label, "witness" if r.nature == "witness" else f"echo of {repeated(r.repeats)}"] for r in d.readings],
    }


def lessons_pdf(keys: Sequence[str], *, profile: Profile = "si", paper: PaperSize | None = None) -> bytes:
    """Lessons to print, one page each.

    Parameters
    ----------
    keys : sequence of str
        Of `desk.lessons.lessons`. [-]
    profile : str
        Units of the sentences. [-]
    paper : str or None
        'a4' or 'us-letter'; None: what the profile prints on. [-]

    Returns
    -------
    bytes
        A tagged PDF. [-]
    """
    chosen = [lesson(key) for key in keys]
    about = chosen[0].title if len(chosen) == 1 else f"{len(chosen)} pages"
    data = {"head": {**_head("What the number says", about), "foot": ""}, "lessons": [_lesson(x, profile) for x in chosen]}
    return typeset("lesson", data, paper=paper or default_paper(profile))[0]


def _lesson(x: Lesson, profile: Profile) -> dict[str, Any]:
    def told(items: Sequence[str]) -> list[str]:
        return [restated(t, profile) for t in items]

    return {
        "title": x.title,
        "kind": x.kind,
        "short": x.short,
        "made_of": list(x.made_of),
        "proves": told(x.proves),
        "never": told(x.never),
        "check": told(x.check),
        "sum": {"text": x.sum.text, "formula": x.sum.said},
        "first": x.first,
    }
