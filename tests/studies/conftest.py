"""Photographs of a projected edge, rendered a ray at a time and then spoilt the way cameras and files spoil them."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter

from projector.photometry.colour import encode_srgb, linear_srgb_under_white, white_balance_xyz
from projector.photometry.spectra import N_WAVELENGTHS
from projector.rendering import prepared_light
from projector.rendering.workers import Workers
from projector.stage.surfaces import scene_arrays
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.sight.points import Points


class PhotographyStudio:
    """Renders what a camera square to the wall would see of a scene's wall at z = 0, by the ray-at-a-time reference."""

    @staticmethod
    def light(
        scene, mm_per_pixel: float, width: int, height: int, centre=(0.0, 1.5), n_side: int = 10, seed: int = 3
    ) -> np.ndarray:
        """Linear sRGB (h, w, 3), each pixel the mean of four points, bright side about 0.7."""
        step = 5e-4 * mm_per_pixel
        x = centre[0] + (np.arange(2 * width) + 0.5 - width) * step
        y = centre[1] - (np.arange(2 * height) + 0.5 - height) * step
        across, up = np.meshgrid(x, y)
        count = across.size
        positions = np.stack([across.ravel(), up.ravel(), np.zeros(count)], axis=1).astype(np.float32)
        normals = np.tile(np.float32([0, 0, 1]), (count, 1))
        points = Points(
            positions,
            normals,
            normals,
            positions + 2e-6 * normals,
            np.zeros(count, np.float32),
            np.zeros(count, np.int32),
            np.zeros(count, np.int32),
        )
        prepared = prepared_light.prepare_light(scene, scene.projector[0], 18)
        weights = prepared.weights(np.ones((1, N_WAVELENGTHS)), prepared_light.XYZ_CHANNELS)
        out, tree = np.zeros((count, 3)), scene_arrays(scene).bvh
        with Workers() as workers:
            workers.run_pieces(
                count,
                lambda start, stop: add_light_by_rays(
                    prepared.light, tree, points, weights, n_side, seed, start, stop, out
                ),
                piece=2048,
            )
        linear = (
            out.reshape(height, 2, width, 2, 3).mean(axis=(1, 3)) @ linear_srgb_under_white(white_balance_xyz(5600.0)).T
        )
        return linear * (0.7 / np.percentile(linear[..., 1], 98))

    @staticmethod
    def developed(
        linear: np.ndarray, blur_pixels: float = 0.0, noise: float = 0.0, seed: int = 1, encode=encode_srgb
    ) -> np.ndarray:
        """Blurred by the camera, with noise (share of full scale at full light, growing with its root), coded 0..1."""
        seen = gaussian_filter(linear, (blur_pixels, blur_pixels, 0.0)) if blur_pixels else linear
        random = np.random.default_rng(seed)
        seen = seen + noise * np.sqrt(np.clip(seen, 0.0, None) + 0.01) * random.normal(size=seen.shape)
        return np.clip(encode(np.clip(seen, 0.0, None)), 0.0, 1.0)

    @staticmethod
    def stored(coded: np.ndarray, path, **options):
        """Write 8-bit PNG or JPEG, or a 16-bit TIFF, by the name's ending."""
        if path.suffix == ".tif":
            import tifffile

            tifffile.imwrite(path, np.round(coded * 65535).astype(np.uint16), photometric="rgb")
        else:
            from PIL import Image

            Image.fromarray(np.round(coded * 255).astype(np.uint8)).save(path, **options)
        return path
