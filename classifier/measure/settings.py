"""The numbers that measuring rests on, in one frozen place that can be printed, saved and compared."""

from dataclasses import dataclass


@dataclass(frozen=True)
class MeasureSettings:
    """Settings of measuring. Times in seconds, frequencies in Hz, levels in dB; all values are chosen.

    They were chosen on synthetic recordings of known truth (tests/benchmarks/measure.py); docs/measuring.md tells
    what each does and what happens when it is moved.
    """

    #: Band searched for pulses. Below it wind, speech and birds rule; no bat's search call lies under 8 kHz.
    lowest_frequency_hz: float = 8_000.0
    highest_frequency_hz: float = 250_000.0

    #: Lowest peak frequency reported: just above the band's lower edge lie the upper ends of birds' notes.
    lowest_peak_hz: float = 9_000.0

    #: Length of the frames of the quick scan, which lie side by side; how far a bin must stand over its floor where its
    #: neighbours do as well, and where it stands alone.
    scan_frame_s: float = 1.0e-3
    scan_rise_db: float = 10.0
    scan_sure_db: float = 11.5
    #: Share of frames taken as silent when the floor is drawn: robust while less than that share is free of sound.
    floor_quantile: float = 0.3
    floor_frames: int = 96

    #: Length of the frames of the close look, and the rise of a point and of a whole track over the floor.
    look_frame_s: float = 0.75e-3
    point_rise_db: float = 7.0
    track_rise_db: float = 12.0
    #: Share of the energy nearby that must lie on a track, and on one of few points: of a brief call nearly all does,
    #: but another bat may cross a long one.
    least_share: float = 0.45
    brief_least_share: float = 0.75
    #: Steepest sweep followed from frame to frame, in Hz/s (60 kHz/ms).
    steepest_slope_hz_per_s: float = 60e6

    #: Longest pulse measured in one piece.
    longest_pulse_s: float = 0.12
    #: Shortest span reported.
    shortest_pulse_s: float = 0.3e-3
    #: What a sound must have to be reported as a pulse.
    least_strength: float = 45.0
    least_snr_db: float = 7.0
    least_coherence_percent: float = 65.0
    #: Where a louder bat sounds in the same band, a phase that stands so still over so long a pulse does instead.
    still_stillness: float = 0.97
    still_duration_s: float = 3.0e-3
    #: A pulse briefer than this may be a piece of a click, which fills the whole band: so much of the energy at all
    #: frequencies, and of that in its band, must lie along its ridge.
    brief_s: float = 2.5e-3
    brief_least_whole_share: float = 0.55
    brief_least_coherence_percent: float = 80.0
    #: And of one yet briefer, as a rain drop's ring is and a call of a feeding buzz, still more in its band.
    briefest_s: float = 1.6e-3
    briefest_least_coherence_percent: float = 90.0
    #: No bat's call is as brief as this and yet nearly constant; the ringing of a rain drop is.
    ringing_s: float = 3.0e-3
    ringing_bandwidth_hz: float = 3_000.0
    #: Unevenness of a track from point to point: what noise gives, and how much a steep sweep adds (share of its step).
    most_uneven_hz: float = 630.0
    most_uneven_share: float = 0.5
    #: Of a track of few points, this much of that.
    brief_most_uneven: float = 0.8
    #: Under this frequency, where wind and birds are loud, a pulse must last this long, no longer than that, and hold to its
    #: ridge so well. The bats that call there use nearly constant calls of up to some 30 ms; birds' notes are longer.
    low_frequency_hz: float = 16_000.0
    low_least_duration_s: float = 4.0e-3
    low_most_duration_s: float = 35e-3
    low_least_coherence_percent: float = 85.0
    #: And fade away at both ends: a bird's note, held for longer than a call, is lost where it bends or leaves the band.
    low_most_end_level: float = 0.65
    #: Bats that call under this frequency fall in pitch or hold it, and not for longer than this (common practice, no
    #: source); birds' notes and their overtones rise over their beginning as well, by more than this share of their
    #: frequency and more than this share of what they fall by from end to end.
    falling_frequency_hz: float = 22_000.0
    falling_most_duration_s: float = 40e-3
    falling_most_rise: float = 0.015
    falling_most_rise_of_fall: float = 0.5

    #: The span: how far below its peak a pulse is followed.
    span_drop_db: float = 20.0
