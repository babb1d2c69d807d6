"""A wall so plain that its solution can be reckoned by hand: marks of one place, samples of one edge, a tape."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np

from vision.model import State
from vision.observe import Observations
from vision.walls import FloatArray, Mark


class Linear:
    """A problem whose residuals are ``A x - y``: marks (two rows each), edge samples, priors, tapes, in this order.

    ``places`` (n, 2) are the marks of one place, which is the first two unknowns; ``samples`` are of an edge whose
    place is the third; its common shift is the fourth, with a prior of one.
    """

    def __init__(
        self, places: object = (), *, samples: object = (), tapes: object = (), labels: object = None,
        scale_known: bool = True, sd: float = 1.0, prior: float = 1e-4,
    ) -> None:  # fmt: skip
        marks = np.array(places, dtype=float).reshape(-1, 2)
        edge, tape = np.array(samples, dtype=float), np.array(tapes, dtype=float)
        n, m = len(marks), len(edge)
        self.A = np.zeros((2 * n + m + 4 + len(tape), 4))
        self.A[0 : 2 * n : 2, 0] = self.A[1 : 2 * n : 2, 1] = 1.0 / sd
        self.A[2 * n : 2 * n + m, 2:4] = 1.0
        self.A[2 * n + m : 2 * n + m + 4] = np.diag([prior, prior, prior, 1.0])
        self.A[2 * n + m + 4 :, 0] = 1.0
        self.y = np.concatenate([marks.ravel() / sd, edge, np.zeros(4), tape])
        self.rows_points, self.rows_edges = slice(0, 2 * n), slice(2 * n, 2 * n + m)
        self.rows_tape = slice(2 * n + m + 4, len(self.y))
        self.source = np.array(["row"] * len(self.y))
        default = [Mark(photo=f"{i}.jpg", wall="north", point="top_left", px=tuple(p)) for i, p in enumerate(marks)]
        self.point_label = default if labels is None else cast("list[Mark]", labels)
        self.click = np.array([isinstance(label, Mark) for label in self.point_label], dtype=bool)
        self.point_px, self.point_sd = marks, np.full(n, sd)
        self.edge_shift = np.full(m, 3)
        self.shifts = {3: 1.0}
        self.sightings = ["a sheet"] if scale_known else []
        self.layout = SimpleNamespace(size=4)
        self.start = State(vector=np.zeros(4), rotations=np.zeros((0, 3, 3)))
        self.cameras = SimpleNamespace(retract=self.retract)
        self.placed_at: list[FloatArray] = []

    @staticmethod
    def retract(state: State, step: FloatArray) -> State:
        """Return the state with the step added."""
        return State(vector=state.vector + step, rotations=state.rotations)

    def evaluate(self, state: State) -> tuple[FloatArray, FloatArray]:
        """Return the residuals and their derivatives."""
        return self.A @ state.vector - self.y, self.A

    def place_samples(self, state: State) -> None:
        """Remember where the samples were placed anew."""
        self.placed_at.append(state.vector)

    @property
    def observations(self) -> Observations:
        """Return it as what the solver takes."""
        return cast("Observations", self)
