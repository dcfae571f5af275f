"""How rough the simulated day is: every constant of the simulator's own, in one place.

None of these figures is published; they are common practice, chosen by us for the simulator alone. The code that
judges readings keeps its own, other figures.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from evenstand.model.place import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """Constants of a world.

    steer_sd_m, steer_reach_m: error across the line, and how far it lasts [m]; overrun_m: openers down too long at either end of
    a pass, mean [m]; section_late_m: sections on too early and off too late [m]; speed_sd, speed_reach_m: unrest of the speed,
    and how far it lasts [-, m]; speed_lag_m: distance over which
    a new speed is taken up [m]; gnss_scale_m, gnss_freedom: Student-t noise of one fix [m, -]; gnss_slow_sd_m, gnss_slow_s:
    noise that lasts [m, s]; travel_sd: error of the machine's distance per pulse [-]; soil_sd, soil_reach_m: slip by place
    [-, m]; load_slip: change of the count from an empty to a full cart [-]; width_sd_m: what a tape missed of the width [m];
    factor_sd: error of the typed kg/turn [-]; drift_low, drift_high: size of its change over a day [-]; settle_high, settle_ha:
    loose product gives less until it has settled [-, ha]; speed_power: kg/turn against ground speed, exponent [-];
    sensor_drop: share of rows in which a clear run is not seen [-]; sensor_ghost: share in which a dead one is [-];
    fan_sd_turns_s [turns/s]; boundary_sd: error of the outline's area [-]; scale_step_kg: ticket step [kg]; aim_sd: how near a
    fill comes to what was aimed at [-]; latency_s: by how much the recorded sections lag [s]; idle_per_h: stops for
    other things than filling [1/h]; rounded: displays and records are
    rounded; error: multiplies the error of every witness, 0 makes all of them exact [-].
    """

    name: str
    steer_sd_m: float
    steer_reach_m: float
    overrun_m: float
    section_late_m: float
    speed_sd: float
    speed_reach_m: float
    speed_lag_m: float
    gnss_scale_m: float
    gnss_freedom: float
    gnss_slow_sd_m: float
    gnss_slow_s: float
    travel_sd: float
    soil_sd: float
    soil_reach_m: float
    load_slip: float
    width_sd_m: float
    factor_sd: float
    drift_low: float
    drift_high: float
    settle_high: float
    settle_ha: float
    speed_power: float
    sensor_drop: float
    sensor_ghost: float
    fan_sd_turns_s: float
    boundary_sd: float
    scale_step_kg: float
    aim_sd: float
    latency_s: float
    idle_per_h: float
    rounded: bool
    error: float = 1.0


WORLDS: dict[str, World] = {
    "still": World(
        name="still", steer_sd_m=0, steer_reach_m=40, overrun_m=0, section_late_m=0,
        speed_sd=0, speed_reach_m=60, speed_lag_m=6, gnss_scale_m=0,
        gnss_freedom=5, gnss_slow_sd_m=0, gnss_slow_s=100, travel_sd=0, soil_sd=0, soil_reach_m=200, load_slip=0, width_sd_m=0,
        factor_sd=0, drift_low=0, drift_high=0, settle_high=0, settle_ha=1, speed_power=0, sensor_drop=0, sensor_ghost=0,
        fan_sd_turns_s=0, boundary_sd=0, scale_step_kg=0, aim_sd=0, latency_s=0, idle_per_h=0, rounded=False, error=0.0,
    ),
    "nominal": World(
        name="nominal", steer_sd_m=0.04, steer_reach_m=45, overrun_m=3.0, section_late_m=5.0,
        speed_sd=0.03, speed_reach_m=80, speed_lag_m=6,
        gnss_scale_m=0.010, gnss_freedom=5, gnss_slow_sd_m=0.012, gnss_slow_s=120, travel_sd=0.004, soil_sd=0.004, soil_reach_m=180,
        load_slip=0.006, width_sd_m=0.012, factor_sd=0.008, drift_low=0.003, drift_high=0.012, settle_high=0.008, settle_ha=2.0,
        speed_power=-0.01, sensor_drop=3e-4, sensor_ghost=5e-4, fan_sd_turns_s=0.35, boundary_sd=0.008, scale_step_kg=10,
        aim_sd=0.03, latency_s=0, idle_per_h=0.25, rounded=True,
    ),
    "rough": World(
        name="rough", steer_sd_m=0.18, steer_reach_m=60, overrun_m=6.0, section_late_m=10.0,
        speed_sd=0.07, speed_reach_m=60, speed_lag_m=8,
        gnss_scale_m=0.05, gnss_freedom=3, gnss_slow_sd_m=0.35, gnss_slow_s=240, travel_sd=0.008, soil_sd=0.012, soil_reach_m=260,
        load_slip=0.016, width_sd_m=0.025, factor_sd=0.013, drift_low=0.010, drift_high=0.030, settle_high=0.020, settle_ha=3.0,
        speed_power=-0.05, sensor_drop=2e-3, sensor_ghost=4e-3, fan_sd_turns_s=0.8, boundary_sd=0.013, scale_step_kg=20,
        aim_sd=0.06, latency_s=1.5, idle_per_h=0.5, rounded=True,
    ),
}  # fmt: skip


class Dice:
    """Random numbers by name: each part of the day draws from a stream of its own, so that a fault in one place moves nothing elsewhere."""

    def __init__(self, seed: int) -> None:
        self._seed = seed

    def of(self, name: str) -> np.random.Generator:
        """A generator that depends on the seed and the name alone."""
        return np.random.default_rng(np.random.SeedSequence([self._seed & 0xFFFFFFFFFFFFFFFF, zlib.crc32(name.encode())]))

    def lasting(self, name: str, n: int, reach: float, sd: float) -> FloatArray:
        """Noise of standard deviation `sd` that lasts over `reach` steps (first-order autoregression), shape (n,)."""
        if sd == 0 or n == 0:
            return np.zeros(n)
        keep = float(np.exp(-1.0 / max(reach, 1e-6)))
        tail = int(np.ceil(6 * reach)) + 1
        kernel = keep ** np.arange(tail)
        noise = self.of(name).standard_normal(n + tail - 1)
        size = 1 << int(np.ceil(np.log2(noise.size + tail)))
        spread = np.fft.irfft(np.fft.rfft(noise, size) * np.fft.rfft(kernel, size), size)
        out: FloatArray = spread[tail - 1 : tail - 1 + n] * (sd / np.sqrt((kernel**2).sum()))
        return out
