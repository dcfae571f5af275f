"""Entries from the pocket page: codes copied or read out, and the text it exports, as entries that go into a book once.

A code is one entry: `EV-` and groups of letters and digits that cannot be misread (no I, L, O, U; lower case and missing dashes are
read all the same), made of a version, what and when it was, the numbers in six figures, and a checksum of 16 bits.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from evenstand.base.clock import iso
from evenstand.base.errors import Fault, InputError

EntryKind = Literal["fill", "catch", "distance", "slip"]
KINDS: tuple[EntryKind, ...] = ("fill", "catch", "distance", "slip")
HOW = ("", "ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share", "low-light")
VALUES: dict[EntryKind, tuple[str, ...]] = {
    "fill": ("area_since_ha", "put_kg", "level_kg", "level_before_kg", "counter_ha"),
    "catch": ("turns", "tare_kg", "mass_kg", "mass_2_kg", "mass_3_kg", "mass_4_kg"),
    "distance": ("taped_m", "pulses", "shown_m"),
    "slip": ("asked", "seen"),
}
VERSION = 1
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
_MISREAD = str.maketrans({"O": "0", "I": "1", "L": "1"})
_GROUP = r"[0-9A-Z]{1,4}(?![0-9A-Z])"
_CODE = re.compile(  # with dashes, however short; with blanks, from five groups on; run together, from twenty letters on
    rf"\bEV(?:[-–—]{_GROUP}(?:[-–—. \t]{{1,3}}{_GROUP})*|(?:[. \t]{{1,3}}{_GROUP}){{5,}}|[0-9A-Z]{{20,}}\b)", re.IGNORECASE
)
_CURE = "Read it out or copy it again; each group has four letters or digits, the last one may be shorter."


@dataclass(frozen=True, slots=True, kw_only=True)
class PocketEntry:
    """One entry made at the field edge.

    values: by name, those of `VALUES` that were typed; areas [ha], masses [kg], turns [turns], lengths [m]; asked and seen in one
    unit. Of a fill check: put_kg went in at the fill before (then with level_before_kg in the bin); area_since_ha was sown since
    then; level_kg and counter_ha, the area counter itself, are of the moment of the entry.
    bin: letter or "". at: ISO time to the minute [UTC]. id: the same for the same entry however often it arrives. mark: first three
    hexadecimal digits of the plan's hash that the page was made from. how: how put in and level were known.
    """

    kind: EntryKind
    values: dict[str, float]
    at: str
    id: str
    bin: str = ""
    mark: str = ""
    how: tuple[str, str] = ("", "")


def encode(
    kind: EntryKind,
    values: dict[str, float],
    *,
    minutes: int,
    nonce: int,
    bin: str = "",
    mark: str = "0",
    how: tuple[str, str] = ("", ""),
) -> str:
    """The code of an entry, as the page makes it.

    Parameters
    ----------
    kind : str
        'fill', 'catch', 'distance' or 'slip'. [-]
    values : dict
        By the names of `VALUES`; a name left out is not known. [ha, kg, turns, m]
    minutes : int
        Minutes since the beginning of 2020, UTC. [min]
    nonce : int
        A random number below 4096, so that two entries of one minute differ. [-]

    Raises
    ------
    InputError
        If a value is negative or has more than a million in its six figures, or a name is not one of the kind's.
    """
    strange = [name for name in values if name not in VALUES[kind]]
    if strange:
        raise InputError(f"'{strange[0]}' is no value of a {kind}", where="values", cure=f"Use {', '.join(VALUES[kind])}.")
    listed = [values.get(name) for name in VALUES[kind]]
    while listed and listed[-1] is None:
        listed.pop()
    bits = f"{VERSION:03b}{KINDS.index(kind):03b}{minutes:024b}{nonce:012b}{int(mark or '0', 16) % 4096:012b}"
    bits += f"{ord(bin) - 64 if bin else 0:05b}{len(listed):04b}{HOW.index(how[0]):04b}{HOW.index(how[1]):04b}"
    bits += "".join(_number_bits(value) for value in listed)
    bits += "0" * (-len(bits) % 8)
    body = bytes(int(bits[i : i + 8], 2) for i in range(0, len(bits), 8))
    bits += f"{checksum(body):016b}"
    bits += "0" * (-len(bits) % 5)
    text = "".join(LETTERS[int(bits[i : i + 5], 2)] for i in range(0, len(bits), 5))
    return "EV-" + "-".join(text[i : i + 4] for i in range(0, len(text), 4))


def _number_bits(value: float | None) -> str:
    """One bit whether it is known, three for the place of the point, twenty for the figures."""
    if value is None:
        return "0"
    if not (math.isfinite(value) and 0 <= value < 1e6 - 0.5):
        raise InputError(f"{value:g} does not fit a code", where="values", limit="0 <= value < 1,000,000", cure="Correct it.")
    places = 0
    while places < 7 and math.floor(value * 10 ** (places + 1) + 0.5) < 1_000_000:
        places += 1
    digits = math.floor(value * 10**places + 0.5)
    while places > 0 and digits % 10 == 0:
        digits //= 10
        places -= 1
    return f"1{places:03b}{digits:020b}"


def checksum(body: bytes) -> int:
    """Cyclic redundancy check of 16 bits, polynomial x^16 + x^12 + x^5 + 1, starting from all ones. [-]"""
    crc = 0xFFFF
    for byte in body:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021) & 0xFFFF if crc & 0x8000 else (crc << 1) & 0xFFFF
    return crc


def decode(text: str) -> tuple[PocketEntry, ...]:
    """Entries from a code, from codes in any text, or from the page's exported file; each entry once.

    Parameters
    ----------
    text : str
        Codes begin with EV; a lone code may come without it. [-]

    Returns
    -------
    tuple of PocketEntry
        In order of time. [ha, kg, turns, m]

    Raises
    ------
    InputError
        If there is no code, or naming every code that is cut short, mistyped or of a newer release. Nothing is taken from a
        text in which one code is wrong.
    """
    found = [match.group(0) for match in _CODE.finditer(text)]
    if not found:
        lone = text.strip()
        if lone and re.fullmatch(r"[0-9A-Za-z\s\-–—.]+", lone) and re.search(r"\d", lone) and len(_letters(lone)) >= 12:
            found = [lone]
        else:
            raise InputError("no code is in this text", where="pocket entries", cure="Codes begin with EV-; copy the list from the page.")
    faults: list[Fault] = []
    entries: dict[str, PocketEntry] = {}
    for raw in found:
        try:
            entry = _decode_longest(raw)
        except InputError as error:
            faults += error.faults
        else:
            entries[entry.id] = entry
    if faults:
        raise InputError(faults)
    return tuple(sorted(entries.values(), key=lambda entry: (entry.at, entry.id)))


def _letters(raw: str) -> str:
    body = re.sub(r"[\s\-–—.]", "", raw).upper()
    return (body[2:] if body.startswith("EV") else body).translate(_MISREAD)


def _decode_longest(raw: str) -> PocketEntry:
    """A code that words may follow on its line: all of it, else the longest beginning whose checksum fits."""
    pieces = re.split(r"([ \t]+)", raw.strip())
    try:
        return _decode_one(raw)
    except InputError:
        for end in range(len(pieces) - 2, 0, -2):
            try:
                return _decode_one("".join(pieces[:end]))
            except InputError:
                continue
        raise


def _decode_one(raw: str) -> PocketEntry:
    shown = raw.strip()
    letters = _letters(raw)
    strange = sorted({c for c in letters if c not in LETTERS})
    if strange:
        raise InputError(f"'{strange[0]}' is in no code", where=shown, cure=_CURE)
    bits = "".join(f"{LETTERS.index(c):05b}" for c in letters)
    body = bytes(int(bits[i : i + 8], 2) for i in range(0, len(bits) - 7, 8))
    if len(body) < 11:
        raise InputError("the code is cut short", where=shown, cure=_CURE)
    if checksum(body[:-2]) != int.from_bytes(body[-2:], "big"):
        raise InputError("the checksum does not fit: a letter is wrong or missing", where=shown, cure=_CURE)
    return _entry(_Bits("".join(f"{byte:08b}" for byte in body[:-2])), shown)


class _Bits:
    """Bits read from the front."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0

    def take(self, count: int) -> int:
        piece = self._text[self._at : self._at + count]
        if len(piece) < count:
            raise InputError("the code ends too early", where="pocket entry", cure=_CURE)
        self._at += count
        return int(piece, 2)


def _entry(bits: _Bits, shown: str) -> PocketEntry:
    version = bits.take(3)
    if version != VERSION:
        raise InputError(
            f"version {version} of the code", where=shown, limit=f"this release reads {VERSION}", cure="Use the newer release."
        )
    kind_number, minutes, nonce, mark, letter, count = (bits.take(n) for n in (3, 24, 12, 12, 5, 4))
    first, second = bits.take(4), bits.take(4)
    if kind_number >= len(KINDS) or max(first, second) >= len(HOW) or letter > 26:
        raise InputError("the code names something unknown", where=shown, cure="Use the newer release.")
    kind = KINDS[kind_number]
    names = VALUES[kind]
    values: dict[str, float] = {}
    for i in range(count):
        if bits.take(1) and i < len(names):
            places, digits = bits.take(3), bits.take(20)
            values[names[i]] = digits / 10**places
    return PocketEntry(
        kind=kind,
        values=values,
        at=iso(EPOCH + timedelta(minutes=minutes)),
        id=f"{minutes:06x}{nonce:03x}{KINDS.index(kind)}",
        bin=chr(64 + letter) if letter else "",
        mark=f"{mark:03x}",
        how=(HOW[first], HOW[second]),
    )
