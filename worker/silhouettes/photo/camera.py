"""The camera of a photo, fitted to points of the sheet: focal length, distortion and pose, with a prior on each."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import acos, degrees, log
from typing import Final, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["Camera", "FocalPrior", "Points", "fit_camera"]

#: `(n, 2) float64`: mm on the sheet, or pixels.
Points: TypeAlias = NDArray[np.float64]

#: Standard deviations of the priors: the principal point as a share of the width, radial distortion, and the points, in
#: pixels of a photo 2000 pixels wide (own choice, by phones' data sheets and the residuals of path-traced photos).
_PRINCIPAL_SIGMA: Final = 0.01
_RADIAL_SIGMA: Final = 0.15
_POINT_SIGMA: Final = 0.12
_SIGMA_WIDTH: Final = 2000.0

_STEPS: Final = 60
_CONVERGED: Final = 1e-6
#: Beyond it no step is short enough to gain anything.
_MOST_DAMPING: Final = 1e8
#: Residuals beyond so many standard deviations count less (Huber). The same in each step, else costs do not compare.
_HUBER: Final = 4.0
#: Columns of OpenCV's Jacobian: rotation 3, translation 3, focal length 2, principal point 2, distortion.
_POSE, _FOCAL, _PRINCIPAL, _RADIAL = slice(0, 6), slice(6, 8), slice(8, 10), slice(10, 12)


@dataclass(frozen=True, slots=True)
class FocalPrior:
    """What is known of the focal length: pixels, and the standard deviation of its logarithm."""

    focal: float
    sigma: float


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """A camera in the sheet's frame.

    Attributes:
        parameters: `(11,) float64`: rotation vector, translation in mm, logarithm of the focal length in pixels,
            principal point in pixels, radial distortion k1 and k2.
        covariance: `(11, 11) float64` of the parameters.
        residual: root mean square distance of the points from where the camera sees them, pixels.
        residuals: `(n,) float64`: those distances.
        cost: what the fit minimised; less is better.
    """

    parameters: NDArray[np.float64]
    covariance: NDArray[np.float64]
    residual: float
    residuals: NDArray[np.float64]
    cost: float

    @property
    def focal(self) -> float:
        """Focal length, pixels."""
        return float(np.exp(self.parameters[6]))

    @property
    def centre(self) -> NDArray[np.float64]:
        """`(3,) float64, mm`: where the camera is."""
        return _centre(self.parameters)

    @property
    def height_sigma(self) -> float:
        """Standard deviation of the height above the sheet, mm."""
        steps = 1e-5 * np.maximum(np.abs(self.parameters[:6]), 1.0)
        gradient = np.zeros(len(self.parameters))
        for index, step in enumerate(steps):
            moved = self.parameters.copy()
            moved[index] += step
            gradient[index] = (_centre(moved)[2] - self.centre[2]) / step
        return float(np.sqrt(gradient @ self.covariance @ gradient))

    @property
    def tilt(self) -> float:
        """Angle between the optical axis and the sheet's normal, degrees."""
        rotation = cv2.Rodrigues(self.parameters[:3])[0]
        return degrees(acos(min(abs(float(rotation[2, 2])), 1.0)))

    def project(self, points: Points) -> Points:
        """Return where points on the sheet, mm, are seen, pixels."""
        return _project(self.parameters, points)[0]


def fit_camera(sheet: Points, image: Points, size: tuple[int, int], prior: FocalPrior) -> Camera:
    """Return the camera that sees points of the sheet where they are in the photo.

    Damped least squares (Levenberg-Marquardt) over all parameters, with Huber's weights.

    Args:
        sheet: at least 8 points, mm, not all on a line.
        image: the same points, pixels.
        size: width and height of the photo.
        prior: the focal length.
    """
    sigma = _POINT_SIGMA * max(size) / _SIGMA_WIDTH
    means, widths = _priors(size, prior)
    # a plane nearly parallel to the picture has two likely poses
    fits = [_fit(guess, sheet, image, sigma, means, widths) for guess in _first_guesses(sheet, image, means)]
    return min(fits, key=lambda camera: camera.cost)


def _fit(  # noqa: PLR0917 - the problem, which no object holds
    parameters: NDArray[np.float64], sheet: Points, image: Points, sigma: float,
    means: NDArray[np.float64], widths: NDArray[np.float64],
) -> Camera:  # fmt: skip
    damping = 1e-3
    cost, normal, gradient = _normal_equations(parameters, sheet, image, sigma, means, widths)
    for _ in range(_STEPS):
        trial = parameters - np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
        trial_cost, trial_normal, trial_gradient = _normal_equations(trial, sheet, image, sigma, means, widths)
        if trial_cost < cost:
            gain = (cost - trial_cost) / cost
            parameters, cost, normal, gradient = trial, trial_cost, trial_normal, trial_gradient
            damping = max(damping / 10.0, 1e-12)
            if gain < _CONVERGED:
                break
        else:
            damping *= 10.0
            if damping > _MOST_DAMPING:
                break
    distances = np.linalg.norm(_project(parameters, sheet)[0] - image, axis=1)
    residual = float(np.sqrt(np.mean(distances**2)))
    # what the model lacks shows in the residuals, so they scale the covariance
    scale = max(1.0, residual / (sigma * 2.0**0.5)) ** 2
    return Camera(parameters, np.linalg.inv(normal) * scale, residual, distances, cost)


def _first_guesses(sheet: Points, image: Points, means: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Yield parameters of cameras without distortion, from the plane's homography (IPPE)."""
    focal = float(np.exp(means[0]))
    matrix = np.array([[focal, 0.0, means[1]], [0.0, focal, means[2]], [0.0, 0.0, 1.0]])
    solid = np.column_stack([sheet, np.zeros(len(sheet))])
    _, rotations, translations, _ = cv2.solvePnPGeneric(solid, image, matrix, None, flags=cv2.SOLVEPNP_IPPE)
    for rotation, translation in zip(rotations, translations, strict=True):
        # where the rotation is by half a turn about an axis of the sheet, IPPE may give no number
        if np.isfinite(rotation).all() and np.isfinite(translation).all():
            yield np.concatenate([np.ravel(rotation), np.ravel(translation), means])
    _, rotation, translation = cv2.solvePnP(solid, image, matrix, None, flags=cv2.SOLVEPNP_ITERATIVE)
    yield np.concatenate([np.ravel(rotation), np.ravel(translation), means])


def _priors(size: tuple[int, int], prior: FocalPrior) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return means and standard deviations of focal length, principal point and distortion."""
    middle = ((size[0] - 1) / 2.0, (size[1] - 1) / 2.0)
    spread = _PRINCIPAL_SIGMA * max(size)
    means = np.array([log(prior.focal), *middle, 0.0, 0.0])
    return means, np.array([prior.sigma, spread, spread, _RADIAL_SIGMA, _RADIAL_SIGMA])


def _normal_equations(  # noqa: PLR0917 - as above
    parameters: NDArray[np.float64], sheet: Points, image: Points, sigma: float,
    means: NDArray[np.float64], widths: NDArray[np.float64],
) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:  # fmt: skip
    """Return the cost, the normal matrix and the gradient."""
    seen, jacobian = _project(parameters, sheet)
    errors = (seen - image) / sigma
    distances = np.linalg.norm(errors, axis=1)
    limit = _HUBER
    weights = np.minimum(1.0, limit / np.maximum(distances, 1e-12))
    cost = float(np.sum(np.where(distances <= limit, distances**2, 2.0 * limit * distances - limit**2)))
    scaled = jacobian / sigma
    doubled = np.repeat(weights, 2)
    normal = scaled.T @ (scaled * doubled[:, None])
    gradient = scaled.T @ (errors.ravel() * doubled)
    offset = (parameters[6:] - means) / widths
    normal[6:, 6:] += np.diag(1.0 / widths**2)
    gradient[6:] += offset / widths
    return cost + float(offset @ offset), normal, gradient


def _project(parameters: NDArray[np.float64], sheet: Points) -> tuple[Points, NDArray[np.float64]]:
    """Return `(n, 2)` pixels and the `(2 n, 11)` Jacobian."""
    focal = float(np.exp(parameters[6]))
    matrix = np.array([[focal, 0.0, parameters[7]], [0.0, focal, parameters[8]], [0.0, 0.0, 1.0]])
    solid = np.column_stack([sheet, np.zeros(len(sheet))])
    lens = np.array([parameters[9], parameters[10], 0.0, 0.0])
    seen, full = cv2.projectPoints(solid, parameters[:3], parameters[3:6], matrix, lens)
    # the logarithm of the focal length stands for both of OpenCV's
    length = focal * full[:, _FOCAL].sum(axis=1, keepdims=True)
    return seen.reshape(-1, 2), np.hstack([full[:, _POSE], length, full[:, _PRINCIPAL], full[:, _RADIAL]])


def _centre(parameters: NDArray[np.float64]) -> NDArray[np.float64]:
    rotation = cv2.Rodrigues(parameters[:3])[0]
    centre: NDArray[np.float64] = -rotation.T @ parameters[3:6]
    return centre
