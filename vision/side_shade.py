"""What may lie beside the four sides of a thing on a wall: its side face, its shadow, and the wall dim about it.

Each looks, where it is narrower than the blur, like a side that lies elsewhere, and the pixels of one side alone hardly
tell them apart. All four together do: light may come from anywhere, but from one place, so shadows lie beside
neighbouring sides, never all four; a thing of known thickness throws so much shadow and no more; its side face is of
one colour all round; and all round it the wall is a little dim, as the thing hides part of the room from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray

# Directions that the light may come from; the logarithm of how much likelier from above than from the side, and from
# there than from below: lamps hang, windows show the sky, few lights stand on the floor (common experience, no source);
# and how often it comes from so many that no shadow shows (invented default).
_WAYS, _FROM_ABOVE, _NO_SHADOW = 12, 1.0, 0.25
# What a shadow takes of the wall's light; how far a thing stands off besides its thickness, by tape or by its own
# waves, mm; a shadow is as wide as that and so dark only give or take this share of it, and each by this much of the
# height for itself (invented defaults).
TAKEN, LIFT_MM, _SHARE_SD, _OWN_SD = 0.3, 0.4, 0.7, 0.03
_RINGS = np.array([3.0, 1.5, 0.7, 0.25, 0.0])  # the dim wall is taken in rings that end so many heights from its foot
# What a side face shows, as shares of its front's light and of the greatest light about, each with an sd: printed or
# dyed through as its front is, or a white core. And how dim the wall beside it is, as it sees less of the room there: a
# share of what an even light from all round would lose if none came back from the side face, with an sd that all sides
# share; a white one gives most of it back (invented defaults).
_FACES = (((0.75, 0.1), (0.25, 0.15), (0.4, 0.2)), ((0.1, 0.9), (0.2, 0.45), (0.15, 0.12)))
_DIM_OWN_SD = 0.1  # and what each side has for itself
UNKNOWNS = 10  # the face's two, and a shadow and how dim it is beside each side


def rings() -> tuple[FloatArray, FloatArray]:
    """Return where rings of dim wall end (k,), heights from a thing's foot, and how much each adds (k,) to the loss.

    At distance x from the foot of an edge of height 1 the wall loses ``(1 - x / sqrt(x^2 + 1)) / 2`` of an even light
    from all round (form factor of a strip at right angles, from memory); a ring has its mean.
    """
    far = np.hypot(_RINGS, 1)
    lost = 0.5 * (1 - (far[:-1] - far[1:]) / (_RINGS[:-1] - _RINGS[1:]))
    return _RINGS[:-1], np.diff(lost, prepend=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What lies beside the four sides of a thing, one row for each way of the light and kind of side face.

    ``mean`` (k, 10) and ``precision`` (k, 10, 10): what the side face shows (shares of its front's light, and of the
    greatest light about), widths of black strips that take as much light as the shadows, px, and how dim the wall is;
    ``likely`` (k,) is how likely each row is.
    """

    likely: FloatArray
    mean: FloatArray
    precision: FloatArray

    @classmethod
    def of(cls, outward: FloatArray, px_per_mm: float, thick_mm: float, gap_px: FloatArray) -> Beside:
        """Return what may lie beside a thing.

        Parameters
        ----------
        outward
            (4, 2) unit vectors in the upright picture, y down, that point away from the thing across its sides.
        px_per_mm
            How large it is in the picture.
        thick_mm
            Its thickness.
        gap_px
            (4,) how far beyond each side, as seen, its foot on the wall lies, px; less where the front hides it.
        """
        angle = 2 * np.pi * np.arange(_WAYS) / _WAYS
        falls = np.column_stack([np.cos(angle), np.sin(angle)])
        often = (1 - _NO_SHADOW) * np.exp(_FROM_ABOVE * falls[:, 1]) / np.exp(_FROM_ABOVE * falls[:, 1]).sum()
        falls, often = np.concatenate([falls, np.zeros((1, 2))]), np.append(often, _NO_SHADOW)
        high = (thick_mm + LIFT_MM) * px_per_mm
        wide = high * np.maximum(0.0, falls @ outward.T)
        black = TAKEN * np.maximum(0.0, wide + np.minimum(gap_px, 0.0))
        mean = np.empty((len(_FACES), len(falls), UNKNOWNS))
        covariance = np.zeros((len(_FACES), len(falls), UNKNOWNS, UNKNOWNS))
        for face, (shares, sds, (dim, dim_sd)) in enumerate(_FACES):
            mean[face, :, :2] = shares
            covariance[face, :, :2, :2] = np.diag(np.square(sds))
            mean[face, :, 6:] = dim
            covariance[face, :, 6:, 6:] = dim_sd**2 + _DIM_OWN_SD**2 * np.eye(4)
        mean[..., 2:6] = black
        alike = _SHARE_SD**2 * black[:, :, None] * black[:, None]
        covariance[..., 2:6, 2:6] = alike + (_OWN_SD * high) ** 2 * np.eye(4)
        likely = np.tile(often, len(_FACES))
        return cls(
            likely=likely / likely.sum(),
            mean=mean.reshape(-1, UNKNOWNS),
            precision=np.asarray(np.linalg.inv(covariance), float).reshape(-1, UNKNOWNS, UNKNOWNS),
        )

    def told_by(self, known: FloatArray, pull: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return mean (10,) and covariance (10, 10) of what lies beside, all rows weighed by the pixels.

        Parameters
        ----------
        known, pull
            What pixels say of it alone: the log of their likelihood is ``pull @ x - x @ known @ x / 2``.
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
