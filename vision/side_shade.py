"""The shadows of a thing on a wall: light comes from one way, so they lie beside neighbouring sides, never all four.

A shadow narrower than the blur looks like a side that lies elsewhere, and the pixels of one side alone hardly tell the
two apart. All four together do: the light may come from anywhere, but from one place, and a thing of known thickness
throws so much shadow and no more. And all round it the wall is a little dim, as the thing hides part of the room from
it: more beside a coloured side than beside a white one, which gives light back. Not modelled: that a slanting view
hides some of the shadow, or shows more of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray

# Directions that the light may come from; the logarithm of how much likelier from above than from the side, and from
# there than from below: lamps hang, windows show the sky, few lights stand on the floor (common experience, no source).
_WAYS, _FROM_ABOVE = 12, 1.0
# What a shadow takes of the wall's light; how far a thing stands off besides its thickness, by tape or by its own
# waves, mm; a shadow is as wide as that and so dark only give or take this share of it (invented defaults).
_TAKEN, _LIFT_MM, _SHARE_SD = 0.3, 0.4, 0.7
# Beside a thing the wall sees less of the room: what that takes all round, as a black strip, a share of how far the
# thing stands off. Half of that height if all light came from all round and none came back from the thing's side (form
# factor of a strip at right angles, from memory); a sixth of it, with an sd that all sides share and one of each
# side's own (invented defaults; seen on path-traced cards: 0 to 0.3 mm).
_DIM, _DIM_SD, _DIM_OWN_SD = 0.08, 0.06, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Shades:
    """What shadows may be, one row for each way of the light: widths of black strips that take as much light beside
    the four sides, ``mean`` (k, 4) px and ``precision`` (k, 4, 4); ``likely`` (k,) is how likely each way is.
    """  # fmt: skip

    likely: FloatArray
    mean: FloatArray
    precision: FloatArray

    @classmethod
    def of(cls, outward: FloatArray, px_per_mm: float, thick_mm: float) -> Shades:
        """Return the shadows of a thing.

        Parameters
        ----------
        outward
            (4, 2) unit vectors in the upright picture, y down, that point away from the thing across its sides.
        px_per_mm
            How large it is in the picture.
        thick_mm
            Its thickness.
        """
        angle = 2 * np.pi * np.arange(_WAYS) / _WAYS
        falls = np.column_stack([np.cos(angle), np.sin(angle)])
        high = (thick_mm + _LIFT_MM) * px_per_mm
        beside = _TAKEN * high * np.maximum(0.0, falls @ outward.T)
        covariance = _SHARE_SD**2 * beside[:, :, None] * beside[:, None]
        covariance += high**2 * (_DIM_SD**2 + _DIM_OWN_SD**2 * np.eye(4))
        likely = np.exp(_FROM_ABOVE * falls[:, 1])
        return cls(
            likely=likely / likely.sum(),
            mean=beside + _DIM * high,
            precision=np.asarray(np.linalg.inv(covariance), float),
        )

    def told_by(self, known: FloatArray, pull: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return mean (4,) and covariance (4, 4) of the shadows, all ways of the light weighed by the pixels.

        Parameters
        ----------
        known, pull
            What pixels say of the shadows x alone: the log of their likelihood is ``pull @ x - x @ known @ x / 2``.
        """
        covariance = np.linalg.inv(self.precision + known)
        prior = (self.precision @ self.mean[..., None])[..., 0]
        means = (covariance @ (prior + pull)[..., None])[..., 0]
        fit = np.sum(means * (prior + pull), axis=1) - np.sum(self.mean * prior, axis=1)
        fit += 2 * np.log(self.likely) + np.linalg.slogdet(self.precision)[1] + np.linalg.slogdet(covariance)[1]
        share = np.exp(0.5 * (fit - fit.max()))
        share /= share.sum()
        mean = share @ means
        apart = means - mean
        within = np.tensordot(share, covariance, 1)
        return mean, np.asarray(within + (share * apart.T) @ apart)
