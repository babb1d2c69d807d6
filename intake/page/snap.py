"""How far a press that went to an edge crossing can be trusted there: the corner meant may show no edges at all."""

from __future__ import annotations

import math

SHOWS = 0.9
"""How often the corner meant shows as a crossing: about one in ten is another one nearby (judgement)."""
DOUBTFUL = 0.25
"""From this chance that another corner was meant the person is told (judgement)."""


def chance_of_another(moved_px: float, reach_px: float) -> float:
    """Return the chance that the crossing found beneath a press is not the corner that was meant.

    Parameters
    ----------
    moved_px
        From the press to the crossing [px].
    reach_px
        How far crossings were looked for [px]; a third of it is a hand's standard deviation, as ``find_crossing`` has
        it.

    Notes
    -----
    Bayes' rule. A corner that shows lies about the press as a hand scatters, its distance under Rayleigh's law; where
    it does not, as white reveals on a white wall, what is found instead may lie anywhere within reach.
    """
    part = moved_px / reach_px
    shows_to_not = 4.5 * math.exp(-4.5 * part**2)  # Rayleigh's density, deviation 1/3, over 2 x part
    return (1 - SHOWS) / (1 - SHOWS + SHOWS * shows_to_not)


def widened_sd_px(sd_px: float, moved_px: float, reach_px: float) -> float:
    """Return a crossing's standard uncertainty per axis [px] once it may be another corner than was meant.

    Parameters
    ----------
    sd_px
        Of the crossing itself [px].
    moved_px, reach_px
        As for :func:`chance_of_another`.

    Notes
    -----
    The variance of a mixture: the crossing's own, and with the chance of another corner the square of the way back to
    the press, half of it along each axis.
    """
    return math.sqrt(sd_px**2 + chance_of_another(moved_px, reach_px) * moved_px**2 / 2)
