"""The checks against outside figures that need nothing but the program itself, as one table.

`perpend demo --self-check` prints it. The tests under ``tests/outside`` hold these and many more, some against
reference libraries and photographs that are fetched when they run.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class OutsideCheck:
    """One published figure and what this program makes of it."""

    what: str
    source: str
    published: float
    computed: float
    tolerance: float
    reason: str

    @property
    def holds(self) -> bool:
        """Return whether the computed figure is within the tolerance of the published one."""
        return abs(self.computed - self.published) <= self.tolerance


def run_checks() -> list[OutsideCheck]:
    """Return every check, computed now."""
    return [*_transmittances(), *_moisture(), *_junctions(), *_uncertainty(), *_tape()]


def _transmittances() -> Iterator[OutsideCheck]:
    from estimator.layers import Layer, resistive_layer, solid_layer
    from estimator.materials import Material
    from estimator.transmittance import thermal_transmittance, upgraded_u

    def plain(mm: float, conductivity: float, bridge: float | None = None, share: float = 0.0) -> Layer:
        def of(value: float) -> Material:
            return Material(key="m", name="m", conductivity_w_mk=value, vapour_factor=1, source="the example's own")

        return solid_layer(of(conductivity), mm, bridge=None if bridge is None else of(bridge), bridge_share=share)

    cavity = resistive_layer("cavity", 50, 0.18)
    handbook = "Scottish Government Building Standards, worked example "
    frame = thermal_transmittance(
        [plain(102, 0.77), cavity, plain(9, 0.13), plain(140, 0.040, 0.12, 0.15), plain(12.5, 0.21)]
    )
    block = thermal_transmittance(
        [
            plain(102, 0.77),
            cavity,
            plain(125, 0.11, 0.88, 0.067),
            plain(89, 0.038, 0.13, 0.118),
            plain(12.5, 0.21),
        ]
    )
    printed = "half a unit of the last printed digit"
    for what, source, published, computed, tolerance, reason in (
        ("U, timber frame and brick, W/m2K", handbook + "6.B.2", 0.297, frame.u_w_m2k, 0.0005, printed),
        ("upper limit of resistance, m2K/W", handbook + "6.B.2", 3.435, frame.upper_m2k_w, 0.0005, printed),
        ("lower limit of resistance, m2K/W", handbook + "6.B.2", 3.304, frame.lower_m2k_w, 0.0006, "rounded layers"),
        ("U, aircrete cavity wall, W/m2K", handbook + "6.B.3", 0.30, block.u_w_m2k, 0.005, printed),
    ):
        yield OutsideCheck(
            what=what, source=source, published=published, computed=computed, tolerance=tolerance, reason=reason
        )
    cibse = "CIBSE Guide A tables 3.49 and 3.50, quoted in Historic Scotland Technical Paper 10, p. 38"
    plaster = solid_layer("gypsum_plaster_dense", 13)
    solid = thermal_transmittance([solid_layer("brick_outer", 220), plaster]).u_w_m2k
    hollow = thermal_transmittance(
        [solid_layer("brick_outer", 105), cavity, solid_layer("brick_inner", 105), plaster]
    ).u_w_m2k
    yield OutsideCheck(
        what="U, 220 mm solid brick, W/m2K", source=cibse, published=2.09, computed=solid, tolerance=0.005,
        reason=printed,
    )  # fmt: skip
    yield OutsideCheck(
        what="U, empty cavity wall, W/m2K", source=cibse, published=1.44, computed=hollow, tolerance=0.005,
        reason=printed,
    )  # fmt: skip
    yield OutsideCheck(
        what="U, R 1.8 board on a wall of R 0.47, W/m2K", source="common practice, no source", published=0.44,
        computed=upgraded_u(1 / 0.47, 1.8), tolerance=0.005, reason=printed,
    )  # fmt: skip


def _moisture() -> Iterator[OutsideCheck]:
    from estimator.climate import saturation_pressure_pa

    for celsius, published in ((20.0, 2337.0), (0.0, 610.5)):
        yield OutsideCheck(
            what=f"saturation vapour pressure at {celsius:.0f} °C, Pa", source="EN ISO 13788 annex E",
            published=published, computed=saturation_pressure_pa(celsius), tolerance=0.5, reason="printed to 1 Pa",
        )  # fmt: skip


def _junctions() -> Iterator[OutsideCheck]:
    from estimator.junctions import Air, Block, Grid, solve_section

    def air(name: str, box: tuple[float, float, float, float], celsius: float, surface: float) -> Air:
        left, right, bottom, top = box
        return Air(
            name=name, left=left, right=right, bottom=bottom, top=top, temperature_c=celsius, surface_m2k_w=surface
        )

    def part(box: tuple[float, float, float, float], conductivity: float) -> Block:
        left, right, bottom, top = box
        return Block(name="part", left=left, right=right, bottom=bottom, top=top, conductivity_w_mk=conductivity)

    column = solve_section(
        [part((0, 1000, 0, 2000), 1.0)],
        [
            air("top", (0, 1000, 2000, 2001), 20, 1e-6),
            air("left", (-1, 0, 0, 2000), 0, 1e-6),
            air("bottom", (0, 1000, -1, 0), 0, 1e-6),
        ],
        grid=Grid(finest_mm=10, growth=1.5, coarsest_mm=60),
    )
    section = solve_section(
        [
            part((0, 500, 1.5, 41.5), 0.029),
            part((0, 500, 41.5, 47.5), 1.15),
            part((0, 15, 36.5, 41.5), 0.12),
            part((0, 15, 35, 36.5), 230),
            part((0, 1.5, 1.5, 35), 230),
            part((0, 500, 0, 1.5), 230),
        ],
        [air("above", (0, 500, 47.5, 48.5), 0, 0.06), air("below", (0, 500, -1, 0), 20, 0.11)],
    )
    claim = "the standard's own limit"
    for what, published, computed in (
        ("case 1, temperature at the middle, °C", 7.0, column.at(750, 1250)),
        ("case 1, temperature below the top, °C", 14.7, column.at(750, 1750)),
        ("case 2, heat flow, W/m", 9.5, section.heat_w_m["below"]),
        ("case 2, temperature at point C, °C", 7.9, section.at(0, 41.5)),
        ("case 2, temperature at point I, °C", 18.3, section.at(500, 0)),
    ):
        yield OutsideCheck(
            what=what,
            source="EN ISO 10211 annex A",
            published=published,
            computed=computed,
            tolerance=0.1,
            reason=claim,
        )


def _uncertainty() -> Iterator[OutsideCheck]:
    import numpy as np

    from vision.lengths import sizes_with_gradient

    readings = np.array(
        [
            [5.007, 4.994, 5.005, 4.990, 4.999],
            [0.019663, 0.019639, 0.019640, 0.019685, 0.019678],
            [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
        ]
    )
    covariance = np.cov(readings) / 5
    volt, ampere, phase = readings.mean(axis=1)
    sizes = {"R": lambda p: p["vi"][..., 0] / p["vi"][..., 1] * np.cos(p["phase"][..., 0])}
    values, slopes = sizes_with_gradient(sizes, {"vi": np.array([volt, ampere]), "phase": np.array([phase, 0.0])})
    row = np.concatenate([slopes["vi"][0], slopes["phase"][0, :1]])
    guide = "JCGM 100:2008 (GUM), example H.2"
    yield OutsideCheck(
        what="resistance by propagation, ohm", source=guide, published=127.732, computed=float(values[0]),
        tolerance=0.0005, reason="half a unit of the last printed digit",
    )  # fmt: skip
    yield OutsideCheck(
        what="its standard uncertainty, ohm", source=guide, published=0.071,
        computed=float(np.sqrt(row @ covariance @ row)), tolerance=0.0005,
        reason="half a unit of the last printed digit",
    )  # fmt: skip


def _tape() -> Iterator[OutsideCheck]:
    from vision.lengths import tape_sd_mm

    yield OutsideCheck(
        what="uncertainty of 4 m by a class II tape alone, mm",
        source="Directive 2014/32/EU annex X: limit 1.1 mm, rectangular", published=1.1 / 3**0.5,
        computed=(tape_sd_mm(4000.0) ** 2 - 1.0**2 - 1.5**2) ** 0.5, tolerance=0.005, reason="arithmetic",
    )  # fmt: skip


def table_lines(checks: list[OutsideCheck]) -> list[str]:
    """Return the table as lines of Markdown: what, source, published, computed, difference, and whether it holds."""
    lines = ["| check | source | published | computed | difference | |", "|---|---|---|---|---|---|"]
    for c in checks:
        digits = 4 if abs(c.published) < 10 else 1 if abs(c.published) >= 1000 else 3
        computed, gap = f"{c.computed:.{digits}f}", f"{c.computed - c.published:+.{digits}f}"
        lines.append(
            f"| {c.what} | {c.source} | {c.published:g} | {computed} | {gap} | {'✓' if c.holds else '■ off'} |"
        )
    return lines
