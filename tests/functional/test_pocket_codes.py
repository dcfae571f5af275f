"""Codes from the pocket page: read back once, however they were copied, and refused when a letter is wrong."""

from __future__ import annotations

import random

import pytest

from evenstand.base.errors import InputError
from evenstand.desk.pocketing import KINDS, LETTERS, VALUES, PocketEntry, checksum, decode, encode

FILL = {"area_since_ha": 29.6, "put_kg": 4000.0, "level_kg": 400.0}


def code(nonce: int = 77, **more: object) -> str:
    """A fill of bin D on 1 May 2027, 18:40 UTC."""
    given = {"minutes": 3_856_000, "nonce": nonce, "bin": "D", "mark": "5f2", "how": ("ticket", "glance"), **more}
    return encode("fill", FILL, **given)  # type: ignore[arg-type]


def test_a_code_tells_what_was_typed_when_and_for_which_plan() -> None:
    assert decode(code()) == (
        PocketEntry(
            kind="fill", values=FILL, at="2027-05-01T18:40:00.000Z", id="3ad68004d0", bin="D", mark="5f2", how=("ticket", "glance")
        ),
    )


def test_all_kinds_come_back_in_six_figures() -> None:
    random_ = random.Random(3)
    for _ in range(500):
        kind = random_.choice(KINDS)
        values = {
            name: random_.choice([random_.uniform(0, 1), random_.uniform(1, 9e5), 0.0]) for name in VALUES[kind] if random_.random() < 0.8
        }
        (back,) = decode(encode(kind, values, minutes=random_.randrange(2**24), nonce=random_.randrange(4096)))
        assert back.kind == kind
        assert back.values.keys() == values.keys()
        for name, value in values.items():
            assert back.values[name] == pytest.approx(value, rel=1e-5, abs=5e-7)


def test_the_checksum_is_the_published_one() -> None:
    # CRC-16 with polynomial 0x1021 and start 0xFFFF: its usual check value over the digits 1 to 9 is 0x29B1 (from memory)
    assert checksum(b"123456789") == 0x29B1


@pytest.mark.parametrize(
    "written",
    [
        str.lower,
        lambda c: c.replace("-", " "),
        lambda c: c.replace("-", ""),
        lambda c: c.replace("0", "O").replace("1", "l"),
        lambda c: c[3:],
        lambda c: f"  {c}  2027-05-01 20:40  fill D, 29.60 ha, put in 4 000 kg, now 400 kg: holds",
        lambda c: f"{c} and that is all for today",
        lambda c: c.replace("-", "–"),
    ],
    ids=["lower case", "spaces", "run together", "misread letters", "without EV", "a line of the list", "words behind", "long dashes"],
)
def test_a_code_is_read_however_it_was_copied(written) -> None:  # type: ignore[no-untyped-def]
    assert decode(written(code())) == decode(code())


def test_a_list_is_read_in_order_of_time_and_each_entry_once() -> None:
    later, first = code(1, minutes=3_856_100), code(2, minutes=3_856_000)
    text = f"Kept on the phone\n{later}  words\n{first}\n{later.lower()}\n"
    assert [e.id for e in decode(text)] == [decode(first)[0].id, decode(later)[0].id]


def test_two_entries_of_one_minute_are_two_entries() -> None:
    assert len(decode(f"{code(1)}\n{code(2)}")) == 2


def test_every_single_wrong_letter_is_noticed() -> None:
    good = code()
    for place, letter in enumerate(good):
        if place < 3 or letter == "-":
            continue
        for other in LETTERS:
            if other == letter:
                continue
            wrong = good[:place] + other + good[place + 1 :]
            try:
                found = decode(wrong)
            except InputError as error:
                assert "checksum" in str(error) or "version" in str(error)  # noqa: PT017 - either refusal is right
            else:
                # the last letter carries only filling bits besides the checksum: nothing that was typed may have changed
                assert place == len(good) - 1
                assert found == decode(good)


def test_neighbours_that_changed_places_are_noticed() -> None:
    good = code()
    for place in range(3, len(good) - 1):
        a, b = good[place], good[place + 1]
        if "-" in (a, b) or a == b:
            continue
        with pytest.raises(InputError):
            decode(good[:place] + b + a + good[place + 2 :])


def test_one_wrong_code_stops_the_whole_list_and_is_named() -> None:
    bad = code(3).replace("EV-43NN", "EV-43NM")
    with pytest.raises(InputError, match="the checksum does not fit") as caught:
        decode(f"{code(1)}\n{bad}\n{code(2)[:12]}")
    assert len(caught.value.faults) == 2
    assert "43NM" in caught.value.faults[0].where
    assert "cut short" in caught.value.faults[1].what
    assert caught.value.exit_code == 2


def test_text_without_a_code_is_refused_with_what_to_do() -> None:
    for text in ("", "   ", "put in 4000 kg", "EVERY day", "hello"):
        with pytest.raises(InputError, match="Codes begin with EV-"):
            decode(text)


def test_a_code_of_a_newer_release_is_refused_as_such() -> None:
    from evenstand.desk import pocketing

    version = pocketing.VERSION
    try:
        pocketing.VERSION = 2
        newer = code()
    finally:
        pocketing.VERSION = version
    with pytest.raises(InputError, match="version 2 of the code"):
        decode(newer)


def test_what_does_not_fit_is_refused_when_it_is_made() -> None:
    with pytest.raises(InputError, match="does not fit a code"):
        encode("fill", {"put_kg": 2e6}, minutes=0, nonce=0)
    with pytest.raises(InputError, match="does not fit a code"):
        encode("fill", {"put_kg": -1.0}, minutes=0, nonce=0)
    with pytest.raises(InputError, match="'mass' is no value of a fill"):
        encode("fill", {"mass": 1.0}, minutes=0, nonce=0)
