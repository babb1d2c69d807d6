"""Which charts a report holds, made from the measured walls and the estimate."""

from __future__ import annotations

from intake.report import reading
from intake.report.charts import ChartPoint, bars, condensation_by_month, u_against_depth
from intake.report.context import Figure
from intake.report.figures import figure, is_inside
from intake.report.reading import Data
from intake.report.tell_options import chosen_of, option_u, options_of, same_lining
from intake.report.words import give_or_take, in_hundred, listing, name_of, plain
from intake.results import Geometry
from intake.survey import Survey

RUN_OFF_G_M2 = 200.0  # EN ISO 13788:2012, from memory
F_RSI_LEAST = 0.75  # BRE IP 1/06, as quoted by others


def charts(geometry: Geometry, survey: Survey, estimate: Data) -> tuple[Figure, ...]:
    """Return the charts: transmittance against space, condensation, surface factor, error budget."""
    entries = {entry.id: entry for entry in survey.walls}
    target = survey.design.target_u
    made: list[Figure] = []
    for wall in geometry.walls:
        if not is_inside(entries.get(wall.id)):
            continue
        entry = reading.wall_of(estimate, wall.id)
        name = name_of(wall.id)
        made += figure("chart_u", name, u_against_depth(chart_points(entry), wall=name, target=target), _U_CAPTION)
        made += _moisture_charts(name, reading.heat_of(entry), chosen_of(entry))
        if wall.limits and wall.width_mm is not None:
            rows = [(cause.source, 100 * cause.share, in_hundred(cause.share)) for cause in wall.limits[:6]]
            drawing = bars(
                rows,
                name="chart_error",
                title=f"{name}: what limits its width",
                alt=f"Bars: {'; '.join(f'{label} {words}' for label, _, words in rows)}.",
                high=100.0,
                axis_words="share of the variance, %",
            )
            made += figure("chart_error", name, drawing, f"Width {give_or_take(wall.width_mm)}.")
    return tuple(made)


_U_CAPTION = "Lower is warmer, further left takes less room. Starting from the calculated value of the wall today."


def chart_points(entry: Data) -> list[ChartPoint]:
    """Return the linings of a wall as points of the chart; outside insulation takes no room and is left out."""
    chosen = chosen_of(entry)
    points = []
    for option in options_of(entry):
        after, depth = option_u(option), reading.number(option, "build_up_mm")
        if after is None or depth is None or option.get("family") == "external":
            continue
        points.append(
            ChartPoint(
                family=plain(reading.text(option, "name") or name_of(reading.text(option, "insulation"))),
                depth_mm=depth,
                u=after[1],
                on_front=bool(option.get("on_front")),
                chosen=same_lining(option, chosen),
            )
        )
    return points


def _moisture_charts(name: str, heat: Data, chosen: Data) -> list[Figure]:
    made: list[Figure] = []
    result = reading.find(heat, "moisture.lined", "moisture")
    if isinstance(result, dict):
        planes = [
            (
                plain(reading.text(plane, "name") or "between layers"),
                [reading.number(plane, f"content_g_m2.{month}") or 0.0 for month in range(12)],
            )
            for plane in reading.items(result, "planes")
        ]
        drawing = condensation_by_month(planes, wall=name, limit_g_m2=RUN_OFF_G_M2)
        made += figure("chart_moisture", name, drawing, "Screening to EN ISO 13788; it cannot approve a solid wall.")
    rows = surface_rows(heat, chosen)
    if rows:
        drawing = bars(
            rows,
            name="chart_surface",
            title=f"{name}: the coldest places inside",
            alt=f"Temperature factors: {'; '.join(f'{label} {words}' for label, _, words in rows)}; 0.75 is asked for.",
            high=1.0,
            axis_words="temperature factor fRsi: 0 as cold as outside, 1 as warm as the room",
            limit=(F_RSI_LEAST, "0.75 is asked for"),
        )
        told = (
            "The plain wall by EN ISO 6946; edges in two dimensions by EN ISO 10211. Hatched: below 0.75, where mould "
            "must be expected."
        )
        made += figure("chart_surface", name, drawing, told)
    return made


def surface_rows(heat: Data, chosen: Data) -> list[tuple[str, float, str]]:
    """Return the temperature factors worth seeing: plain wall, corner, floor and reveal, before and after."""
    study = reading.find(heat, "junctions")
    advised = reading.number(study, "advised_return_mm")
    rows: list[tuple[str, float | None]] = [
        ("plain wall today", reading.number(heat, "f_rsi_before")),
        ("plain wall lined", reading.number(chosen, "f_rsi")),
        ("corner today", reading.number(study, "before.f_rsi")),
        ("corner lined, no return", reading.number(study, "one_sided.f_rsi")),
    ]
    for result in reading.items(study, "returns"):
        length = reading.number(result, "variant_mm")
        if length is not None and length == advised:
            rows.append((f"corner lined, return of {length:g}", reading.number(result, "f_rsi")))
    rows += [
        ("floor edge, void open", reading.number(study, "floor_open.f_rsi")),
        ("floor edge, void insulated", reading.number(study, "floor_closed.f_rsi")),
    ]
    for window in reading.items(study, "windows")[:2]:
        name = listing([name_of(str(opening)) for opening in reading.find(window, "openings") or []])
        rows.append((f"{name} frame line, reveal left plain", reading.number(window, "plain.f_rsi")))
        fitting = [board for board in reading.items(window, "boards") if board.get("fits")]
        if fitting:
            best = fitting[-1]
            thick = reading.number(best, "insulation_mm") or 0.0
            rows.append((f"{name} frame line, {thick:g} at the reveal", reading.number(best, "result.f_rsi")))
    return [(label, value, f"{value:.2f}") for label, value in rows if value is not None]
