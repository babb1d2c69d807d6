"""The work in order, with hours, waits, who does it and the points where nobody goes on before something is settled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from estimator.tables import Table, read_table


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One task: hours of work (low, high), hours to wait after it, and whether it is a stop point."""

    key: str
    title: str
    who: str
    hours: tuple[float, float]
    wait_hours: float
    stop: bool
    day: int


UNITS = ("once", "m2", "board", "radiator", "socket", "opening", "pipe", "m")
WORKDAY_HOURS = 8.0  # two people at it; invented default


def work_sequence(
    amounts: Mapping[str, float], applies: Mapping[str, bool], *, table: Table | None = None
) -> list[Task]:
    """Return the tasks that apply, in order, with the day on which each begins.

    Parameters
    ----------
    amounts
        How much there is of each unit in ``UNITS``; what is missing counts 0, ``once`` counts 1.
    applies
        Which conditions hold (``asbestos``, ``damp``, ``gas``, ``sockets``, ``tape``, ``joists``, ``radiators``,
        ``pipes``, ``openings``, ``services``); ``always`` need not be given.
    table
        The tasks; the project's own where None.

    Notes
    -----
    Days count from the first task on the wall; what must be settled before has day 0. Two people work together, so
    hours of the middle of the range are halved to fill a day; a wait of twelve hours or more ends the day.
    """
    table = table or read_table("tasks")
    tasks: list[Task] = []
    day, filled, begun = 0, 0.0, False
    for key, row in table.rows.items():
        if row["when"] != "always" and not applies.get(row["when"], False):
            continue
        amount = 1.0 if row["per"] == "once" else amounts.get(row["per"], 0.0)
        if amount <= 0:
            continue
        low, high = (float(h) * amount for h in row["hours"])
        if key == "acclimatise":
            begun, day = True, 1
        wait = float(row.get("wait_hours", 0.0))
        tasks.append(
            Task(
                key=key,
                title=row["title"],
                who=row["who"],
                hours=(low, high),
                wait_hours=wait,
                stop=bool(row.get("stop", False)),
                day=day if begun else 0,
            )
        )
        if begun:
            filled += (low + high) / 4
            while filled > WORKDAY_HOURS:
                filled -= WORKDAY_HOURS
                day += 1
            if wait >= 12:
                day, filled = day + max(1, round(wait / 24)), 0.0
    return tasks


def labour_hours(tasks: list[Task]) -> tuple[float, float]:
    """Return all hours of work, low and high."""
    return sum(t.hours[0] for t in tasks), sum(t.hours[1] for t in tasks)
