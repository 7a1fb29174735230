"""How near the peak frequency of a lone call comes to what can be known of it.

    python tests/benchmarks/peak.py            24 calls of each shape at each noise level, in white noise

Three errors for each shape and noise level: of the plainest reading (the highest point of the spectrum of the very span, as
if that were known), of measuring, and the least that any reading can have which knows the family of the call and of its
envelope beforehand and has to find their numbers (Cramér–Rao). Measuring knows no families, so it cannot come all the way.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
from scipy import fft

sys.path.insert(0, str(Path(__file__).parent))

from measure import default_measure
from summary import HALF_NORMAL_MEDIAN

from classifier.simulate import SHAPES, Heard, WhiteNoise, draw_call, level_for_snr, metrics_of, synthesise

RATE_HZ = 256e3
NOISE = WhiteNoise(-75.0)
SNRS_DB = (15.0, 20.0, 30.0, 40.0)
ONSET_S, SECONDS = 0.25, 0.6
#: Numbers that a call of each shape has, beside those of its envelope; and the share of each by which it is moved.
COURSES = {
    "QCF": ("duration_s", "start_hz", "end_hz", "curvature"),
    "FM-QCF": ("duration_s", "start_hz", "end_hz", "knee_s", "knee_hz", "body_s", "body_hz", "bend_s"),
    "FM linear": ("duration_s", "start_hz", "end_hz"),
    "FM hyperbolic": ("duration_s", "start_hz", "end_hz"),
    "CF-FM": ("duration_s", "start_hz", "end_hz", "knee_s", "knee_hz", "body_s", "body_hz", "bend_s"),
    "noctule-like": ("duration_s", "start_hz", "end_hz", "decay_s"),
}
ENVELOPE = ("attack", "release", "tilt_db")
STEP = 1e-4
_GRID = 4097


def drawn(call, time_s):
    """(amplitude, phase in cycles, frequency in Hz) of a call at instants from the start of its span; silent beyond its ends."""
    frequency, phase = call.course(time_s)
    return call.amplitude(time_s), phase, frequency


def peak_hz(call):
    """Frequency of the maximum of a call's spectrum, to far less than a thousandth of a hertz (Newton's steps)."""
    time = np.linspace(*call.support_s, _GRID)
    amplitude, phase, frequency = drawn(call, time)
    middle = 0.5 * (frequency.min() + frequency.max())
    low = amplitude * np.exp(2j * np.pi * (phase - middle * time))
    size = 4 * _GRID
    power = np.abs(fft.fft(low, size))
    place = fft.fftfreq(size, time[1] - time[0])[int(np.argmax(power))]
    centred = time - time.mean()
    for _ in range(20):
        turned = low * np.exp(-2j * np.pi * place * time)
        x0, x1, x2 = (np.sum(turned * (-2j * np.pi * centred) ** order) for order in range(3))
        slope = 2 * (x1 * np.conj(x0)).real
        bend = 2 * (x2 * np.conj(x0)).real + 2 * abs(x1) ** 2
        place -= slope / bend
    return middle + place


def moved(call, name, step):
    """The call with one of its numbers changed."""
    if name in ENVELOPE:
        return replace(call, envelope=replace(call.envelope, **{name: getattr(call.envelope, name) + step}))
    return replace(call, **{name: getattr(call, name) + step})


def least_error_khz(call, level_db, noise, rate_hz):
    """Cramér–Rao bound of the peak frequency, kHz: a standard deviation.

    Parameters
    ----------
    call : Call of one harmonic, of a shape in COURSES
    level_db : float, its peak re a full-scale sine
    noise : a steady noise of classifier.simulate
    rate_hz : float

    For a cos φ in noise of one-sided density N0 the information is ∫ (∂a ∂aᵀ + a² ∂φ ∂φᵀ) dt / N0, in which the derivatives
    are those by the numbers of the course and of the envelope, by onset, starting phase and level. The bound of a function of
    them is gᵀ I⁻¹ g (Kay 1993, section 3.8, from memory).
    """
    first, last = call.support_s
    pad = 0.01 * (last - first)
    time = np.linspace(first - pad, last + pad, _GRID)
    scale = 10 ** (level_db / 20)
    amplitude, phase, frequency = drawn(call, time)
    by_amplitude, by_phase, pull = [], [], []
    for name in (*COURSES[call.shape], *ENVELOPE):
        value = getattr(call.envelope if name in ENVELOPE else call, name)
        if value is None:
            continue
        step = STEP * (abs(value) if name not in ENVELOPE else 1.0) or STEP
        ahead, behind = moved(call, name, step), moved(call, name, -step)
        a, b = drawn(ahead, time), drawn(behind, time)
        by_amplitude.append((a[0] - b[0]) / (2 * step))
        by_phase.append((a[1] - b[1]) / (2 * step))
        pull.append((peak_hz(ahead) - peak_hz(behind)) / (2 * step))
    later = drawn(call, time - STEP * call.duration_s)
    sooner = drawn(call, time + STEP * call.duration_s)
    nothing = np.zeros(_GRID)
    by_amplitude += [(later[0] - sooner[0]) / (2 * STEP * call.duration_s), nothing, amplitude]
    by_phase += [(later[1] - sooner[1]) / (2 * STEP * call.duration_s), np.ones(_GRID), nothing]
    pull = np.array([*pull, 0.0, 0.0, 0.0])
    weight = scale**2 / noise.density(frequency, rate_hz)
    rows = np.concatenate([by_amplitude, 2 * np.pi * amplitude * np.array(by_phase)], axis=1) * np.sqrt(np.tile(weight, 2))
    information = rows @ rows.T * (time[1] - time[0])
    sizes = np.sqrt(np.diag(information))
    sizes[sizes == 0.0] = 1.0  # a number that changes nothing, as the curvature of a constant frequency
    inverse = np.linalg.pinv(information / np.outer(sizes, sizes), rcond=1e-11, hermitian=True)
    return float(np.sqrt((pull / sizes) @ inverse @ (pull / sizes))) / 1e3


def plain_khz(samples, rate_hz, truth):
    """Highest point of the spectrum of the pulse's own span, a tenth of it more on either side, within its own band."""
    start, length = truth["onset_s"], truth["duration_ms"] / 1e3
    part = samples[int((start - 0.1 * length) * rate_hz) : int((start + 1.1 * length) * rate_hz)]
    size = 1 << 18
    power = np.abs(np.fft.rfft(part, size))
    axis = np.arange(len(power)) * rate_hz / size / 1e3
    inside = np.flatnonzero((axis > truth["min_frequency_khz"] - 1.5) & (axis < truth["max_frequency_khz"] + 1.5))
    place = inside[np.argmax(power[inside])]
    left, top, right = power[place - 1 : place + 2]
    return float(axis[place] + 0.5 * (left - right) / (left - 2 * top + right) * axis[1])


def compare(count, shapes=SHAPES, snrs=SNRS_DB, first=0):
    """A row per call and noise level: shape, snr, and the errors in kHz (``least``: the bound's standard deviation)."""
    rows = []
    for shape in shapes:
        for number in range(first, first + count):
            for snr in snrs:
                rng = np.random.default_rng([SHAPES.index(shape), number])
                call = draw_call(shape, rng, sample_rate_hz=RATE_HZ, harmonics=False)
                level = level_for_snr(call, snr, (NOISE,), RATE_HZ)
                truth = metrics_of(Heard(call, ONSET_S, level), sample_rate_hz=RATE_HZ)
                true = peak_hz(call) / 1e3
                samples = np.zeros(int(SECONDS * RATE_HZ))
                sound = synthesise(call, RATE_HZ, level_db=level, onset_s=ONSET_S)[: len(samples)]
                samples[: len(sound)] += sound
                NOISE.add(samples, RATE_HZ, rng)
                samples = samples.astype(np.float32)
                pulses = default_measure(samples, RATE_HZ)
                near = pulses.filter((pl.col("onset_s") - ONSET_S).abs() < 0.5 * call.duration_s)
                rows.append(
                    {
                        "shape": shape,
                        "snr": snr,
                        "plain": abs(plain_khz(samples, RATE_HZ, truth) - true),
                        "measured": abs(near["peak_frequency_khz"][0] - true) if len(near) else None,
                        "least": least_error_khz(call, level, NOISE, RATE_HZ),
                    }
                )
    return pl.DataFrame(rows, infer_schema_length=None)


def summary(rows):
    """Median errors per shape and noise level, and over all; the bound as the median error of who keeps to it."""
    errors = (
        pl.len().alias("calls"),
        pl.col("measured").count().alias("found"),
        pl.col("plain").median(),
        pl.col("measured").median(),
        (HALF_NORMAL_MEDIAN * pl.col("least").median()).alias("least"),
    )
    parts = rows.group_by("shape", "snr", maintain_order=True).agg(*errors)
    shapes = rows.group_by("shape", maintain_order=True).agg(*errors).with_columns(snr=pl.lit(None, pl.Float64))
    whole = rows.select(*errors).with_columns(shape=pl.lit("all"), snr=pl.lit(None, pl.Float64))
    order = parts.columns
    return pl.concat([parts, shapes.select(order), whole.select(order)], how="vertical_relaxed")


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--calls", type=int, default=24, help="calls of each shape (default 24)")
    parser.add_argument("--first", type=int, default=0, help="number of the first call: draws other calls")
    chosen = parser.parse_args(arguments)
    table = summary(compare(chosen.calls, first=chosen.first))
    with pl.Config(tbl_rows=-1, tbl_formatting="NOTHING", tbl_hide_column_data_types=True, tbl_hide_dataframe_shape=True):
        print("median error of the peak frequency, kHz\n", table, sep="")


if __name__ == "__main__":
    main()
