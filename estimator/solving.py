"""Solving a set-out: limits in work, a start or a shape to hold, an early end, and solutions by variable name."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Literal

from estimator.setting_out import Programme, Var

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpSolver

Hold = Literal["", "shape", "set-out"]
DONE = ("OPTIMAL", "FEASIBLE")


def solve(
    p: Programme,
    *,
    work: float,
    minimise: Var | None = None,
    hint: Mapping[str, int] | None = None,
    hold: Hold = "",
    linear: int = 2,
    enough: Callable[[float, float], bool] | None = None,
    pool: list[dict[str, int]] | None = None,
) -> tuple[str, CpSolver]:
    """Return how it ended (``OPTIMAL``, ``FEASIBLE``, ``INFEASIBLE``, ``UNKNOWN``) and the solver with the values.

    Parameters
    ----------
    p
        The programme.
    work
        Limit in the solver's own deterministic unit of work, so that one input always gives one result.
    minimise
        What to make small; None asks for any solution.
    hint
        Values to start from, by variable name.
    hold
        ``shape`` holds which pieces ``hint`` has and what each is cut from, ``set-out`` only which pieces; the search
        is then for the rest, and INFEASIBLE says nothing of other shapes.
    linear
        How much of the programme the solver's linear relaxation holds: 2 is strong for bounds, 0 quick at fitting.
    enough
        Whether a value (infinite before there is one) and a bound of what is made small end the search.
    pool
        Where the solutions on the way are added.
    """
    from ortools.sat.python import cp_model

    if minimise is not None:
        p.model.minimize(minimise)
    else:
        p.model.clear_objective()
    p.model.clear_hints()
    for name, value in held(p, hint or {}, hold).items():
        p.model.add_hint(p.by_name[name], value)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 17
    solver.parameters.max_deterministic_time = work
    solver.parameters.linearization_level = linear
    solver.parameters.fix_variables_to_their_hinted_value = bool(hold)
    if enough is None and pool is None:
        return solver.status_name(solver.solve(p.model)), solver
    best = [math.inf, -math.inf]

    def heard(place: int, value: float) -> None:
        best[place] = value
        if enough is not None and enough(*best):
            solver.stop_search()

    class Heard(cp_model.CpSolverSolutionCallback):  # type: ignore[misc]
        def on_solution_callback(self) -> None:
            if pool is not None:
                pool.append({name: int(self.value(var)) for name, var in p.by_name.items()})
            heard(0, self.objective_value)

    solver.best_bound_callback = lambda bound: heard(1, bound)
    return solver.status_name(solver.solve(p.model, Heard())), solver


def held(p: Programme, solution: Mapping[str, int], hold: Hold) -> dict[str, int]:
    """Return the part of a solution that ``hold`` keeps, as far as the programme has it."""
    found = {name: value for name, value in solution.items() if name in p.by_name}
    if hold:
        found = {name: value for name, value in found.items() if name in p.shape}
    if hold == "set-out":
        found = {n: v for n, v in found.items() if not ("@" in n or "#" in n or n.startswith("strip"))}
    return found


def values(p: Programme, solver: CpSolver) -> dict[str, int]:
    """Return the solution by variable name."""
    return {name: int(solver.value(var)) for name, var in p.by_name.items()}
