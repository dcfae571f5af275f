"""NMEA 0183: published sentences with their checksums (receiver manuals and an open parser's test files, project references 5.4)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from evenstand.base.errors import FileError, InputError
from evenstand.formats.nmea import checksum, degrees, looks_like_nmea
from evenstand.trail import read_trail

PUBLISHED = {
    "GPGGA,092204.999,4250.5589,S,14718.5084,E,1,04,24.4,19.7,M,,,,0000": "1F",
    "GPGGA,061831.000,2236.9152,N,11403.2422,E,2,07,1.1,144.0,M,-2.2,M,4.8,0000": "60",
    "GPRMC,061831.000,A,2236.9152,N,11403.2422,E,0.00,,130214,,,D": "76",
    "GPGGA,111309.00,5400.6000,N,00247.1000,W,1,16,00.7,042.2,M,49.1,M,,": "4A",
    "GPRMC,111309.00,A,5400.6000,N,00247.1000,W,00.00,302.5,140915,,,A": "4C",
    "GPGGA,050701.00,2713.5680820,N,10254.3169400,E,4,17,2.0,823.0678,M,-34.480,M,02,0004": "73",
    "GPVTG,309.62,T,,M,0.13,N,0.2,K": "6E",
}


def sentence(body: str) -> str:
    return f"${body}*{checksum(body.encode()):02X}"


@pytest.mark.parametrize(("body", "printed"), PUBLISHED.items())
def test_the_checksum_is_the_printed_one(body: str, printed: str) -> None:
    assert f"{checksum(body.encode()):02X}" == printed


def test_a_manual_prints_a_space_that_its_checksum_does_not_count() -> None:
    assert f"{checksum(b'GPVTG,309.62,T, ,M,0.13,N,0.2,K'):02X}" == "4E"  # printed with 6E: a known misprint


@pytest.mark.parametrize(
    ("text", "side", "want"),
    [
        ("4250.5589", "S", -42.8426483),
        ("14718.5084", "E", 147.3084733),
        ("2713.5680820", "N", 27.2261347),
        ("10254.3169400", "E", 102.9052823),
    ],
)
def test_degrees_and_minutes_are_the_printed_degrees(text: str, side: str, want: float) -> None:
    assert degrees(text, side) == pytest.approx(want, abs=5e-8)


def log(tmp_path: Path, lines: list[str], name: str = "log.nmea") -> Path:
    path = tmp_path / name
    path.write_text("\r\n".join(lines) + "\r\n", encoding="ascii")
    return path


def moments(n: int, *, date: str = "120526", start: int = 0) -> list[str]:
    out = []
    for k in range(n):
        s = start + k
        clock = f"{s // 3600 % 24:02d}{s // 60 % 60:02d}{s % 60:02d}.00"
        out.append(sentence(f"GNGGA,{clock},5000.{6000 + k * 12:04d},N,10500.6000,W,4,17,0.7,572.1,M,-20.0,M,,"))
        if date:
            out.append(sentence(f"GNRMC,{clock},A,5000.{6000 + k * 12:04d},N,10500.6000,W,4.10,0.0,{date},,,A"))
    return out


def test_sentences_of_one_moment_make_one_row(tmp_path: Path) -> None:
    trail = read_trail(log(tmp_path, moments(5)))
    assert trail.rows == trail.kept == 5
    assert np.diff(trail.t_ms).tolist() == [1000] * 4
    assert np.asarray(trail.speed_m_s) == pytest.approx([4.10 * 1852 / 3600] * 5)
    assert np.hypot(*np.diff(trail.xy_m, axis=0).T) == pytest.approx([2.22] * 4, abs=0.01)  # 0.0012 minutes of latitude


def test_a_bad_checksum_is_set_aside_with_both_values(tmp_path: Path) -> None:
    lines = moments(5)
    lines[4] = lines[4][:-2] + "00"
    trail = read_trail(log(tmp_path, lines))
    assert trail.rows == trail.kept + len(trail.set_aside) == 6
    assert "checksum is 00" in trail.set_aside[0].reason
    assert trail.set_aside[0].line == 5


def test_midnight_adds_a_day(tmp_path: Path) -> None:
    lines = moments(6, start=86_397, date="")
    lines.insert(1, sentence("GPZDA,235957.00,12,05,2026,00,00"))
    assert np.diff(read_trail(log(tmp_path, lines)).t_ms).tolist() == [1000] * 5


def test_without_a_date_the_day_must_be_told(tmp_path: Path) -> None:
    path = log(tmp_path, moments(4, date=""))
    with pytest.raises(FileError, match="no sentence gives the date"):
        read_trail(path)
    assert read_trail(path, start="2026-05-12").t_ms[0] == 1_778_544_000_000  # 2026-05-12 00:00 UTC


def test_no_fix_is_set_aside(tmp_path: Path) -> None:
    lines = moments(6)
    lines[2] = sentence("GNGGA,000001.00,5000.6012,N,10500.6000,W,0,00,,,M,,M,,")
    lines[3] = sentence("GNRMC,000001.00,V,5000.6012,N,10500.6000,W,,,120526,,,N")
    trail = read_trail(log(tmp_path, lines))
    assert [r.reason for r in trail.set_aside] == ["no fix: 'fix' is 0"]


@pytest.mark.parametrize("junk", [b"", b"\0" * 500, b"$GPGGA\n" * 20, b"$GPGGA,,,,,,*56\n" * 20])
def test_junk_is_refused_and_nothing_hangs(tmp_path: Path, junk: bytes) -> None:
    path = tmp_path / "junk.nmea"
    path.write_bytes(junk)
    with pytest.raises(InputError):
        read_trail(path)


def test_other_text_is_not_taken_for_sentences() -> None:
    assert not looks_like_nmea(b"time,lat,lon\n1,2,3\n")
    assert looks_like_nmea("\n".join(moments(3)).encode())


def test_a_file_too_long_to_be_read_whole_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from evenstand.formats import nmea

    monkeypatch.setattr(nmea, "MOST_MOMENTS", 10)
    assert read_trail(log(tmp_path, moments(9))).rows == 9
    with pytest.raises(FileError, match="too much to be read whole"):
        read_trail(log(tmp_path, moments(12)))
