"""The metrics of a pulse from its fitted shape, each with a standard error.

The standard errors come from the posterior of the fit: the ridge and the ends of the span are drawn a few times
within their uncertainty, the metrics are computed from each draw, and their scatter is the error. So an error also
holds what a formula forgets, such as the flattest stretch jumping along a straight call.
"""

import numpy as np

#: Instants along the span at which the ridge is looked at.
GRID = 101
#: Draws from the posterior; the same for every pulse, so that results are repeatable.
DRAWS = 16
FLATTEST_SHARE = 0.15
FLATTEST_LEAST_S = 0.3e-3
FLAT_HZ_PER_S = 1e6


def describe(shapes, *, seed=20260101):
    """Metrics of a batch in SI units: dict of name -> (value, standard error or None), arrays of shape (n_pulses,).

    Frequencies in Hz, times in s, slopes in Hz/s, shares in percent.
    """
    rng = np.random.default_rng(seed)
    m, k = shapes.fit.coefficients.shape
    normal = rng.standard_normal((DRAWS // 2, k + 2))
    normal = np.concatenate([normal, -normal])
    share = np.linspace(0, 1, GRID)
    length = np.maximum(shapes.end_s - shapes.begin_s, 1e-6)
    time = shapes.begin_s[:, None] + share * length[:, None]
    ridge_rows, slope_rows = shapes.fit.basis(time, 1), shapes.fit.basis(time, 2)
    wobble = np.einsum("mkj,dj->mdk", shapes.fit.root, normal[:, :k])
    ends = np.stack([shapes.begin_error_s, shapes.end_error_s], axis=1)[:, None, :] * normal[None, :, k:]
    drawn = np.concatenate([np.zeros((m, 1, k)), wobble], axis=1) + shapes.fit.coefficients[:, None, :]
    ridge = np.matmul(ridge_rows, drawn.transpose(0, 2, 1)).transpose(0, 2, 1)
    slope = np.matmul(slope_rows, drawn.transpose(0, 2, 1)).transpose(0, 2, 1)
    ends = np.concatenate([np.zeros((m, 1, 2)), ends], axis=1)
    # moving the ends: the ridge keeps its course in time
    stretch = ends[..., :1] * (1 - share) + ends[..., 1:] * share
    ridge = ridge + slope * stretch
    duration = np.maximum(length[:, None] + ends[..., 1] - ends[..., 0], 1e-6)
    values = _metrics(ridge, slope, duration)
    out = {}
    for name, value in values.items():
        error = np.sqrt(np.mean((value[:, 1:] - value[:, :1]) ** 2, axis=1))
        out[name] = (value[:, 0], error)
    out["onset"] = (shapes.begin_s, shapes.begin_error_s)
    out["flat_share"] = (out["flat_share"][0], None)
    return out


def _metrics(ridge, slope, duration):
    """Metrics of ridges of shape (..., GRID) over spans of ``duration`` seconds, shape (...)."""
    out = {
        "duration": duration,
        "start_frequency": ridge[..., 0],
        "end_frequency": ridge[..., -1],
        "max_frequency": ridge.max(axis=-1),
        "min_frequency": ridge.min(axis=-1),
        "mean_slope": (ridge[..., -1] - ridge[..., 0]) / duration,
        "initial_slope": (ridge[..., (GRID - 1) // 5] - ridge[..., 0]) / (duration / 5),
        "flat_share": 100 * np.mean(np.abs(slope) < FLAT_HZ_PER_S, axis=-1),
    }
    out["bandwidth"] = out["max_frequency"] - out["min_frequency"]
    late, characteristic, flattest = _flattest(ridge, slope, duration)
    out["characteristic_frequency"] = characteristic
    out["characteristic_slope"] = flattest
    out["tail"] = ridge[..., -1] - characteristic
    out["knee_frequency"], out["knee_time"] = _knee(ridge, slope, duration, late)
    return out


def _flattest(ridge, slope, duration):
    """Late end (share of the span), ridge there, and mean slope of the stretch with the least mean |slope|."""
    width = np.clip(np.maximum(FLATTEST_SHARE, FLATTEST_LEAST_S / duration), 0, 1)[..., None]
    steps = np.abs(slope[..., 1:] + slope[..., :-1]) / 2
    travelled = np.concatenate([np.zeros((*steps.shape[:-1], 1)), np.cumsum(steps, axis=-1)], axis=-1)
    share = np.linspace(0, 1, GRID)
    late = np.broadcast_to(share, ridge.shape)
    early = late - width
    inside = early >= -1e-9
    behind = np.clip(early, 0, 1)
    covered = travelled - _at(travelled, behind)
    covered = np.where(inside, covered, np.inf)
    # of equals the latest
    best = GRID - 1 - np.argmin(covered[..., ::-1], axis=-1)
    pick = best[..., None]
    at_late = np.take_along_axis(ridge, pick, -1)
    at_early = _at(ridge, np.clip(np.take_along_axis(late, pick, -1) - width, 0, 1))
    mean_slope = (at_late - at_early) / (width * duration[..., None])
    return best / (GRID - 1), at_late[..., 0], mean_slope[..., 0]


def _at(curve, share):
    """Linear interpolation of curves of shape (..., GRID) at shares of the span, shape (..., any)."""
    position = share * (GRID - 1)
    left = np.minimum(position.astype(int), GRID - 2)
    part = position - left
    return np.take_along_axis(curve, left, -1) * (1 - part) + np.take_along_axis(curve, left + 1, -1) * part


def _knee(ridge, slope, duration, late):
    """Ridge and time of the greatest curvature between a steep start and the first flat stretch; NaN without one.

    Curvature is that of the ridge drawn with 1 kHz as long as 1 ms: |f''| / (1 + f'^2)^1.5.
    """
    gentle = slope / 1e6
    step = duration[..., None] * 1e3 / (GRID - 1)
    bend = np.gradient(gentle, axis=-1) / step
    curvature = np.where(bend * np.sign(gentle) < 0, np.abs(bend) / (1 + gentle**2) ** 1.5, 0.0)
    flat = np.abs(gentle) < 1.0
    width = np.clip(np.maximum(FLATTEST_SHARE, FLATTEST_LEAST_S / duration), 0, 1)
    need = np.ceil(width * (GRID - 1)).astype(int)[..., None]
    # length of the run of flat samples that begins at each place
    index = np.arange(GRID)
    next_steep = np.minimum.accumulate(np.where(flat, GRID, index)[..., ::-1], axis=-1)[..., ::-1]
    enough = flat & (next_steep - index >= np.minimum(need, GRID - 1))
    exists = enough.any(axis=-1) & ~flat[..., 0]
    start = np.argmax(enough, axis=-1)
    middle = np.minimum(start + need[..., 0] // 2, GRID - 1)
    allowed = index <= middle[..., None]
    place = np.argmax(np.where(allowed, curvature, -1.0), axis=-1)
    frequency = np.take_along_axis(ridge, place[..., None], -1)[..., 0]
    time = place / (GRID - 1) * duration
    return np.where(exists, frequency, np.nan), np.where(exists, time, np.nan)
