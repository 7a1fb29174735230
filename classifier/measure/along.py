"""From a track to the shape of its pulse: demodulated along it, the ridge corrected, phase and amplitude fitted.

Where the pulse goes on beyond its track, as a steep sweep does that the spectral frames have smeared, the fitted ridge is
carried on and becomes the track of another round.
"""

import numpy as np

from classifier.compiled import compiled
from classifier.measure.describe import GRID
from classifier.measure.harmonics import noise_along
from classifier.measure.overload import restore
from classifier.measure.ridge import MARGIN_NODES, NODE, carried_on, demodulate, refine
from classifier.measure.shape import fit_shape, nothing
from classifier.measure.spline import polynomials_along

#: Room given beyond the span when its energy is weighed, in seconds.
SPAN_ROOM_S = 0.15e-3
#: A pulse stands over the noise no further than this beyond its track, and its ridge leaves the track, carried on at both
#: ends, no further than this and a share of what it was carried on by.
BEYOND_TRACK_S, ASTRAY_HZ, ASTRAY_SHARE = 0.6e-3, 5_000.0, 0.6
#: A pulse is followed beyond its track so often, and not under this frequency.
ROUNDS, LEAST_HZ = 5, 4_000.0


@compiled
def shape_along(samples, recorded, frequency_hz, time, floor, floor_bin_hz, kernel, decimation, rate_hz, span_drop_db):
    """From a track to the shape of its pulse: (whether there is one, first sample of its row, nodes, Shape, first and last
    sample of its span with some room, lowest and highest frequency of its ridge)."""
    node = NODE * decimation
    for turn in range(ROUNDS):
        further_begin, further = carried_on(frequency_hz, time, node, rate_hz)
        fitted_along = _fitted_along(
            samples, recorded, further_begin, further, floor, floor_bin_hz, kernel, decimation, rate_hz, span_drop_db
        )
        # a steep sweep that ends low is not to be followed into the rumble beneath
        if turn and fitted_along[2] < LEAST_HZ:
            break
        begin, nodes = further_begin, further
        exists, shape, low, high = fitted_along
        if not exists or not (shape.open_first or shape.open_last) or turn == ROUNDS - 1:
            break
        count = max(int(np.round((shape.sure_last_s - shape.sure_first_s) * rate_hz / node)) + 1, 3)
        frequency_hz = polynomials_along(shape.sure_first_s, node / rate_hz, count, shape.knots, shape.turns, 1)
        time = begin + shape.sure_first_s * rate_hz
    room = round(SPAN_ROOM_S * rate_hz)
    first = max(begin + int(shape.begin_s * rate_hz) - room, 0)
    last = min(begin + int(shape.end_s * rate_hz) + room + 1, len(samples))
    return exists and last - first > 2 * room, begin, nodes, shape, first, last, low, high


@compiled
def _fitted_along(samples, recorded, begin, nodes, floor, floor_bin_hz, kernel, decimation, rate_hz, span_drop_db):
    """The shape of the pulse along nodes: (whether there is one, Shape, lowest and highest frequency of its ridge)."""
    signal, ridge = demodulate(samples, begin, nodes, kernel, decimation, rate_hz)
    baseband_hz = rate_hz / decimation
    noise = noise_along(ridge, floor, floor_bin_hz, baseband_hz)
    track = MARGIN_NODES * NODE, (len(nodes) - 1 - MARGIN_NODES) * NODE
    beyond = round(BEYOND_TRACK_S * baseband_hz)
    refine(signal, ridge, noise, track[0] - beyond, track[1] + beyond, baseband_hz, rate_hz / 2)
    factor, amplitude_noise = restore(signal, noise, recorded)
    late_s = 0.5 * (decimation - 1) / rate_hz
    low = high = 0.0
    exists, shape = False, nothing()
    before_s = after_s = BEYOND_TRACK_S
    carried = max(abs(nodes[0] - nodes[MARGIN_NODES]), abs(nodes[-1] - nodes[-1 - MARGIN_NODES]))
    astray = ASTRAY_HZ + ASTRAY_SHARE * carried
    least, most = nodes.min() - astray, nodes.max() + astray
    for _ in range(3):
        exists, shape = fit_shape(
            signal,
            factor,
            ridge,
            noise,
            amplitude_noise,
            track[0],
            track[1],
            before_s,
            after_s,
            baseband_hz,
            late_s,
            span_drop_db,
        )
        step_s = (shape.end_s - shape.begin_s) / (GRID - 1)
        course = polynomials_along(shape.begin_s, step_s, GRID, shape.knots, shape.turns, 1)
        low, high = course.min(), course.max()
        early = late = False
        for i in range(GRID):
            if not least < course[i] < most:
                early, late = early or i < GRID // 2, late or i >= GRID // 2
        # a ridge that runs away at an end was drawn along by another sound: there it has to keep to its track
        if not (early and before_s > 0.0 or late and after_s > 0.0):
            break
        before_s, after_s = 0.0 if early else before_s, 0.0 if late else after_s
    return exists, shape, low, high
