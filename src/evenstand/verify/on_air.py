"""Fan, lines, floating grains, liquids and ammonia against print."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from evenstand import machine
from evenstand.base.units import ACRE_M2, FOOT_M, INCH_M, LB_KG, MILE_M, US_GALLON_L
from evenstand.verify.pairs import Independent, Pair

_LB_GAL = LB_KG / (US_GALLON_L / 1e3)


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def _first_fan() -> machine.FanPoint:
    return machine.fan_laws(6000, 4, 6, speed_ratio=1500 / 2000)


def _second_fan() -> machine.FanPoint:
    return machine.fan_laws(2000, 3.00, 1.0, speed_ratio=1500 / 1300)


def _pressure_ratio(feet: float) -> float:
    height = machine.geopotential_height(feet * FOOT_M)
    return machine.standard_pressure(height) / 101_325


def _density_ratio(feet: float) -> float:
    height = machine.geopotential_height(feet * FOOT_M)
    return machine.air_density(machine.standard_temperature(height), machine.standard_pressure(height)) / 1.225


def _critical(product: str) -> tuple[float, float]:
    band = machine.published_air_band(product)
    return band.critical_low_m_s or math.nan, band.critical_high_m_s or math.nan


def _lowest(product: str) -> float:
    return _critical(product)[0]


def _fluid_of(water: float, lb_gal: float) -> float:
    return machine.fluid_flow(water, lb_gal * _LB_GAL)


_FANS = (
    Pair(
        function="machine.fan_laws",
        case="2000 to 1500 rpm, and 1300 to 1500 rpm",
        unit="cfm, inches of water, hp and kW",
        cells=(
            ("4500 cfm of 6000", "4500", lambda: _first_fan().flow),
            ("2.25 in of 4", "2.25", lambda: _first_fan().pressure),
            ("2.53 hp of 6", "2.53", lambda: _first_fan().power),
            ("2308 cfm of 2000", "2308", lambda: _second_fan().flow),
            ("3.99 in of 3.00", "3.99", lambda: _second_fan().pressure),
            ("1.54 kW of 1.0", "1.54", lambda: _second_fan().power),
        ),
        source="fan-law-homework",
        where="two worked solutions",
    ),
    Pair(
        function="machine.standard_pressure",
        case="altitude factors at one temperature, 9 heights",
        unit="-",
        cells=tuple(
            (f"{feet} ft", text, partial(_pressure_ratio, feet))
            for feet, text in (
                (1000, ".964"), (2000, ".930"), (3000, ".896"), (4000, ".864"), (5000, ".832"), (6000, ".801"), (7000, ".772"),
                (8000, ".743"), (10000, ".688"),
            )
        ),
        kind="table",
        source="fan-handbook-altitude",
        where="table at 70 °F: ratios of pressure, not of density",
    ),
    Pair(
        function="machine.air_density",
        case="altitude factor at 2,000 ft taken for a density ratio",
        published=".930",
        unit="-",
        compute=lambda: _density_ratio(2000),
        source="fan-handbook-altitude",
        where="the same table",
        trap=True,
        instead=".943",
        why="the table is a pressure ratio at 70 °F; the standard atmosphere cools with height, so its density falls less",
    ),
)  # fmt: skip

_LINES = (
    Pair(
        function="machine.friction_factor",
        case="Reynolds 1e5 and roughness 1e-4 by three forms; smooth at 1e4",
        unit="-",
        cells=(
            ("Colebrook", ".018513866", lambda: machine.friction_factor(1e5, 1e-4, method="colebrook")),
            ("Haaland", ".018265053", lambda: machine.friction_factor(1e5, 1e-4, method="haaland")),
            ("Swamee-Jain", ".018452424", lambda: machine.friction_factor(1e5, 1e-4, method="swamee-jain")),
            ("Blasius", ".031640", lambda: machine.friction_factor(1e4, method="blasius")),
        ),
        source="fluids-friction",
        where="examples of the documentation; a check of the port",
    ),
    Pair(
        function="machine.air_viscosity",
        case="standard atmosphere at 5,000 m off a map",
        published="1.62825",
        unit="1e-5 Pa s",
        compute=lambda: 1e5 * machine.air_viscosity(machine.standard_temperature(machine.geopotential_height(5000))),
        source="iso-2533",
        where="example of the library's documentation; a check of the port",
    ),
    Pair(
        function="machine.terminal_velocity",
        case="70 micrometres, 2,600 kg/m³, in water",
        published=".004142497",
        unit="m/s",
        compute=lambda: machine.terminal_velocity(70e-6, 2600, 1000, 1e-3),
        source="fluids-drag",
        where="example of v_terminal; a check of the port",
    ),
    Pair(
        function="machine.published_air_band",
        case="critical velocities of cereals, maize, sunflower, poppy and pea",
        unit="m/s",
        cells=(
            ("cereals, lowest", "8.03", lambda: _critical("wheat")[0]),
            ("cereals, highest", "10.54", lambda: _critical("barley")[1]),
            *(
                (name, text, partial(_lowest, crop))
                for name, crop, text in (
                    ("maize", "corn", "13.29"), ("sunflower", "sunflower", "8.38"), ("poppy", "poppy", "4.67"), ("pea", "pea", "14.85"),
                )
            ),
        ),
        kind="table",
        exact=True,
        source="hula-2016",
        where="as summed up",
    ),
)  # fmt: skip


_LIQUIDS = (
    Pair(
        function="machine.fluid_flow",
        case="15 gal of water, through the same orifice 32, 30 and 28 % nitrogen solution",
        unit="gal",
        cells=tuple((f"{lb} lb/gal", text, partial(_fluid_of, 15, lb)) for lb, text in ((11.1, "13.0"), (10.8, "13.2"), (10.65, "13.3"))),
        source="ncsu-calibration-2014",
        where="15/1.15, 15/1.14, 15/1.13",
    ),
)

_NITROGEN = (
    Pair(
        function="machine.nutrient_per_litre",
        case="32 % solution of 11.1 lb/gal",
        published="3.6",
        unit="lb N/gal",
        compute=lambda: machine.nutrient_per_litre(11.1 * _LB_GAL, 0.32) * US_GALLON_L / LB_KG,
        source="ncsu-calibration-2014",
        where="nitrogen solutions",
    ),
    Pair(
        function="machine.nutrient_per_litre",
        case="30 % solution of 10.8 lb/gal",
        published="3.3",
        unit="lb N/gal",
        compute=lambda: machine.nutrient_per_litre(10.8 * _LB_GAL, 0.30) * US_GALLON_L / LB_KG,
        source="ncsu-calibration-2014",
        where="nitrogen solutions",
        trap=True,
        instead="3.24",
        why="10.8 x 0.30 is 3.24, printed rounded up",
    ),
    Pair(
        function="machine.liquid_nutrient_rate",
        case="100 lb N/ac of a solution with 3.3 lb N/gal",
        published="30.3",
        unit="gal/ac",
        compute=lambda: _gallons_per_acre(machine.liquid_nutrient_rate(_lb_ac(100), 3.3 / 10.8, 10.8 * _LB_GAL)),
        source="extension-nozzle-flow",
        where="worked example",
    ),
    Pair(
        function="machine.liquid_flow",
        case="30.3 gal/ac at 4 mph over 30 in",
        published="0.61",
        unit="gal/min",
        compute=lambda: machine.liquid_flow(30.3 * US_GALLON_L / (ACRE_M2 / 1e4), 4 * MILE_M / 3600, 30 * INCH_M) / US_GALLON_L,
        source="extension-nozzle-flow",
        where="worked example",
    ),
    Pair(
        function="machine.ammonia_rate",
        case="240 lb of nitrogen at 82 %",
        published="293",
        unit="lb",
        compute=lambda: machine.ammonia_rate(240),
        source="ammonia-nitrogen-example",
        where="worked",
    ),
    Pair(
        function="machine.ammonia_density",
        case="liquid at its boiling point, -28 °F",
        published="5.69",
        unit="lb/gal",
        compute=lambda: machine.ammonia_density(_celsius(-28)) / _LB_GAL,
        source="wisconsin-sps-343",
        where="appendix",
    ),
    Pair(
        function="machine.ammonia_density",
        case="liquid at 60 °F",
        published="5.15",
        unit="lb/gal",
        compute=lambda: machine.ammonia_density(_celsius(60)) / _LB_GAL,
        source="ammonia-page",
        where="text",
    ),
)


def _lb_ac(rate: float) -> float:
    return rate * LB_KG / (ACRE_M2 / 1e4)


def _gallons_per_acre(rate_l_ha: float) -> float:
    return rate_l_ha / US_GALLON_L * (ACRE_M2 / 1e4)


PAIRS: tuple[Pair, ...] = (*_FANS, *_LINES, *_LIQUIDS, *_NITROGEN)


def _by_hand(
    function: str,
    case: str,
    ours: Callable[[], float | None],
    other: Callable[[], float],
    *,
    how: str = "closed form",
    tolerance: float = 1e-9,
) -> Independent:
    """A closed form or a second library beside our value; not-a-number where ours is missing."""

    def both() -> tuple[float, float]:
        value = ours()
        return (math.nan if value is None else float(value), float(other()))

    return Independent(function=function, case=case, how=how, tolerance=tolerance, compute=both)


def _window() -> machine.AirWindow:
    """Load 1.2 times, air 0.9 times, split 0.8 times, a grain that floats 1.125 times as fast."""
    return machine.air_window(
        70, proven_solids_kg_s=0.5, solids_kg_s=0.6, proven_density_kg_m3=1.2, density_kg_m3=1.08, proven_split=0.5, split=0.4,
        proven_lift_m_s=8, lift_m_s=9, product="wheat",
    )  # fmt: skip


def _lighter() -> machine.AirWindow:
    """Load 0.6 times, denser air 1.1 times, a grain that floats 0.9 times as fast."""
    return machine.air_window(
        70, proven_solids_kg_s=0.5, solids_kg_s=0.3, proven_density_kg_m3=1.0, density_kg_m3=1.1, proven_lift_m_s=10, lift_m_s=9
    )


def _thin_air() -> machine.AirWindow:
    """From sea level to 1,000 m, standard atmosphere."""
    up = machine.geopotential_height(1000)
    return machine.air_window(
        70, proven_solids_kg_s=0.5, solids_kg_s=0.5,
        proven_density_kg_m3=machine.air_density(15, 101_325),
        density_kg_m3=machine.air_density(machine.standard_temperature(up), machine.standard_pressure(up)),
    )  # fmt: skip


def _saltation_ratio() -> float:
    """Drop-out speed by Weber at 1.2 times the load over that at the load itself."""
    speeds = [machine.saltation_velocity(m, 4e-3, 1.2, 0.064, method="weber", terminal_m_s=8.0) for m in (0.6, 0.5)]
    return float(speeds[0] / speeds[1])


def _floating_ratio() -> float:
    """Drop-out speed by Matsumoto 1974 of a grain that floats 1.125 times as fast."""
    speeds = [
        machine.saltation_velocity(0.5, 4e-3, 1.2, 0.064, method="matsumoto-1974", particle_kg_m3=1300, terminal_m_s=v) for v in (9.0, 8.0)
    ]
    return float(speeds[0] / speeds[1])


_WINDOW: tuple[tuple[str, Callable[[], float | None], Callable[[], float]], ...] = (
    ("setting", lambda: _window().rev_s, lambda: 70 / 0.8 / 0.9 * 1.2**0.2 * 1.125**0.4375),
    ("low end: drag alone, flattest load", lambda: _window().low_rev_s, lambda: 70 / 0.8 / math.sqrt(0.9) * 1.2 ** (0.11 / 1.11)),
    ("high end: loading kept", lambda: _window().high_rev_s, lambda: 70 / 0.8 / 0.9 * 1.2),
    ("low alarm: 6 % below", lambda: _window().alarm_low_rev_s, lambda: 0.94 * 70 / 0.8 / 0.9 * 1.2**0.2 * 1.125**0.4375),
    ("high alarm: 8 % above", lambda: _window().alarm_high_rev_s, lambda: 1.08 * 70 / 0.8 / 0.9 * 1.2**0.2 * 1.125**0.4375),
    ("proven speed", lambda: _window().proven_rev_s, lambda: 70),
    ("load", lambda: _window().load_ratio, lambda: 1.2),
    ("density", lambda: _window().density_ratio, lambda: 0.9),
    ("split", lambda: _window().split_ratio, lambda: 0.8),
    ("floating speed", lambda: _window().lift_ratio, lambda: 1.125),
    ("mass of air at equal speed", lambda: _window().air_mass_ratio, lambda: 0.72),
    ("lighter load, denser air: setting", lambda: _lighter().rev_s, lambda: 70 / math.sqrt(1.1) * 0.6**0.2 * 0.9**0.4375),
    ("lighter load, denser air: low end", lambda: _lighter().low_rev_s, lambda: 70 / 1.1 * 0.6**0.465 * 0.9 ** (3.7 / 4.61)),
    ("lighter load, denser air: nothing given back", lambda: _lighter().high_rev_s, lambda: 70 / math.sqrt(1.1)),
    ("what mattered most: split", lambda: _window().mattered[0].ratio, lambda: 0.8),
    ("split on the speed", lambda: _window().mattered[0].factor, lambda: 1.25),
    ("split, per cent a per cent", lambda: _window().mattered[0].slope, lambda: -1),
    ("then air", lambda: _window().mattered[1].ratio, lambda: 0.9),
    ("air on the speed", lambda: _window().mattered[1].factor, lambda: 1 / 0.9),
    ("air, per cent a per cent", lambda: _window().mattered[1].slope, lambda: -1),
    ("then product", lambda: _window().mattered[2].ratio, lambda: 1.125),
    ("product on the speed", lambda: _window().mattered[2].factor, lambda: 1.125**0.4375),
    ("product, per cent a per cent", lambda: _window().mattered[2].slope, lambda: 0.4375),
    ("then load", lambda: _window().mattered[3].ratio, lambda: 1.2),
    ("load on the speed", lambda: _window().mattered[3].factor, lambda: 1.2**0.2),
    ("load, per cent a per cent", lambda: _window().mattered[3].slope, lambda: 0.2),
    ("lines, low, as printed in m/min", lambda: _band().line_low_m_s, lambda: 1200 / 60),
    ("lines, high, as printed in m/min", lambda: _band().line_high_m_s, lambda: 1800 / 60),
    ("cereals, low, as printed", lambda: _band().critical_low_m_s, lambda: 8.03),
    ("cereals, high, as printed", lambda: _band().critical_high_m_s, lambda: 10.54),
)  # fmt: skip


def _band() -> machine.AirBand:
    band = _window().band
    assert band is not None
    return band


def _line() -> machine.LinePressure:
    """8 m of pipe of 0.1 m that rises 2 m, 3 m of hose, 2 bends, air of 1.2 kg/m³ and 2e-5 Pa s at 20 m/s, 0.1 kg/s of product."""
    return machine.line_pressure_drop(8, 0.1, 20, 1.2, solids_kg_s=0.1, lift_m=2, bends=2, hose_m=3, viscosity_pa_s=2e-5, slip=0.75)


_BLASIUS = 0.3164 / 120_000**0.25  # at 1.2 x 20 x 0.1 / 2e-5
_PER_M = _BLASIUS / 0.1 * 1.2 * 20**2 / 2
_FLUX = 0.1 / (math.pi / 4 * 0.1**2)
_BENDS_M = 2 * 20 * FOOT_M  # 20 ft are more than 40 bores
_AIR_PA = _PER_M * (8 + 15 + _BENDS_M)
_LIFT_PA = 9.80665 * 2 * (1.2 + _FLUX / 15)
_TOTAL_PA = _AIR_PA * (1 + 0.75 * _FLUX / 24) + 240 + _FLUX * 15 + _LIFT_PA

_LINE: tuple[tuple[str, Callable[[], float | None], Callable[[], float]], ...] = (
    ("sum of six parts", lambda: _line().total_pa, lambda: _TOTAL_PA),
    ("10 % less", lambda: _line().low_pa, lambda: 0.9 * _TOTAL_PA),
    ("10 % more", lambda: _line().high_pa, lambda: 1.1 * _TOTAL_PA),
    ("straight pipe", lambda: _line().straight_pa, lambda: 8 * _PER_M),
    ("hose, five times its length", lambda: _line().hose_pa, lambda: 15 * _PER_M),
    ("bends, 20 ft each", lambda: _line().bends_pa, lambda: _BENDS_M * _PER_M),
    ("product: slip times loading", lambda: _line().solids_pa, lambda: _AIR_PA * 0.75 * _FLUX / 24),
    ("bringing air to speed", lambda: _line().air_start_pa, lambda: 240),
    ("bringing product to speed", lambda: _line().solids_start_pa, lambda: _FLUX * 15),
    ("raising both", lambda: _line().lift_pa, lambda: _LIFT_PA),
    ("length that rubs", lambda: _line().equivalent_m, lambda: 23 + _BENDS_M),
    ("speed of the product", lambda: _line().product_m_s, lambda: 15),
    ("loading", lambda: _line().loading, lambda: _FLUX / 24),
    ("Reynolds number", lambda: _line().reynolds, lambda: 120_000),
    ("friction factor", lambda: _line().friction_factor, lambda: _BLASIUS),
)


def _gauge() -> machine.GaugeStep:
    return machine.gauge_step(4000, 600, 100, step=0.05, precision=0.1)


_REST: tuple[tuple[str, str, Callable[[], float | None], Callable[[], float]], ...] = (
    ("machine.own_load_exponent", "through its two points", lambda: machine.own_load_exponent(60, 0.5, 60 * 1.2**0.3, 0.6), lambda: 0.3),
    ("machine.liquid_rate", "the way back", lambda: machine.liquid_rate(machine.liquid_flow(60, 2, 16), 2, 16), lambda: 60),
    ("machine.liquid_flow", "60 L/ha x 2 m/s x 16 m = 0.192 L/s over 64", lambda: machine.liquid_flow(60, 2, 16, outlets=64), lambda: 0.18),
    (
        "machine.liquid_orifice_bore",
        "by the orifice's mass flow",
        lambda: _through(machine.liquid_orifice_bore(0.5, 2e5, 1279, coefficient=0.65)),
        lambda: 0.5,
    ),
    ("machine.pressure_for_flow", "twice the flow, four times the pressure", lambda: machine.pressure_for_flow(1e5, 2), lambda: 4e5),
    ("machine.pulse_mass", "a pulse of 1/700 L", lambda: machine.pulse_mass(700, 1400), lambda: 0.002),
    ("machine.gauge_step", "5 % of 2,400 kg", lambda: _gauge().step_kg, lambda: 120),
    ("machine.gauge_step", "at 100 kg/ha", lambda: _gauge().step_ha, lambda: 1.2),
    ("machine.gauge_step", "two uniform errors", lambda: _gauge().difference_sd_kg, lambda: math.sqrt(2 * 120**2 / 12)),
    ("machine.gauge_step", "in hectares", lambda: _gauge().difference_sd_ha, lambda: math.sqrt(2 * 1.2**2 / 12)),
    ("machine.gauge_step", "ten times that for 10 %", lambda: _gauge().area_for_check_ha, lambda: 10 * math.sqrt(2 * 1.2**2 / 12)),
    (
        "machine.ammonia_volume_rate",
        "mass over density at 50 °F",
        lambda: machine.ammonia_volume_rate(100, 10),
        lambda: 1e5 / (5.214 * _LB_GAL),
    ),
    ("machine.terminal_velocity", "Stokes, in thick oil", lambda: machine.terminal_velocity(1e-4, 2500, 900, 1.0), lambda: _stokes()),
    (
        "machine.floating_by_drag",
        "drag is weight less lift",
        lambda: 0.44 * 1.2 * machine.floating_by_drag(4e-3, 1300, 1.2, 0.44) ** 2 / 2 * math.pi * 2e-3**2,
        lambda: math.pi / 6 * 4e-3**3 * (1300 - 1.2) * 9.80665,
    ),
    ("machine.saltation_opinions", "Rizk alone", lambda: _only_rizk(), lambda: machine.saltation_velocity(0.25, 1e-4, 1.2, 0.078)),
)  # fmt: skip


def _through(bore_m: float) -> float:
    """Litres a minute of liquid through an opening, by `orifice_flow`."""
    return machine.orifice_flow(bore_m, 2e5, 1279, coefficient=0.65) / 1279 * 60_000


def _stokes() -> float:
    return 1600 * 9.80665 * 1e-8 / 18


def _only_rizk() -> float:
    return machine.saltation_opinions(0.25, 1e-4, 1.2, 0.078)[0].speed_m_s


INDEPENDENT: tuple[Independent, ...] = (
    *(_by_hand("machine.air_window", case, ours, other) for case, ours, other in _WINDOW),
    _by_hand(
        "machine.air_window",
        "1,000 m against sea level: mass of air at equal speed 1 / 1.102 (ISO 2533: 1.11166 / 1.2250)",
        lambda: _thin_air().air_mass_ratio,
        lambda: 1.11166 / 1.2250,
        how="ratio of two tabulated densities",
        tolerance=1e-5,
    ),
    _by_hand("machine.air_window", "load as in Weber's drop-out speed", lambda: _window().mattered[3].factor, _saltation_ratio),
    _by_hand("machine.air_window", "product as in Matsumoto's drop-out speed", lambda: _window().mattered[2].factor, _floating_ratio),
    *(_by_hand("machine.line_pressure_drop", case, ours, other) for case, ours, other in _LINE),
    *(_by_hand(function, case, ours, other) for function, case, ours, other in _REST),
    _by_hand(
        "machine.ammonia_density",
        "25 °C, between two rows of the table",
        lambda: machine.ammonia_density(25),
        lambda: 602.960,
        how="second library: CoolProp 8.0 gives 602.960 kg/m³",
        tolerance=5e-4,
    ),
    _by_hand(
        "machine.ammonia_pressure",
        "25 °C, between two rows of the table",
        lambda: machine.ammonia_pressure(25),
        lambda: 1_002_695,
        how="second library: CoolProp 8.0 gives 1.002695 MPa",
        tolerance=2e-3,
    ),
)
