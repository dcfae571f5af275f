"""A call kept: as a file while there is no book, and in a book once it is known whose it was."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import InputError, MissingError
from evenstand.check.calls import CallAnswer, CallReadings, call_readings, ratio_text
from evenstand.model import Job, Reading

if TYPE_CHECKING:
    from evenstand.book import Book, CallNote

FORMAT = "evenstand-call"
VERSION = 1
MOST_BYTES = 200_000
_TEXT = 2000
_CURE = "Give a file that was written by: evenstand call ... --keep FILE"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCall:
    """A call as it is kept. at: when [ISO 8601]; caller; readings: with how well each is known [metric]; causes, advice, asked: what was
    likely, what was said, the numbers side by side; note: in the specialist's own words."""

    at: str
    caller: str
    readings: tuple[Reading, ...]
    causes: tuple[str, ...]
    asked: str
    advice: str
    note: str


def keep_call(call: CallReadings, answer: CallAnswer, *, caller: str = "", note: str = "", clock: Clock) -> KeptCall:
    """A call and its answer, to be kept.

    Parameters
    ----------
    call : CallReadings
        What was read. [see the class]
    answer : CallAnswer
        What was made of it. [-]
    caller, note : str
        Who rang; what else is to be said. [-]
    clock : Clock
        When. [UTC]
    """
    return KeptCall(
        at=iso(clock.now()),
        caller=caller.strip()[:_TEXT],
        readings=call_readings(call),
        causes=answer.likely,
        asked="; ".join(ratio_text(r) for r in answer.ratios),
        advice=" ".join([*answer.say, f"Asked next: {answer.ask}"]),
        note=note.strip()[:_TEXT],
    )


def write_call(kept: KeptCall, path: Path) -> Path:
    """Write a call as a file; one that is there is not written over.

    Parameters
    ----------
    kept : KeptCall
        From `keep_call`. [-]
    path : Path
        Of the file. [-]

    Raises
    ------
    InputError
        If the file is there, or cannot be written.
    """
    import dataclasses

    told = {"format": FORMAT, "version": VERSION, **dataclasses.asdict(kept)}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(path, "x", encoding="utf-8") as file:
            file.write(json.dumps(told, ensure_ascii=False, indent=2) + "\n")
    except FileExistsError:
        raise InputError("is there already", where=str(path), cure="Name another file; a call is not written over.") from None
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", where=str(path), cure="Name a file that can be written.") from None
    return path


def read_call(path: Path) -> KeptCall:
    """Read a call that was kept as a file.

    Parameters
    ----------
    path : Path
        Of the file. [-]

    Raises
    ------
    InputError
        If it is no kept call, or of a newer release.
    """
    try:
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", where=str(path), cure=_CURE) from None
    return call_from(data, where=str(path))


def call_from(data: bytes, *, where: str) -> KeptCall:
    """Read a kept call out of the bytes of its file.

    Parameters
    ----------
    data : bytes
        As the file holds them. [-]
    where : str
        How errors call it. [-]

    Raises
    ------
    InputError
        If it is no kept call, or of a newer release.
    """
    try:
        if len(data) > MOST_BYTES:
            raise ValueError("too long")
        told: dict[str, Any] = json.loads(data)
        if told["format"] != FORMAT:
            raise ValueError("another format")
        version = int(told["version"])
        kept = KeptCall(
            at=_text(told["at"]),
            caller=_text(told["caller"]),
            readings=tuple(_reading(r) for r in told["readings"]),
            causes=tuple(_text(c) for c in told["causes"])[:50],
            asked=_text(told["asked"]),
            advice=_text(told["advice"]),
            note=_text(told["note"]),
        )
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError("is no kept call", where=where, cure=_CURE) from error
    if version > VERSION:
        raise InputError(
            f"was written by a newer release (version {version})", where=where, limit=f"{VERSION}", cure="Install that release."
        )
    return kept


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > 4 * _TEXT:
        raise ValueError("no text, or too long a one")
    return value


def _reading(told: dict[str, Any]) -> Reading:
    import math

    value, sd = float(told["value"]), float(told["sd"])
    if not (math.isfinite(value) and math.isfinite(sd) and sd >= 0):
        raise ValueError("no number")
    return Reading(
        quantity=_text(told["quantity"]),
        value=value,
        sd=sd,
        at=_text(told["at"]),
        instrument=_text(told["instrument"]),
        derived_from=tuple(_text(x) for x in told["derived_from"]),
    )


def attach_call(book: Book, kept: KeptCall, *, job: str = "", outfit: str = "") -> CallNote:
    """Put a kept call into a book, at a job or an outfit; the same call goes in once.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    kept : KeptCall
        From `keep_call` or `read_call`. [-]
    job, outfit : str
        Keys; "" where it is not known. A job tells its outfit. [-]

    Raises
    ------
    MissingError
        If there is no such job or outfit.
    InputError
        If the call is in the book already.
    """
    from evenstand.book import CallNote
    from evenstand.model import Outfit

    jobs, outfits = {j.key: j for j in book.all(Job)}, [o.key for o in book.all(Outfit)]
    if job and job not in jobs:
        raise MissingError(f"no job '{job}'", where="--job", cure=f"Jobs: {', '.join(sorted(jobs)) or 'none yet'}.")
    if outfit and outfit not in outfits:
        raise MissingError(f"no outfit '{outfit}'", where="--outfit", cure=f"Outfits: {', '.join(outfits) or 'none yet'}.")
    mark = hashlib.sha256(repr(kept).encode()).hexdigest()[:12]
    key = f"call-{kept.at[:10]}-{mark}"
    if book.get(CallNote, key) is not None:
        raise InputError("is in the book already", where="call", cure="Nothing is to be done: a call goes in once.")
    made = CallNote(
        key=key,
        at=kept.at,
        caller=kept.caller,
        outfit=outfit or (jobs[job].outfit if job else ""),
        job=job,
        asked=kept.asked,
        readings=kept.readings,
        causes=kept.causes,
        advice=kept.advice,
        note=kept.note,
    )
    book.put(made, why="call")
    return made


def calls_of(book: Book, *, job: str = "") -> tuple[CallNote, ...]:
    """Calls of a book, or of one job, the newest first. [-]"""
    from evenstand.book import CallNote

    found = book.all(CallNote, job=job) if job else book.all(CallNote)
    return tuple(sorted(found, key=lambda c: c.at, reverse=True))
