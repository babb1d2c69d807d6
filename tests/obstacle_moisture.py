"""A second solver for condensation between layers, written apart from the package's own.

It takes raw numbers (thickness, conductivity, vapour factor), finds the vapour pressures as the solution of an obstacle
problem by projected Gauss-Seidel sweeps with over-relaxation, and marches through the months by its own event loop.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
Raw = tuple[float, float]  # resistance [m2K/W], sd [m]


def saturation_pa(c: float) -> float:
    """Return the saturation pressure [Pa], EN ISO 13788 annex E."""
    if c < 0:
        return 610.5 * math.exp(21.875 * c / (265.5 + c))
    return 610.5 * math.exp(17.269 * c / (237.3 + c))


def yearly_water(
    layers: Sequence[Raw], temperature: Sequence[float], humidity: Sequence[float], excess_pa: float, start: int
) -> list[list[float]]:
    """Return the water [g/m2] at every inner plane at the end of each month from ``start``, (12, planes)."""
    cut = [(r / n, s / n) for r, s in layers for n in [max(1, math.ceil(r / 0.25 - 1e-12))] for _ in range(n)]
    planes = len(cut) - 1
    water = [0.0] * planes
    history = []
    for k in range(12):
        month = (start + k) % 12
        outside = temperature[month]
        total = 0.04 + sum(r for r, _ in cut) + 0.13
        passed, ceiling = 0.04, []
        for r, _ in cut[:-1]:
            passed += r
            ceiling.append(saturation_pa(outside + (20 - outside) * passed / total))
        low = humidity[month] * saturation_pa(outside)
        high = low + excess_pa * min(1.0, max(0.0, 1 - outside / 20))
        left = DAYS[month] * 86400.0
        while left > 1e-6:
            flow = _flows(cut, ceiling, water, low, high)
            steps = [water[i] / -flow[i] for i in range(planes) if water[i] > 0 and flow[i] < 0]
            step = min([left, *steps])
            for i in range(planes):
                water[i] += flow[i] * step
                if water[i] < 1e-11:
                    water[i] = 0.0
            left -= step
        history.append([1000 * w for w in water])
    return history


def _flows(
    cut: Sequence[Raw], ceiling: Sequence[float], water: Sequence[float], low: float, high: float
) -> list[float]:
    """Return the gain [kg/m2s] at each plane with the pressures of the obstacle problem."""
    planes = len(ceiling)
    pressure = [min(ceiling[i], low + (high - low) * (i + 1) / (planes + 1)) for i in range(planes)]
    wet = [w > 0 for w in water]
    for i in range(planes):
        if wet[i]:
            pressure[i] = ceiling[i]
    for _ in range(60000):
        moved = 0.0
        for i in range(planes):
            if wet[i]:
                continue
            before = low if i == 0 else pressure[i - 1]
            after = high if i == planes - 1 else pressure[i + 1]
            toward_out, toward_in = 1 / cut[i][1], 1 / cut[i + 1][1]
            free = (before * toward_out + after * toward_in) / (toward_out + toward_in)
            new = min(ceiling[i], pressure[i] + 1.7 * (free - pressure[i]))
            moved = max(moved, abs(new - pressure[i]))
            pressure[i] = new
        if moved < 1e-10:
            break
    flows = []
    for i in range(planes):
        before = low if i == 0 else pressure[i - 1]
        after = high if i == planes - 1 else pressure[i + 1]
        gain = 2e-10 * ((after - pressure[i]) / cut[i + 1][1] - (pressure[i] - before) / cut[i][1])
        flows.append(gain if wet[i] or pressure[i] >= ceiling[i] - 1e-9 else 0.0)
    return flows
