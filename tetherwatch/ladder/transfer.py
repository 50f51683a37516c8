"""Photon transfer: from signal and variance of many tiles to gain and read noise.

Model (EMVA 1288 release 4, linear): variance = K signal + read^2, in codes, with K in codes per electron. Being linear,
it also holds for the means of a tile that is not flat.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tetherwatch.ladder.tiles import Floats

ROUNDING = 1 / 12
"""Variance of rounding to whole codes, in codes squared (EMVA 1288: sigma_q^2)."""

_ROUNDS = 6
_OUTLIER = 5.0
"""Standard errors; tiles further from the line than this saw something move."""

_LEAST_VARIANCE = 1e-3
"""Codes squared: keeps weights finite while a line is still far off."""

_ISO_STEP_ERROR = 0.03
"""One standard uncertainty of the ratio of two ISOs against what the dial says (judgement)."""

LEAST_GAIN = 0.85
"""Part of its neighbours' gain per ISO below which a rung's noise is too low to be a sensor's: smoothing lowers it."""

_DARK_SHARE, _LEAST_DARK = 0.05, 8
"""Share of the tiles, the darkest, that show the read noise of the lowest rung of single frames. Fewer than so many may
all lie on texture, which looks the same."""

_MAD_TO_SIGMA, _MEDIAN_ERROR = 1.4826, 1.2533
"""For a normal curve: standard deviation by median absolute deviation, standard error of a median by that of a mean."""

_LEAST_JOINED = 3
"""Lines; two values always lie on a line of two parts."""


@dataclass(frozen=True, slots=True)
class Points:
    """Signal and variance of a rung's tiles, one entry each; `pixels` independent pixels stand behind each variance.

    `extra`: further variance of the error of each variance, DN^4.
    """

    signal: Floats
    variance: Floats
    pixels: Floats
    extra: Floats


@dataclass(frozen=True, slots=True)
class Transfer:
    """The line of one rung: `gain` (DN/e) and `dark` (variance without light, rounding included, DN^2).

    `covariance` is that of the two, 2 x 2. `left_out`: share of the tiles that did not fit.
    """

    gain: float
    dark: float
    covariance: Floats
    left_out: float = 0.0

    def variance(self, signal: float) -> float:
        """Temporal variance of a pixel at a signal in codes above black, DN^2."""
        return max(self.gain * signal + self.dark, _LEAST_VARIANCE)

    def variance_error(self, signal: float) -> float:
        """Standard uncertainty of `variance`, DN^2."""
        slope = np.array([signal, 1.0])
        return float(np.sqrt(slope @ self.covariance @ slope))


def fit_transfer(points: Points) -> Transfer:
    """The line of one rung by weighted least squares. Needs at least two tiles of different signal.

    Weights come from the line itself (a sample variance of n pixels has the relative error sqrt(2 / n)), because
    weights from the measured variances would favour those that came out low.
    """
    columns = np.stack([points.signal, np.ones_like(points.signal)])
    model = np.maximum(points.variance, np.median(points.variance))
    kept = np.ones(points.signal.size, dtype=bool)
    for _ in range(_ROUNDS):
        error = 2 * model**2 / points.pixels + points.extra
        solution, covariance = _solve(columns[:, kept], points.variance[kept], error[kept])
        model = np.maximum(solution @ columns, _LEAST_VARIANCE)
        kept = _fitting(points, model)
    return Transfer(float(solution[0]), float(solution[1]), covariance, 1.0 - float(kept.mean()))


def _solve(columns: Floats, values: Floats, error: Floats) -> tuple[Floats, Floats]:
    """Weighted least squares: the solution and its covariance. `error`: variance of each value."""
    weighted = columns / error
    matrix = weighted @ columns.T
    scale = np.outer(*[1 / np.sqrt(np.diag(matrix))] * 2)  # the columns differ by many powers of ten
    inverse = np.linalg.pinv(matrix * scale, rcond=1e-12, hermitian=True) * scale
    return inverse @ weighted @ values, inverse


def _fitting(points: Points, model: Floats) -> NDArray[np.bool_]:
    error = np.sqrt(2 * model**2 / points.pixels + points.extra)
    fits = np.abs(points.variance - model) <= _OUTLIER * error
    return fits if fits.sum() >= 2 else np.ones_like(fits)


def without_texture(points: Points, lowest: Points, known: Transfer) -> Points:
    """Single frames' variances without what the scene and the sensor's fixed pattern add to them.

    Both are the same in every rung of a still scene at the same exposure: what the lowest rung's tiles (`lowest`, the
    same tiles) show beyond the noise `known` of that rung is taken out.
    """
    noise = known.gain * lowest.signal + known.dark
    texture = (lowest.variance - noise) * (points.signal / lowest.signal) ** 2
    extra = 2 * np.maximum(lowest.variance, noise) ** 2 / lowest.pixels
    return replace(points, variance=points.variance - texture, extra=points.extra + extra)


def lowest_from_others(
    lowest: Points, others: Sequence[tuple[Points, Points]], isos: Sequence[float], iso: float
) -> Transfer:
    """The line of the lowest rung of single frames, at `iso`, with the help of the other rungs, at `isos`.

    `others`: the tiles of each of them, and the same tiles of the lowest rung. Between two rungs of a still scene only
    noise differs, so the difference of their variances is a line whose slope is the difference of their gains. Gain
    goes as ISO; how far a camera may depart from that is in the uncertainty. What is then left of the darkest tiles'
    variance is read noise.
    """
    nothing = Transfer(0.0, 0.0, np.zeros((2, 2)))
    gains, errors = [], []
    for (points, reference), higher in zip(others, isos, strict=True):
        line = fit_transfer(without_texture(points, reference, nothing))
        part = iso / (higher - iso)
        gains.append(line.gain * part)
        doubt = _ISO_STEP_ERROR * higher / (higher - iso)
        errors.append(part * math.hypot(math.sqrt(line.covariance[0, 0]), doubt * line.gain))
    sound = np.array(gains) >= LEAST_GAIN * max(gains)
    weights = sound / np.square(errors)
    gain, gain_error = float(np.average(gains, weights=weights)), float(weights.sum() ** -0.5)
    darkest = lowest.signal <= np.quantile(lowest.signal, _DARK_SHARE)
    left = lowest.variance[darkest] - gain * lowest.signal[darkest]
    middle = float(np.median(left))
    spread = _MAD_TO_SIGMA * float(np.median(np.abs(left - middle)))
    dark_error = math.hypot(
        gain_error * float(lowest.signal[darkest].mean()), _MEDIAN_ERROR * spread / math.sqrt(left.size)
    )
    if left.size < _LEAST_DARK:
        dark_error = max(dark_error, middle)
    return Transfer(gain, max(middle, ROUNDING), np.diag([gain_error**2, dark_error**2]))


def joined(transfers: Sequence[Transfer]) -> tuple[Transfer, ...] | None:
    """The lines of several rungs and channels, their dark ends helping each other; None where they do not agree.

    Noise before the amplifier grows with the gain, noise after it does not: read^2 = a K^2 + b. If the lines' own
    values lie on that within their errors, it replaces them. A sensor that switches its circuits between two ISOs does
    not follow it.
    """
    if len(transfers) < _LEAST_JOINED:
        return None
    own = np.array([transfer.dark - ROUNDING for transfer in transfers])
    gains = np.array([transfer.gain for transfer in transfers])
    columns = np.stack([gains**2, np.ones(own.size)])
    parts = np.zeros(2)
    for _ in range(_ROUNDS):
        # A gain that came out too large came with a dark end too low: both count against the common line.
        slopes = np.stack([-2 * parts[0] * gains, np.ones(own.size)], axis=-1)
        variances = np.array([s @ t.covariance @ s for s, t in zip(slopes, transfers, strict=True)])
        parts, covariance = _solve(columns, own, np.maximum(variances, 1e-18))
    if np.sum((own - parts @ columns) ** 2 / variances) > _chi_limit(own.size - 2) or (parts < 0).any():
        return None
    return tuple(_on_common_line(transfer, parts, covariance) for transfer in transfers)


def _on_common_line(transfer: Transfer, parts: Floats, covariance: Floats) -> Transfer:
    """A line whose dark end lies on read^2 = a K^2 + b (`parts`, with their covariance) and whose gain follows.

    Gain and dark end of a line err together, by `slope`: that equation and the common one are solved by Newton's
    method.
    """
    early, late = (float(part) for part in parts)
    slope = float(transfer.covariance[0, 1] / transfer.covariance[1, 1])
    gain = transfer.gain
    for _ in range(_ROUNDS):
        dark = early * gain**2 + late + ROUNDING
        gain -= (gain - transfer.gain - slope * (dark - transfer.dark)) / (1 - 2 * slope * early * gain)
    ends = np.array([gain**2, 1.0])
    alone = float(transfer.covariance[0, 0] - slope**2 * transfer.covariance[1, 1])
    bend = 2 * early * gain
    # How gain and dark end move with an error of the gain alone, and with one of the common line.
    moves = np.array([[1.0, slope], [bend, 1.0]]) / (1 - slope * bend)
    errors = np.diag([max(alone, 0.0), float(ends @ covariance @ ends)])
    dark = early * gain**2 + late + ROUNDING
    return replace(transfer, gain=gain, dark=dark, covariance=moves @ errors @ moves.T)


def _chi_limit(freedom: int) -> float:
    """About the 99th percentile of chi squared (Wilson and Hilferty, 1931)."""
    part = 2 / (9 * freedom)
    return float(freedom * (1 - part + 2.326 * part**0.5) ** 3)
