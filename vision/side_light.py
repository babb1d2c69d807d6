"""What a phone stores of one straight side: light with its side face and shadow, encoded, sharpened, colours coarse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.walls import FloatArray

MASK_PX, SHARPEN = 1.5, 0.3  # unsharp masking of the encoded light: its Gaussian, and how much (invented defaults)
COARSE = 0.7  # variance, px^2, by which colours are blurred more than light: stored at half the size (invented default)
TONE = 0.15  # strength of the S curve that a phone lays over sRGB for its contrast (invented default)
_COARSE_STEP = 0.05
# Encoded light and two colour differences of encoded blue, green and red (ITU-R BT.601, as in JPEG; from memory).
TO_YCC = np.array([[0.114, 0.587, 0.299], [0.5, -0.331, -0.169], [-0.081, -0.419, 0.5]])


def decode(code: FloatArray) -> FloatArray:
    """Return the light of codes, both 0 to 1 (IEC 61966-2-1, from memory); codes beyond count as the nearest."""
    code = np.clip(code, 0.0, 1.0)
    return np.asarray(np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4))


def encode(light: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the codes of light, and their slope; light beyond white or black is clipped, with no slope."""
    x = np.clip(light, 1e-6, 1.0)
    root = x ** (1 / 2.4)
    low = x <= 0.0031308
    code = np.where(low, 12.92 * x, 1.055 * root - 0.055)
    slope = np.where(low, 12.92, (1.055 / 2.4) * root / x)
    return code, np.where((light >= 1.0) | (light < 0.0), 0.0, slope)


def bent(code: FloatArray, slope: FloatArray, tone: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return codes after an S curve of a strength, their slope, and how they change with the strength."""
    by_tone = code * (code * (3 - 2 * code) - 1)
    return code + tone * by_tone, slope * (1 + tone * (6 * code * (1 - code) - 1)), by_tone


def gaussian(to: FloatArray, of: FloatArray, variance: float) -> FloatArray:
    """Return weights (n, m) that blur values at places ``of`` (m,) as seen at places ``to`` (n,)."""
    weight = np.exp(-0.5 * (to[:, None] - of[None]) ** 2 / variance)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Strips:
    """What lies just before a side: its side face, ``face_px`` wide, showing ``front`` times the front's light and
    ``core`` of its own; a shadow, ``shadow_px`` wide, that takes as much light as a black strip ``black`` px wide; and
    the wall dimmed by ``dim`` times the share in ``dim_steps`` (k,), each up to ``dim_px`` (k,) from the front's edge.
    """  # fmt: skip

    front: float
    core: float
    black: float
    dim: float
    face_px: float
    shadow_px: float
    dim_px: FloatArray
    dim_steps: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Light (3, m, w) about a side and its derivatives: across the side, by blur, by what lies before it, by levels."""

    light: FloatArray
    steep: FloatArray
    by_blur: FloatArray
    by_front: FloatArray
    by_core: FloatArray
    by_black: FloatArray
    by_dim: FloatArray
    by_before: FloatArray
    by_behind: FloatArray


def seen_through(at_px: FloatArray, before: FloatArray, behind: FloatArray, strips: Strips, blur: float) -> Light:
    """Return the light through a lens that blurs, at places across a side.

    Parameters
    ----------
    at_px
        (m, w) how far inwards of the side.
    before, behind
        (3, m, 1) light of the wall and of the thing.
    strips
        Side face, shadow and dim wall.
    blur
        The Gaussian's sd, px.
    """
    from scipy.special import ndtr

    edges = np.concatenate([[0.0, strips.face_px, strips.face_px + strips.shadow_px], strips.dim_px])
    t = (at_px[None] + edges[:, None, None]) / blur
    rise = ndtr(t)
    bell = np.exp(-0.5 * t * t) / (np.sqrt(2 * np.pi) * blur)
    face = strips.front * behind + strips.core - before
    dark = strips.black / strips.shadow_px * before
    # How much each edge adds: the thing over its side face, the side face over its shadow, the shadow over the wall.
    adds = (behind - before - face, face + dark, -dark)
    steps = strips.dim_steps[:, None, None]
    dimmed = (steps * (rise[3:] - rise[1])).sum(axis=0)  # the share of the dimming that shows beyond the side face
    dim_bell = (steps * (bell[3:] - bell[1])).sum(axis=0)
    dim_turn = (steps * (bell[3:] * t[3:] - bell[1] * t[1])).sum(axis=0)
    faced, shaded = rise[1] - rise[0], (rise[2] - rise[1]) / strips.shadow_px
    less = strips.dim * before
    return Light(
        light=before + sum(a * r for a, r in zip(adds, rise[:3], strict=True)) - less * dimmed,
        steep=np.asarray(sum(a * b for a, b in zip(adds, bell[:3], strict=True)) - less * dim_bell),
        by_blur=np.asarray(sum(-a * b * u for a, b, u in zip(adds, bell[:3], t[:3], strict=True)) + less * dim_turn),
        by_front=behind * faced,
        by_core=np.broadcast_to(faced, (3, *faced.shape)),
        by_black=-before * shaded,
        by_dim=-before * dimmed,
        by_before=np.broadcast_to(1 - rise[1] - strips.black * shaded - strips.dim * dimmed, (3, *faced.shape)),
        by_behind=np.broadcast_to(rise[0] + strips.front * faced, (3, *faced.shape)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """Sharpening (n, w) of encoded light and coarsening (n, w) of its colours, with how both change."""

    sharp: FloatArray
    by_sharpen: FloatArray
    coarse: FloatArray
    by_coarse: FloatArray

    @classmethod
    def of(
        cls, d: FloatArray, wide: FloatArray, middle: FloatArray, mask: FloatArray, smooth: FloatArray, *,
        sharpen: float, coarse: float,
    ) -> Optics:  # fmt: skip
        """Return the optics of a band ``d`` (n,) whose light is known at places ``wide`` (w,).

        ``middle`` (n, w) picks the band's places out of those, ``mask`` (n, w) is that of unsharp masking, and
        ``smooth`` (n, n) is how colours are smoothed before they are compared.
        """
        colours, coarser = (smooth @ gaussian(d, wide, variance) for variance in (coarse, coarse + _COARSE_STEP))
        return cls(
            sharp=middle + sharpen * (middle - mask),
            by_sharpen=middle - mask,
            coarse=colours,
            by_coarse=(coarser - colours) / _COARSE_STEP,
        )

    def stored(self, ycc: FloatArray) -> FloatArray:
        """Return what is stored (3, k, m, n) of encoded light and colours (3, k, m, w)."""
        return np.concatenate([ycc[:1] @ self.sharp.T, ycc[1:] @ self.coarse.T])

    def stored_alone(self, codes: FloatArray) -> FloatArray:
        """Return what is stored (3, 6, m, n) of changes (6, m, w) of blue, green, red before and behind, each alone."""
        light, colour = codes @ self.sharp.T, codes @ self.coarse.T
        share = np.concatenate([TO_YCC, TO_YCC], axis=1)[:, :, None, None]
        return np.stack([share[0] * light, share[1] * colour, share[2] * colour])

    def changes(self, ycc: FloatArray) -> FloatArray:
        """Return by how much what is stored (3, 2, m, n) changes with sharpening and with coarseness."""
        sharper, coarser = ycc[0] @ self.by_sharpen.T, ycc[1:] @ self.by_coarse.T
        nothing = np.zeros_like(sharper)
        return np.stack([[sharper, nothing], [nothing, coarser[0]], [nothing, coarser[1]]])
