"""Lines and fans: what their sources print of parts that a whole answer carries along."""

from __future__ import annotations

from typing import Literal

from evenstand import machine
from evenstand.base.errors import MissingError
from evenstand.base.units import FOOT_M
from evenstand.verify.pairs import Pair


def _line(bore_m: float = 0.1, *, hose_m: float = 0.0, bends: float = 0.0) -> machine.LinePressure:
    """One metre of straight pipe, air of 1.2 kg/m³ at 25 m/s with a little product."""
    return machine.line_pressure_drop(1, bore_m, 25, 1.2, solids_kg_s=0.05, hose_m=hose_m, bends=bends)


def _friction(reynolds: float, roughness: float = 0.0) -> float:
    """Friction factor in a line of 0.1 m, its viscosity chosen for the Reynolds number."""
    method: Literal["blasius", "swamee-jain"] = "blasius" if roughness == 0 else "swamee-jain"
    line = machine.line_pressure_drop(
        1, 0.1, 10, 1.2, viscosity_pa_s=1.2 * 10 * 0.1 / reynolds, roughness_m=roughness * 0.1, friction=method
    )
    return line.friction_factor


def _band(product: str) -> machine.AirBand:
    band = machine.air_window(70, product=product).band
    if band is None:
        raise MissingError(f"no published band for {product}", where="product")
    return band


PAIRS: tuple[Pair, ...] = (
    Pair(
        function="machine.line_pressure_drop",
        case="hose and bends as straight pipe, product against air",
        unit="-",
        cells=(
            ("hose, times its length", "5", lambda: _line(hose_m=1).equivalent_m - 1),
            ("a bend in a narrow line, feet", "20", lambda: (_line(bends=1).equivalent_m - 1) / FOOT_M),
            ("a bend in a wide line, bores", "40", lambda: (_line(0.2, bends=1).equivalent_m - 1) / 0.2),
            ("speed of coarse product over that of the air", ".80", lambda: _line().product_m_s / 25),
        ),
        exact=True,
        source="conveying-design",
        where="equivalent lengths, speed of the solids",
    ),
    Pair(
        function="machine.line_pressure_drop",
        case="how far the sum may be off, either way",
        unit="%",
        cells=(
            ("more", "10", lambda: 100 * (_line().high_pa / _line().total_pa - 1)),
            ("less", "10", lambda: 100 * (1 - _line().low_pa / _line().total_pa)),
        ),
        exact=True,
        source="agarwal-2005",
        where="accuracy of the six parts together",
    ),
    Pair(
        function="machine.line_pressure_drop",
        case="friction factor within a line, smooth at Reynolds 1e4 and rough (1e-4) at 1e5",
        unit="-",
        cells=(
            ("smooth, Blasius", ".031640", lambda: _friction(1e4)),
            ("rough, Swamee and Jain", ".018452424", lambda: _friction(1e5, 1e-4)),
        ),
        source="fluids-friction",
        where="friction factors, examples",
    ),
    Pair(
        function="machine.air_window",
        case="floating speed of cereals, beside the answer",
        unit="m/s",
        cells=(
            ("low", "8.03", lambda: _band("wheat").critical_low_m_s or 0.0),
            ("high", "10.54", lambda: _band("wheat").critical_high_m_s or 0.0),
        ),
        exact=True,
        source="hula-2016",
        where="critical velocities",
    ),
    Pair(
        function="machine.air_window",
        case="air speed in the lines of air seeders, beside the answer (its unit is misprinted as turns a minute)",
        unit="m/min",
        cells=(("low", "1200", lambda: 60 * _band("wheat").line_low_m_s), ("high", "1800", lambda: 60 * _band("wheat").line_high_m_s)),
        exact=True,
        source="alberta-air-seeding",
        where="air velocity, as quoted",
    ),
)
