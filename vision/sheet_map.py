"""The map between a flat sheet and a photo: projective, with a little lens curvature about the photo's middle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.walls import FloatArray

TAG_CENTRES_MM: FloatArray = np.array([[-100.0, 56.0], [100.0, 56.0], [100.0, -56.0], [-100.0, -56.0]])
TAG_MM = 72.0
CELL_MM = 9.0
_BEND_MM = 100.0
TAG_SQUARE_MM: FloatArray = TAG_MM / 2 * np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
TAG_CORNERS_MM: FloatArray = (TAG_CENTRES_MM[:, None, :] + TAG_SQUARE_MM).reshape(16, 2)
SHEET_RECTANGLE_MM: FloatArray = np.array([[-148.5, 105.0], [148.5, 105.0], [148.5, -105.0], [-148.5, -105.0]])


def project(h: FloatArray, points: FloatArray) -> FloatArray:
    """Return points (n, 2) mapped by a homography (3, 3)."""
    q = np.column_stack([points, np.ones(len(points))]) @ h.T
    return np.asarray(q[:, :2] / q[:, 2:])


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetMap:
    """Where a flat sheet is in a photo.

    A pixel p is first freed from the lens, ``q = c + (p - c) (1 - kappa |p - c|^2 / lens_scale_px^2)`` with c the
    photo's middle; ``inverse`` (3, 3) then takes ``(q - middle_px) / scale_px`` to sheet millimetres.

    A sheet whose ends stand off the wall shows its print moved by ``bend_mm`` (2,) times ``(u / 100)^2 - 1``:
    nothing at the tags' middles. Its points are given as if it were flat.
    """

    inverse: FloatArray
    kappa: float
    middle_px: FloatArray
    scale_px: float
    lens_centre_px: FloatArray
    lens_scale_px: float
    bend_mm: FloatArray

    @classmethod
    def of_homography(cls, h: FloatArray, size_px: tuple[int, int]) -> SheetMap:
        """Return the map of a homography (3, 3) from sheet millimetres to pixels in a photo (width, height)."""
        middle = project(h, np.zeros((1, 2)))[0]
        scale = float(np.abs(project(h, SHEET_RECTANGLE_MM) - middle).max())
        local = np.diag([1 / scale, 1 / scale, 1.0]) @ np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
        inverse = np.linalg.inv(local @ h)
        return cls(
            inverse=inverse / inverse[2, 2],
            kappa=0.0,
            middle_px=middle,
            scale_px=scale,
            lens_centre_px=(np.array(size_px) - 1) / 2,
            lens_scale_px=0.7 * max(size_px),
            bend_mm=np.zeros(2),
        )

    def to_pixels(self, sheet_mm: FloatArray) -> FloatArray:
        """Return where points (n, 2) of the sheet, mm, are in the photo, (n, 2) px."""
        flat = (
            project(np.asarray(np.linalg.inv(self.inverse), float), sheet_mm) * self.scale_px
            + self.middle_px
            - self.lens_centre_px
        )
        p = flat
        for _ in range(4):
            rho2 = np.sum(p * p, axis=1, keepdims=True) / self.lens_scale_px**2
            p = flat / (1 - self.kappa * rho2)
        return np.asarray(p + self.lens_centre_px)

    def place(self, p: FloatArray) -> FloatArray:
        """Return the sheet place (n, 2), mm, of pixels (n, 2)."""
        arm = p - self.lens_centre_px
        rho2 = np.sum(arm * arm, axis=1, keepdims=True) / self.lens_scale_px**2
        q = self.lens_centre_px + arm * (1 - self.kappa * rho2)
        return project(self.inverse, (q - self.middle_px) / self.scale_px)

    def linearised(self, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the sheet place (n, 2) of pixels (n, 2), and its derivatives.

        Returns
        -------
        place : (n, 2) mm
        with_pixel : (n, 2, 2) mm per px
        with_map : (n, 2, 11), with the eight free numbers of ``inverse`` (row by row), ``kappa`` and ``bend_mm``
        """
        g = self.inverse
        arm = p - self.lens_centre_px
        rho2 = np.sum(arm * arm, axis=1) / self.lens_scale_px**2
        local = (self.lens_centre_px + arm * (1 - self.kappa * rho2)[:, None] - self.middle_px) / self.scale_px
        x, y = local[:, 0], local[:, 1]
        bottom = 1.0 / (1 + g[2, 0] * x + g[2, 1] * y)
        u = (g[0, 0] * x + g[0, 1] * y + g[0, 2]) * bottom
        v = (g[1, 0] * x + g[1, 1] * y + g[1, 2]) * bottom
        flat = np.empty((len(p), 2, 2))
        flat[:, 0, 0] = (g[0, 0] - g[2, 0] * u) * bottom
        flat[:, 0, 1] = (g[0, 1] - g[2, 1] * u) * bottom
        flat[:, 1, 0] = (g[1, 0] - g[2, 0] * v) * bottom
        flat[:, 1, 1] = (g[1, 1] - g[2, 1] * v) * bottom
        flat /= self.scale_px
        with_map = np.zeros((len(p), 2, 11))
        with_map[:, 0, 0], with_map[:, 0, 1], with_map[:, 0, 2] = x * bottom, y * bottom, bottom
        with_map[:, 1, 3], with_map[:, 1, 4], with_map[:, 1, 5] = x * bottom, y * bottom, bottom
        with_map[:, 0, 6], with_map[:, 0, 7] = -u * x * bottom, -u * y * bottom
        with_map[:, 1, 6], with_map[:, 1, 7] = -v * x * bottom, -v * y * bottom
        pull = arm * rho2[:, None]
        with_map[:, :, 8] = -(flat[:, :, 0] * pull[:, :1] + flat[:, :, 1] * pull[:, 1:])
        with_pixel = self._through_lens(flat, arm, rho2)
        along = (u / _BEND_MM) ** 2 - 1
        lean = 1.0 - self.bend_mm[0] * 2 * u / _BEND_MM**2, -self.bend_mm[1] * 2 * u / _BEND_MM**2
        for change in (with_pixel, with_map):
            change[:, 1] += lean[1][:, None] * change[:, 0]
            change[:, 0] *= lean[0][:, None]
        with_map[:, 0, 9] = with_map[:, 1, 10] = -along
        return np.column_stack([u, v]) - along[:, None] * self.bend_mm, with_pixel, with_map

    def _through_lens(self, flat: FloatArray, arm: FloatArray, rho2: FloatArray) -> FloatArray:
        along_arm = (flat[:, :, 0] * arm[:, :1] + flat[:, :, 1] * arm[:, 1:])[:, :, None] * arm[:, None, :]
        shrink = (1 - self.kappa * rho2)[:, None, None]
        return np.asarray(flat * shrink - (2 * self.kappa / self.lens_scale_px**2) * along_arm)

    def pixel_sd(self, sheet_mm: FloatArray, covariance: FloatArray) -> FloatArray:
        """Return the sd (n, 2), px, of sheet points given the covariance (11, 11) of the map's numbers."""
        flat = replace(self, bend_mm=np.zeros(2))
        _, with_pixel, with_map = flat.linearised(self.to_pixels(sheet_mm))
        with_map[..., 9:] = 0.0
        move = -np.linalg.solve(with_pixel, with_map)
        return np.asarray(np.sqrt(np.maximum(np.einsum("nik,kl,nil->ni", move, covariance, move), 0)), float)
