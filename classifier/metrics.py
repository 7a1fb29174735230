"""The registry of metrics: the one place for names, units, definitions, sources and plausible ranges.

Measuring, the key language, its checker, ``callkey metrics`` and the docs all read it from here. In key text a
metric goes by its name; in a table its column is the name with its unit (``peak_frequency_khz``), and the
standard error's column adds ``_se`` (``peak_frequency_khz_se``).
"""

from dataclasses import dataclass

#: The unit as written in key text and reports, and the ending its column takes.
COLUMN_ENDINGS = {"kHz": "khz", "kHz/ms": "khz_per_ms", "ms": "ms", "s": "s", "dB": "db", "%": "percent", "": ""}


@dataclass(frozen=True)
class Metric:
    """One measured quantity of a pulse.

    ``low`` and ``high`` bound what a bat recorder can yield, in ``unit``; a key boundary outside them can never
    part anything. ``resolution`` is the finest difference that measuring can vouch for on a strong pulse: an
    overlap zone narrower than that promises more than the measurement holds. ``has_standard_error`` tells whether
    tables carry a standard error beside the value. ``stage`` says where the value becomes known: "measure" (a
    pulse by itself) or "passes" (only with its neighbours). ``source`` is the key of an entry in docs/sources.md.
    """

    name: str
    unit: str
    definition: str
    source: str
    low: float
    high: float
    resolution: float
    has_standard_error: bool = True
    stage: str = "measure"

    @property
    def column(self) -> str:
        """Name of the table column that holds the value."""
        ending = COLUMN_ENDINGS[self.unit]
        return f"{self.name}_{ending}" if ending else self.name

    @property
    def error_column(self) -> str | None:
        """Name of the table column that holds the standard error; None where there is none."""
        return f"{self.column}_se" if self.has_standard_error else None


_KHZ = {"unit": "kHz", "low": 1.0, "high": 500.0}

_ALL = (
    Metric("onset", "s", "start of the span, from the start of the recording, in real time", "common-usage", 0.0, 1e6, 1e-5),
    Metric(
        "duration", "ms", "length of the span in which the pulse stays within 20 dB of its peak", "common-usage", 0.05, 500.0, 0.05
    ),
    Metric("start_frequency", definition="ridge at the start of the span", source="common-usage", resolution=0.3, **_KHZ),
    Metric("end_frequency", definition="ridge at the end of the span", source="common-usage", resolution=0.2, **_KHZ),
    Metric("max_frequency", definition="highest frequency of the ridge", source="common-usage", resolution=0.3, **_KHZ),
    Metric("min_frequency", definition="lowest frequency of the ridge", source="common-usage", resolution=0.2, **_KHZ),
    Metric("bandwidth", "kHz", "highest less lowest frequency of the ridge", "common-usage", 0.0, 400.0, 0.4),
    Metric("peak_frequency", definition="frequency of maximum energy of the pulse", source="common-usage", resolution=0.05, **_KHZ),
    Metric(
        "centre_frequency",
        definition="frequency with half of the pulse's energy below and half above",
        source="common-usage",
        resolution=0.1,
        **_KHZ,
    ),
    Metric(
        "characteristic_frequency",
        definition="ridge at the late end of the flattest stretch (15 % of the duration, at least 0.3 ms)",
        source="LawReinholdPennay2002",
        resolution=0.1,
        **_KHZ,
    ),
    Metric(
        "characteristic_slope",
        "kHz/ms",
        "mean slope of the flattest stretch; negative when falling",
        "LawReinholdPennay2002",
        -200.0,
        200.0,
        0.02,
    ),
    Metric(
        "knee_frequency",
        definition="ridge where the steep sweep turns into the flat body (greatest curvature); missing where there is none",
        source="common-usage",
        resolution=0.3,
        **_KHZ,
    ),
    Metric(
        "knee_time",
        "ms",
        "time of the knee from the start of the span; missing where there is none",
        "common-usage",
        0.0,
        500.0,
        0.1,
    ),
    Metric(
        "initial_slope",
        "kHz/ms",
        "mean slope of the first fifth of the span; negative when falling",
        "common-usage",
        -400.0,
        400.0,
        0.2,
    ),
    Metric("mean_slope", "kHz/ms", "mean slope of the whole span; negative when falling", "common-usage", -400.0, 400.0, 0.1),
    Metric(
        "tail",
        "kHz",
        "ridge at the end of the span less ridge at the late end of the body: positive for an "
        "up-swept tail, negative for a down-swept one",
        "common-usage",
        -200.0,
        200.0,
        0.3,
    ),
    Metric(
        "flat_share",
        "%",
        "share of the duration with a slope flatter than 1 kHz/ms",
        "chosen",
        0.0,
        100.0,
        2.0,
        has_standard_error=False,
    ),
    Metric(
        "interval",
        "ms",
        "onset to onset, from the previous pulse of the same pass; missing on the first",
        "common-usage",
        1.0,
        10000.0,
        0.1,
        has_standard_error=False,
        stage="passes",
    ),
    Metric(
        "second_harmonic",
        "dB",
        "level of the second harmonic relative to the first; missing where it lies above the Nyquist frequency or under the noise",
        "common-usage",
        -80.0,
        80.0,
        1.0,
        has_standard_error=False,
    ),
    Metric(
        "third_harmonic",
        "dB",
        "level of the third harmonic relative to the first; missing where it lies above the Nyquist frequency or under the noise",
        "common-usage",
        -80.0,
        80.0,
        1.0,
        has_standard_error=False,
    ),
    Metric(
        "strongest_harmonic",
        "",
        "number (1, 2 or 3) of the harmonic that the ridge follows",
        "common-usage",
        1,
        3,
        1,
        has_standard_error=False,
    ),
    Metric(
        "level",
        "dB",
        "peak level relative to full scale; of a clipped pulse with what was cut off put back",
        "common-usage",
        -160.0,
        10.0,
        0.5,
        has_standard_error=False,
    ),
    Metric(
        "snr", "dB", "peak level over the noise in the pulse's band", "common-usage", -20.0, 160.0, 0.5, has_standard_error=False
    ),
    Metric(
        "clipped_share",
        "%",
        "share of the span's samples that stand at the recorder's limit",
        "chosen",
        0.0,
        100.0,
        0.5,
        has_standard_error=False,
    ),
    Metric(
        "coherence",
        "%",
        "share of the energy in the pulse's band that lies along the ridge: near 100 for a "
        "call, low for rain, rubbing and insect syllables",
        "chosen",
        0.0,
        100.0,
        2.0,
        has_standard_error=False,
    ),
)

#: Every metric by its name, in the order of the tables.
METRICS = {metric.name: metric for metric in _ALL}

#: The metrics that a pulse has by itself, in the order of pulses.parquet.
MEASURED = tuple(metric for metric in _ALL if metric.stage == "measure")

#: What is said of a pulse beside its metrics: columns of true and false in pulses.parquet.
FLAGS = {
    "echo": "a delayed, weaker copy of the pulse before it; kept out of passes",
    "cut": "runs over the start or the end of its file; its times and end frequencies are missing",
    "overlapped": "another pulse crosses it, so that part of its ridge had to be bridged",
}
