"""The lens that explains edges read from photographs: nonlinear least squares, and a jackknife for how surely.

A pupil of diameter A at distance Z from the wall spreads wavelength λ over a disc of A·Z·|1/z_f(λ) − 1/Z| (similar
triangles). What the camera blurs on top is taken as a Gaussian, one for all photographs. How sure the answer is comes
from leaving out one band of rows after the other (B. Efron, "The Jackknife, the Bootstrap and Other Resampling Plans",
SIAM 1982), which also feels noise that neighbouring pixels share, as behind a demosaic or in a JPEG.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.optics.dispersion import abbe_relative_power, lateral_colour_share, secondary_spectrum_relative_power
from projector.optics.thin_lens import DISC_EDGE_10_90, conjugate_distance, inverse_conjugate
from projector.photometry.colour import linear_srgb_under_white, white_balance_xyz
from projector.photometry.spectra import OBSERVER_STEPS, source_spectrum
from projector.photometry.wavelength_nodes import choose_nodes
from projector.rendering.workers import Progress
from projector.studies.lenses.edge_model import EdgeSpectrum, Rise
from projector.studies.lenses.slanted_edge import N_BANDS

N_NODES = 24
LEAST_PUPIL_M = 5e-4
_FAR_OFF = 1e9


@dataclass(frozen=True)
class SetUp:
    """What is known beforehand: lens to wall (m), nominal focal length (mm), distance it is focused at with offset 0
    (m), the lamp's kind and kelvin (what is usual for its kind if None), the photograph's white balance, the gate's
    width (mm; for lateral colour), the marked f-number (only needed with a single photograph)."""

    throw_m: float
    focal_length_mm: float
    focus_m: float
    source_kind: str = "daylight"
    source_k: float | None = None
    white_balance_k: float = 5600.0
    gate_width_mm: float | None = None
    f_number: float | None = None


class Solves:
    """Counts the solves of all fits and tells whoever watches."""

    def __init__(self, progress: Progress, total: int):
        self._progress, self.total, self._done = progress, total, 0

    def one_more(self) -> None:
        """Another solve begins."""
        self._progress.tell("fitting the lens", self._done, self.total)
        self._done += 1

    def finish(self) -> None:
        """All are done."""
        self._progress.tell("fitting the lens", self.total, self.total)


class EdgeFit:
    """Least squares over all photographs' readings, at focus offsets (mm), for one model of the glass.

    parameters, residual (root mean square of what is left, in shares of full light) and misfit (the same in units of
    noise) are what was found; standard_errors() says how surely, and curves() what the photographs would show then.

    Parameters: pupil (m), focus error (m), dispersion (1/V, or m of secondary spectrum), the camera's blur squared
    (m²), lateral colour (m), and each edge's place (m). The model depends on the blur by its square alone.
    """

    N_SOLVES = 4

    def __init__(self, readings, offsets_mm, set_up: SetUp, model: str, solves: Solves):
        self.readings, self.set_up, self.model, self._solves = readings, set_up, model, solves
        self.offsets = 1e-3 * np.asarray(offsets_mm, float)
        self.has_lateral = set_up.gate_width_mm is not None and any(reading.axis_mm is not None for reading in readings)
        self.fixed_pupil = None
        if len(readings) == 1 and set_up.f_number is not None:
            self.fixed_pupil = 1e-3 * set_up.focal_length_mm / set_up.f_number
        spectrum = source_spectrum(set_up.source_kind, set_up.source_k)
        weights = (
            linear_srgb_under_white(white_balance_xyz(set_up.white_balance_k)) @ (OBSERVER_STEPS * spectrum[:, None]).T
        )
        # A disc changes so evenly from one wavelength to the next that a third of the grid carries the whole of it.
        nodes = choose_nodes(spectrum, N_NODES)
        self.wavelengths = nodes.wavelengths_nm
        self.weights = (weights / weights.sum(axis=1, keepdims=True)) @ nodes.hat.T
        self.edges = [EdgeSpectrum(reading) for reading in readings]
        # Each value counts by its own noise; the floor keeps a clean photograph from trusting its last bit.
        self.sigmas = [np.maximum(reading.noise, 2e-3) for reading in readings]
        profiles = [reading.profiles for reading in readings]
        rough = [self._solve(profiles, start, 6) for start in self._starts()]
        self.parameters, cost = self._solve(profiles, min(rough, key=lambda item: item[1])[0], 40)
        # Root mean square of what is left, in units of noise.
        self.misfit = math.sqrt(cost / sum(profile.size for profile in profiles))
        self.residual = self._root_mean_square(self.parameters)

    # --- the model

    def _relative_power(self, dispersion: float) -> np.ndarray:
        if self.model == "single":
            return abbe_relative_power(1.0 / dispersion if dispersion else _FAR_OFF, self.wavelengths)
        return secondary_spectrum_relative_power(1e3 * dispersion, self.set_up.focal_length_mm, self.wavelengths)

    def _discs(self, parameters, offset: float) -> tuple[np.ndarray, np.ndarray]:
        """Diameters (k,) on the wall, m, for a stencil moved from where the focus distance wants it, and their
        derivatives (3, k) by pupil, focus error and dispersion: A·Z·|1/z_f − 1/Z| with 1/z_f = φ(λ)/f − 1/tube."""
        pupil, focus_error, dispersion = parameters[:3]
        throw, focal_length = self.set_up.throw_m, 1e-3 * self.set_up.focal_length_mm
        tube = conjugate_distance(focal_length, self.set_up.focus_m) + offset + focus_error
        step = 1e-4 * self._scales()[2]
        by_dispersion = (self._relative_power(dispersion + step) - self._relative_power(dispersion - step)) / (
            2.0 * step
        )
        powers = self._relative_power(dispersion) / focal_length
        defocus = inverse_conjugate(powers, tube) - 1.0 / throw
        side = np.sign(defocus)
        slopes = throw * np.stack(
            [np.abs(defocus), pupil * side / tube**2, pupil * side * by_dispersion / focal_length]
        )
        return pupil * throw * np.abs(defocus), slopes

    def _rises(self, parameters) -> list[Rise]:
        """What every photograph shows, with its derivatives."""
        blur_squared, lateral = parameters[3:5]
        rises = []
        for reading, edge, offset, place in zip(self.readings, self.edges, self.offsets, parameters[5:], strict=True):
            discs, slopes = self._discs(parameters, offset)
            shares = None
            if self.has_lateral and reading.axis_mm is not None:
                # The edge lies −axis from the axis; blue lands larger where the lateral colour is positive.
                shares = 2.0 * reading.axis_mm / self.set_up.gate_width_mm * lateral_colour_share(self.wavelengths)
            rises.append(edge.rise(discs, slopes, place, blur_squared, self.weights, shares, lateral))
        return rises

    @staticmethod
    def _cut(rise: Rise, reading) -> np.ndarray:
        """Profiles (n, 3) as the file holds them: colours beyond black and white are cut off there."""
        return np.clip(rise.profiles, reading.floor, reading.ceiling)

    # --- the fit

    def _free(self) -> np.ndarray:
        free = np.ones(5 + len(self.readings), bool)
        free[0] = self.fixed_pupil is None
        free[4] = self.has_lateral
        return free

    def _scales(self) -> np.ndarray:
        return np.array(
            [1e-2, 1e-4, 1e-2 if self.model == "single" else 1e-3, 1e-7, 1e-4, *[1e-3] * len(self.readings)]
        )

    def _starts(self) -> list[np.ndarray]:
        """Starting points: sharp at three places of the stencil, with the pupil that the widest edge then asks for."""
        focal_length, throw = 1e-3 * self.set_up.focal_length_mm, self.set_up.throw_m
        tube = conjugate_distance(focal_length, self.set_up.focus_m)
        green = 1e-3 * np.array([reading.widths_mm[1] for reading in self.readings])
        starts = []
        for focus_error in (0.0, 5e-4, -5e-4):
            blur_per_pupil = throw * np.abs(
                inverse_conjugate(1.0 / focal_length, tube + self.offsets + focus_error) - 1.0 / throw
            )
            widest = int(np.argmax(green))
            pupil = self.fixed_pupil or np.clip(
                green[widest] / DISC_EDGE_10_90 / max(blur_per_pupil[widest], 1e-4), 1e-3, 0.3
            )
            dispersion = 1.0 / 60.0 if self.model == "single" else 0.0
            starts.append(
                np.array([pupil, focus_error, dispersion, (0.4 * green.min()) ** 2, 0.0, *[0.0] * len(green)])
            )
        return starts

    def _differences(self, rises: list[Rise], profiles, with_slopes: bool) -> tuple[np.ndarray, np.ndarray]:
        """Differences (m,) in units of noise and their derivatives (m, p), an empty array if they are not wanted.

        Dark and bright level of every channel are the best for this curve (linear least squares); their own change is
        left out of the derivatives (L. Kaufman, "A variable projection method", BIT 15, 1975).
        """
        parts, slopes = [], []
        for index, (rise, reading, profile, sigma) in enumerate(
            zip(rises, self.readings, profiles, self.sigmas, strict=True)
        ):
            curve = self._cut(rise, reading)
            deviation = curve - curve.mean(axis=0)
            size = np.maximum(np.sum(deviation**2, axis=0), 1e-12)
            mean_profile = profile.mean(axis=0)
            gain = np.sum(deviation * (profile - mean_profile), axis=0) / size
            parts.append(((mean_profile + gain * deviation - profile) / sigma).ravel())
            if with_slopes:
                slopes.append(self._slopes(rise, index, curve, deviation / size, deviation, gain / sigma))
        return np.concatenate(parts), np.concatenate(slopes) if with_slopes else np.empty((0, 0))

    def _slopes(self, rise: Rise, index: int, curve, per_size, deviation, factor) -> np.ndarray:
        """Derivatives (m, p) of one photograph's differences: what neither dark nor bright level can follow."""
        found = np.zeros((curve.size, 5 + len(self.readings)))
        columns = [
            (0, rise.by_discs[0]),
            (1, rise.by_discs[1]),
            (2, rise.by_discs[2]),
            (3, rise.by_blur_squared),
            (5 + index, rise.by_place),
        ]
        if rise.by_lateral is not None:
            columns.append((4, rise.by_lateral))
        uncut = curve == rise.profiles
        for number, change in columns:
            change = np.where(uncut, change, 0.0)
            change = change - change.mean(axis=0)
            found[:, number] = (factor * (change - deviation * np.sum(per_size * change, axis=0))).ravel()
        return found

    def _solve(self, profiles, start: np.ndarray, n_steps: int) -> tuple[np.ndarray, float]:
        """(parameters, cost) after at most so many steps from a start.

        Levenberg and Marquardt's steps (D. W. Marquardt, J. SIAM 11, 1963) on the normal equations, kept within bounds:
        ten unknowns from tens of thousands of values, where a decomposition of all derivatives would take most of the
        time.
        """
        self._solves.one_more()
        free, scales = self._free(), self._scales()
        lowest = np.full(free.size, -np.inf)
        lowest[[0, 3]] = LEAST_PUPIL_M, 0.0
        here, damping = np.maximum(start, np.where(free, lowest, start)), 1e-3
        rises = self._rises(here)
        differences, slopes = self._differences(rises, profiles, True)
        cost = float(differences @ differences)
        for _ in range(n_steps):
            scaled = slopes * scales
            downhill = -(scaled.T @ differences)
            # What stands at its bound and would go beyond it stays.
            moving = free & ((here > lowest) | (downhill > 0.0))
            curvature = scaled[:, moving].T @ scaled[:, moving]
            damped = curvature + damping * np.diag(np.diag(curvature) + 1e-9)
            trial = here.copy()
            trial[moving] += scales[moving] * np.linalg.solve(damped, downhill[moving])
            trial = np.where(free, np.maximum(trial, lowest), here)
            rises = self._rises(trial)
            tried = self._differences(rises, profiles, False)[0]
            change = cost - float(tried @ tried)
            if change <= 0.0:
                if damping > 1e6 or change > -1e-7 * cost:
                    break
                damping *= 8.0
                continue
            here, cost, damping = trial, cost - change, max(damping / 10.0, 1e-9)
            if change < 1e-7 * cost:
                break
            differences, slopes = self._differences(rises, profiles, True)
        return here, cost

    def _root_mean_square(self, parameters) -> float:
        sigmas = np.concatenate(
            [
                np.broadcast_to(sigma, reading.profiles.shape).ravel()
                for sigma, reading in zip(self.sigmas, self.readings, strict=True)
            ]
        )
        left = (
            self._differences(self._rises(parameters), [reading.profiles for reading in self.readings], False)[0]
            * sigmas
        )
        return float(np.sqrt(np.mean(left**2)))

    # --- how sure

    def standard_errors(self) -> np.ndarray:
        """(p,) by a jackknife over bands of rows: every band left out once in all photographs."""
        rises, free, scales = self._rises(self.parameters), self._free(), self._scales()
        _, slopes = self._differences(rises, [reading.profiles for reading in self.readings], True)
        slopes = slopes[:, free] * scales[free]
        # A band changes so little that one step of Gauss and Newton from the whole leads to its own answer.
        towards = np.linalg.pinv(slopes.T @ slopes, rcond=1e-10, hermitian=True) @ slopes.T
        left = [
            self._differences(rises, [reading.bands[band] for reading in self.readings], False)[0]
            for band in range(N_BANDS)
        ]
        found = np.zeros((N_BANDS, free.size))
        found[:, free] = -scales[free] * np.array([towards @ differences for differences in left])
        return np.sqrt((N_BANDS - 1) / N_BANDS * np.sum((found - found.mean(axis=0)) ** 2, axis=0))

    def curves(self) -> list[np.ndarray]:
        """The fitted profiles (n, 3) of every photograph."""
        return [
            self._cut(rise, reading) for rise, reading in zip(self._rises(self.parameters), self.readings, strict=True)
        ]
