"""Verdicts on a lining in plain words: the target and the moisture screening. Never an approval."""

from __future__ import annotations

from estimator.moisture import MoistureResult

RUN_OFF_G_M2 = 200.0  # EN ISO 13788:2012 (from memory): water begins to run down a surface that does not take it up
PEAK_LIMIT_G_M2 = 500.0  # DIN 4108-3, as summarised: limit at a plane that takes up no water (1000 elsewhere)


def target_words(u_w_m2k: float, without_gap_w_m2k: float, target_u: float) -> tuple[bool, str]:
    """Return whether a lining meets the target with the gap behind left out, and the same in words.

    Parameters
    ----------
    u_w_m2k, without_gap_w_m2k
        Transmittance with and without the credit of the gap behind the board [W/m2K].
    target_u
        What to meet [W/m2K].
    """
    if without_gap_w_m2k <= target_u:
        return True, f"meets {target_u:.2f}"
    if u_w_m2k <= target_u:
        return False, f"meets {target_u:.2f} only if the gap behind counts"
    return False, f"does not meet {target_u:.2f}"


def moisture_verdict(result: MoistureResult, *, capillary: bool = False) -> str:
    """Return ``none``, ``dries``, ``too_wet``, ``builds_up``, or ``not_judged`` where the method cannot say.

    Parameters
    ----------
    result
        The screening.
    capillary
        Whether the board carries water back to the room, which the method gives no credit for.
    """
    if result.verdict == "dries" and result.peak_g_m2 > PEAK_LIMIT_G_M2:
        return "not_judged" if capillary else "too_wet"
    return result.verdict


def moisture_words(result: MoistureResult, *, faced: MoistureResult | None = None, capillary: bool = False) -> str:
    """Return the screening's verdict in words.

    Parameters
    ----------
    result
        The screening without a vapour-tight face.
    faced
        The screening with one, where there is one to have.
    capillary
        Whether the board carries water back to the room, which the method cannot credit.
    """
    verdict = moisture_verdict(result, capillary=capillary)
    if verdict == "none":
        return "screening finds no condensation between the layers; this does not approve a solid wall"
    peak = f"{result.peak_g_m2:.0f} g/m² at its peak"
    if verdict == "not_judged":
        return f"this method cannot judge a board that carries water back ({peak} without that): ask for EN 15026"
    if verdict == "builds_up":
        words = f"stop: condensation builds up from year to year ({peak}, {result.residual_g_m2:.0f} g/m² left)"
    elif verdict == "too_wet":
        words = f"stop: more condensation in winter than a wall should hold ({peak})"
    elif result.peak_g_m2 > RUN_OFF_G_M2:
        words = f"condensation may run down behind the lining before it dries ({peak})"
    else:
        words = f"some condensation in winter that dries by summer ({peak})"
    if faced is not None:
        better = moisture_verdict(faced)
        with_face = "none" if better == "none" else f"{faced.peak_g_m2:.0f} g/m²"
        return f"{words}; with a vapour-tight face, every joint taped: {with_face}"
    return f"{words}; screening only"
