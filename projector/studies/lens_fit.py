"""A lens from photographs of its edges: pupil, focus, dispersion and lateral colour that explain them, and how surely.

Every photograph shows one straight edge of the stencil on a wall square to the beam, at a known focus offset. A pupil
of diameter A at distance Z from the wall spreads wavelength λ over a disc of A·Z·|1/z_f(λ) − 1/Z| (similar triangles),
and each channel of the photograph sees the discs of its own part of the spectrum. What the camera blurs on top is
taken as a Gaussian, one for all photographs. The fit is nonlinear least squares (scipy); how sure it is comes from
leaving out one band of rows after the other (jackknife; B. Efron, "The Jackknife, the Bootstrap and Other Resampling
Plans", SIAM 1982), which also feels noise that neighbouring pixels share, as behind a demosaic or in a JPEG.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.optics.dispersion import abbe_relative_power, lateral_colour_share, secondary_spectrum_relative_power
from projector.optics.thin_lens import conjugate_distance
from projector.photometry.colour import linear_srgb_under_white, white_balance_xyz
from projector.photometry.spectra import OBSERVER_STEPS, source_spectrum
from projector.photometry.wavelength_nodes import choose_nodes
from projector.scene.faults import Fault, SceneError
from projector.studies.slanted_edge import BINS_PER_PIXEL, N_BANDS, EdgeReading

MODELS = ("single", "corrected")
# Offsets that lie closer together than this (mm) cannot tell a pupil from a focus.
LEAST_OFFSET_SPAN_MM = 0.1
# What the fit itself may be off by, found on photographs rendered ray by ray: share of a value, and mm of focus. On clean
# ones it is a tenth of this; a JPEG that keeps colour at half the resolution, or colours pulled into sRGB in another way
# than cut off, take most of it, and no band of rows left out would tell.
METHOD_SHARE, METHOD_FOCUS_MM = 0.015, 0.008
# Beyond these a lens has no axial colour worth a name: no glass has an Abbe number over 100.
WEAKEST_ABBE, LEAST_SECONDARY_MM = 120.0, 0.01
N_NODES = 24
_FAR_OFF = 1e9


@dataclass(frozen=True)
class SetUp:
    """What is known beforehand: lens to wall (m), nominal focal length (mm), distance it is focused at with offset 0 (m),
    the lamp's kind and kelvin (what is usual for its kind if None), the photograph's white balance, the gate's width (mm;
    for lateral colour), the marked f-number (only needed with a single photograph)."""

    throw_m: float
    focal_length_mm: float
    focus_m: float
    source_kind: str = "daylight"
    source_k: float | None = None
    white_balance_k: float = 5600.0
    gate_width_mm: float | None = None
    f_number: float | None = None


@dataclass(frozen=True)
class Value:
    """A number and the half width of its 95 % interval."""

    value: float
    uncertainty: float

    def __str__(self) -> str:
        return f"{self.value:.4g} ± {self.uncertainty:.2g}"


@dataclass(frozen=True)
class LensFit:
    """What photographs say of a lens.

    model "single" (dispersion is its Abbe number) or "corrected" (its secondary spectrum, mm); dispersion None if none
    is seen; pupil_mm, f_number: the pupil that light really fills; focus_error_mm: how far the sharp stencil place lies
    from offset 0; lateral_colour_mm: as a lens file states it, None if it could not be told; camera_blur_mm: standard
    deviation of the camera's own blur on the wall; residual: root mean square of what is left, in shares of full light;
    other_residual: the same for the other model. curves: for each photograph the fitted profiles (n, 3).
    """

    model: str
    pupil_mm: Value
    f_number: Value
    focus_error_mm: Value
    dispersion: Value | None
    lateral_colour_mm: Value | None
    camera_blur_mm: Value
    residual: float
    other_residual: float | None
    curves: list[np.ndarray]


def fit_lens(readings: list[EdgeReading], offsets_mm: list[float], set_up: SetUp, model: str | None = None) -> LensFit:
    """Fit the lens to readings at focus offsets (mm; positive: stencil moved away from the lens).

    model None: the one of the two that explains the photographs better. SceneError if they do not suffice.
    """
    _check(readings, offsets_mm, set_up, model)
    fits = [_Fit(readings, offsets_mm, set_up, name) for name in ([model] if model else MODELS)]
    best = min(fits, key=lambda fit: fit.residual)
    others = [fit.residual for fit in fits if fit is not best]
    return best.result(others[0] if others else None)


def _check(readings, offsets_mm, set_up: SetUp, model) -> None:
    faults = []
    if len(readings) != len(offsets_mm):
        faults.append(Fault(found=f"{len(readings)} photographs and {len(offsets_mm)} focus offsets", allowed="one offset for each photograph"))
    if model is not None and model not in MODELS:
        faults.append(Fault(found=f'the model "{model}"', allowed=", ".join(MODELS)))
    if len(readings) == 1 and set_up.f_number is None:
        faults.append(Fault(found="one photograph and no f-number", allowed="photographs at two or more focus offsets, or the f-number of the one", try_="--f-number 1.8"))
    if len(offsets_mm) > 1 and np.ptp(offsets_mm) < LEAST_OFFSET_SPAN_MM:
        faults.append(Fault(found=f"focus offsets that differ by {np.ptp(offsets_mm):.3g} mm", allowed=f"{LEAST_OFFSET_SPAN_MM} mm or more", try_="move the stencil by half a millimetre and more to either side"))
    if set_up.focus_m * 1e3 <= set_up.focal_length_mm or set_up.throw_m * 1e3 <= set_up.focal_length_mm:
        faults.append(Fault(found=f"a wall or focus nearer than the focal length of {set_up.focal_length_mm:g} mm", allowed="metres beyond it"))
    if faults:
        raise SceneError(faults)


class _Fit:
    """Least squares over all photographs. Parameters: pupil (m), focus error (m), dispersion, blur (m), lateral (m), places (m)."""

    def __init__(self, readings, offsets_mm, set_up: SetUp, model: str):
        self.readings, self.set_up, self.model = readings, set_up, model
        self.offsets = 1e-3 * np.asarray(offsets_mm, float)
        self.has_lateral = set_up.gate_width_mm is not None and any(reading.axis_mm is not None for reading in readings)
        self.fixed_pupil = None if len(readings) > 1 else 1e-3 * set_up.focal_length_mm / set_up.f_number
        spectrum = source_spectrum(set_up.source_kind, set_up.source_k)
        weights = linear_srgb_under_white(white_balance_xyz(set_up.white_balance_k)) @ (OBSERVER_STEPS * spectrum[:, None]).T
        # A disc changes so evenly from one wavelength to the next that a third of the grid carries the whole of it.
        nodes = choose_nodes(spectrum, N_NODES)
        self.wavelengths = nodes.wavelengths_nm
        self.weights = (weights / weights.sum(axis=1, keepdims=True)) @ nodes.hat.T
        self.grids = [_Frequencies(reading) for reading in readings]
        # Each value counts by its own noise; the floor keeps a clean photograph from trusting its last bit.
        self.sigmas = [np.maximum(reading.noise, 2e-3) for reading in readings]
        profiles = [reading.profiles for reading in readings]
        rough = [self._solve(profiles, start, 6) for start in self._starts()]
        self.parameters = self._solve(profiles, min(rough, key=lambda item: item[1])[0], 40)[0]
        self.residual = self._root_mean_square(self.parameters)

    # --- the model

    def _inverse_focus(self, dispersion: float, offset: float, focus_error: float) -> np.ndarray:
        """1/z_f(λ) over the spectrum, 1/m, for a stencil moved from where the focus distance wants it."""
        focal_length = 1e-3 * self.set_up.focal_length_mm
        tube = conjugate_distance(focal_length, self.set_up.focus_m) + offset + focus_error
        if self.model == "single":
            power = abbe_relative_power(1.0 / dispersion if dispersion else _FAR_OFF, self.wavelengths)
        else:
            power = secondary_spectrum_relative_power(1e3 * dispersion, self.set_up.focal_length_mm, self.wavelengths)
        return power / focal_length - 1.0 / tube

    def _curves(self, parameters) -> list[np.ndarray]:
        """Profiles (n, 3), dark 0 and bright 1, of every photograph."""
        pupil, focus_error, dispersion, blur, lateral = parameters[:5]
        throw = self.set_up.throw_m
        curves = []
        for reading, grid, offset, place in zip(self.readings, self.grids, self.offsets, parameters[5:], strict=True):
            discs = pupil * throw * np.abs(self._inverse_focus(dispersion, offset, focus_error) - 1.0 / throw)
            shifts = np.full(self.wavelengths.size, place)
            if self.has_lateral and reading.axis_mm is not None:
                # The edge lies −axis from the axis; blue lands larger where the lateral colour is positive.
                share = 2e3 * lateral / self.set_up.gate_width_mm * lateral_colour_share(self.wavelengths)
                shifts = shifts - 1e-3 * reading.axis_mm * share
            # Colours beyond what a photograph can hold are cut off at black.
            curves.append(np.maximum(grid.rise(discs, shifts, blur, self.weights), reading.floor))
        return curves

    # --- the fit

    def _free(self) -> np.ndarray:
        free = np.ones(5 + len(self.readings), bool)
        free[0] = self.fixed_pupil is None
        free[4] = self.has_lateral
        return free

    def _scales(self) -> np.ndarray:
        return np.array([1e-2, 1e-4, 1e-2 if self.model == "single" else 1e-3, 1e-3, 1e-4, *[1e-3] * len(self.readings)])

    def _starts(self) -> list[np.ndarray]:
        """Starting points: sharp at three places of the stencil, with the pupil that the widest edge then asks for."""
        focal_length, throw = 1e-3 * self.set_up.focal_length_mm, self.set_up.throw_m
        tube = conjugate_distance(focal_length, self.set_up.focus_m)
        green = 1e-3 * np.array([reading.widths_mm[1] for reading in self.readings])
        starts = []
        for focus_error in (0.0, 5e-4, -5e-4):
            blur_per_pupil = throw * np.abs(1.0 / focal_length - 1.0 / (tube + self.offsets + focus_error) - 1.0 / throw)
            widest = int(np.argmax(green))
            pupil = self.fixed_pupil or np.clip(green[widest] / 0.687 / max(blur_per_pupil[widest], 1e-4), 1e-3, 0.3)
            dispersion = 1.0 / 60.0 if self.model == "single" else 0.0
            starts.append(np.array([pupil, focus_error, dispersion, 0.4 * green.min(), 0.0, *[0.0] * len(green)]))
        return starts

    def _residuals(self, parameters, profiles) -> np.ndarray:
        """Differences in units of noise; dark and bright level of every channel are the best for this curve (linear least squares)."""
        parts = []
        for curve, profile, sigma in zip(self._curves(parameters), profiles, self.sigmas, strict=True):
            mean_curve, mean_profile = curve.mean(axis=0), profile.mean(axis=0)
            deviation = curve - mean_curve
            gain = np.sum(deviation * (profile - mean_profile), axis=0) / np.maximum(np.sum(deviation**2, axis=0), 1e-12)
            parts.append(((mean_profile + gain * deviation - profile) / sigma).ravel())
        return np.concatenate(parts)

    def _solve(self, profiles, start, n_steps: int):
        """(parameters, cost) after at most so many steps from a start."""
        from scipy.optimize import least_squares

        free, scales = self._free(), self._scales()
        low = np.where(np.arange(free.size) == 0, 5e-4, np.where(np.arange(free.size) == 3, 0.0, -np.inf))

        def unpacked(values):
            parameters = start.copy()
            parameters[free] = values * scales[free]
            return parameters

        bounds = (low[free] / scales[free], np.full(free.sum(), np.inf))
        x0 = np.maximum(start[free] / scales[free], bounds[0] + 1e-9)
        found = least_squares(lambda values: self._residuals(unpacked(values), profiles), x0, bounds=bounds, xtol=1e-6, ftol=1e-7, max_nfev=n_steps)
        return unpacked(found.x), found.cost

    def _root_mean_square(self, parameters) -> float:
        sigmas = np.concatenate([np.broadcast_to(sigma, reading.profiles.shape).ravel() for sigma, reading in zip(self.sigmas, self.readings, strict=True)])
        left = self._residuals(parameters, [reading.profiles for reading in self.readings]) * sigmas
        return float(np.sqrt(np.mean(left**2)))

    # --- how sure

    def _standard_errors(self) -> np.ndarray:
        """Jackknife over bands of rows: every band left out once in all photographs."""
        found = np.array([self._solve([reading.bands[band] for reading in self.readings], self.parameters, 6)[0] for band in range(N_BANDS)])
        return np.sqrt((N_BANDS - 1) / N_BANDS * np.sum((found - found.mean(axis=0)) ** 2, axis=0))

    def result(self, other_residual: float | None) -> LensFit:
        """The answer with its 95 % intervals."""
        from scipy.stats import t

        wide = float(t.ppf(0.975, N_BANDS - 1))
        pupil, focus_error, dispersion, blur, lateral = self.parameters[:5]
        error = self._standard_errors()
        half = wide * error + METHOD_SHARE * np.abs(self.parameters)
        half[1] = wide * error[1] + 1e-3 * METHOD_FOCUS_MM
        # A dispersion within its own interval of none, or weaker than any glass has, is not claimed.
        seen = None
        if self.model == "single" and dispersion > max(half[2], 1.0 / WEAKEST_ABBE):
            seen = Value(1.0 / dispersion, half[2] / dispersion**2)
        if self.model == "corrected" and abs(dispersion) > max(half[2], 1e-3 * LEAST_SECONDARY_MM):
            seen = Value(1e3 * dispersion, 1e3 * half[2])
        focal_length = 1e-3 * self.set_up.focal_length_mm
        return LensFit(
            model=self.model,
            pupil_mm=Value(1e3 * pupil, 1e3 * half[0]),
            f_number=Value(focal_length / pupil, focal_length * half[0] / pupil**2),
            focus_error_mm=Value(1e3 * focus_error, 1e3 * half[1]),
            dispersion=seen,
            lateral_colour_mm=Value(1e3 * lateral, 1e3 * half[4] + 1e-3) if self.has_lateral else None,
            camera_blur_mm=Value(1e3 * blur, 1e3 * half[3]),
            residual=self.residual,
            other_residual=other_residual,
            curves=self._curves(self.parameters),
        )


class _Frequencies:
    """The rise of a blurred edge by its spectrum: discs, a Gaussian, the pixel and the bin are products there."""

    def __init__(self, reading: EdgeReading):
        n = len(reading.positions_mm)
        # Half the length again on either side, so that the edge that the transform repeats stays out of sight.
        self._n = 1 << math.ceil(math.log2(2 * n))
        self._step = 1e-3 * reading.bin_mm
        self._first = 1e-3 * float(reading.positions_mm[0])
        self._kept = n
        self._frequencies = np.fft.rfftfreq(self._n, self._step)
        pixel = 1e-3 * reading.pixel_mm
        # Pixel and bin are crossed at a slant small enough to count as square.
        self._apertures = np.sinc(self._frequencies * pixel) * np.sinc(self._frequencies * pixel / BINS_PER_PIXEL)

    def rise(self, discs: np.ndarray, shifts: np.ndarray, blur: float, weights: np.ndarray) -> np.ndarray:
        """(n, 3): discs, shifts (k,) m per wavelength, blur m (standard deviation), weights (3, k) with sum 1 each."""
        from scipy.special import j1

        highest = int(np.searchsorted(self._frequencies, 0.75 / max(blur, 0.02 * self._step)))
        used = self._frequencies[: max(highest, 16)]
        argument = np.pi * used[:, None] * discs[None, :]
        spectra = np.where(argument < 1e-6, 1.0, 2.0 * j1(argument) / np.maximum(argument, 1e-6)) * np.exp(-2j * np.pi * used[:, None] * shifts[None, :])
        lines = np.zeros((self._frequencies.size, 3), complex)
        gauss = np.exp(-2.0 * (np.pi * used * blur) ** 2)
        lines[: used.size] = (spectra @ weights.T) * (self._apertures[: used.size] * gauss)[:, None]
        # The line spread starts at minus half the period; its running sum is the rise.
        spread = np.fft.fftshift(np.fft.irfft(lines, self._n, axis=0), axes=0)
        rise = np.cumsum(spread, axis=0) - 0.5 * spread
        places = (np.arange(self._n) - self._n // 2) * self._step
        wanted = self._first + np.arange(self._kept) * self._step
        return np.stack([np.interp(wanted, places, rise[:, channel]) for channel in range(3)], axis=1)
