"""Every number that following pulses into passes depends on, each with its source."""

from dataclasses import dataclass, fields

from classifier.errors import ParameterError


@dataclass(frozen=True)
class PassSettings:
    """Numbers of the model of one bat's pulses and of the search. All positive.

    Spreads of frequencies and durations are standard deviations of the natural logarithm in per cent, from pulse
    to pulse of one bat. Unless a source is named the number is chosen, and tuned by tests/benchmarks/passes.py.
    """

    # How much one bat's call varies from pulse to pulse, beside the measured standard errors.
    characteristic_percent: float = 0.4
    peak_percent: float = 0.5
    end_percent: float = 0.6
    start_percent: float = 3.0
    duration_percent: float = 8.0
    #: Common shift of all frequencies of a call (a turn of the head, Doppler).
    shift_percent: float = 0.6
    #: The ends of a sweep vary by this share of their distance from the characteristic frequency.
    sweep_share: float = 0.1
    #: Where the flattest stretch lies is uncertain by this time; on a steep sweep that moves its frequency.
    stretch_ms: float = 0.25
    #: A faint call loses its start and its ends under the noise: per dB below ``full_snr_db``.
    faint_start_percent: float = 0.4
    faint_duration_percent: float = 0.8
    full_snr_db: float = 28.0
    #: Where another pulse crosses, this share of pulses has its frequencies torn by so much.
    overlapped_percent: float = 8.0
    overlapped_share: float = 0.2
    #: The common shift is learned along the track, starting as if from so many values; old ones fade at this rate.
    prior_sways: float = 6.0
    sway_memory: float = 0.97
    #: How soon a track takes up a drift of its frequency (an approaching or leaving bat's Doppler shift).
    drift_pace: float = 0.03
    #: How fast the means of a bat's frequencies, and of its starts and durations, move on: per cent after a second.
    wander_percent: float = 0.6
    form_wander_percent: float = 5.0
    #: The spread of a bat is learned along its track, starting as if from so many values at the spreads above.
    prior_values: float = 6.0

    # Level, as heard: from pulse to pulse, and with time as the bat nears and leaves (flight at some m/s).
    level_db: float = 4.0
    level_db_per_s: float = 12.0

    # Rhythm. Intervals of search calls lie between 50 and 350 ms (handbook tables), about one a wing beat
    # (Holderied et al. 2005).
    usual_interval_s: float = 0.1
    usual_interval_spread: float = 0.8
    interval_spread: float = 0.12
    interval_spread_most: float = 0.2
    skip_share: float = 0.15
    break_share: float = 0.04
    half_share: float = 0.04
    shortest_interval_s: float = 0.003

    # Changes of the call between two pulses: rare in a steady caller; two call types in turn are learned.
    change_share: float = 0.03
    change_prior: float = 0.4
    change_percent: float = 10.0
    type_percent: float = 14.0

    # Beginnings and ends: bats a second, then the share of single pulses that turn out to be a bat.
    new_bat: float = 0.005
    confirm_share: float = 0.05
    #: A pass swells and fades; beginning or ending so far over the detection threshold is unlikely.
    edge_snr_db: float = 12.0
    edge_scale_db: float = 6.0
    edge_most: float = 4.0
    edge_s: float = 0.4

    # Echoes that measuring did not flag: delays of 3 to 15 ms are usual.
    echo_share: float = 0.03
    echo_s: float = 0.02
    echo_drop_db: float = 2.0
    echo_jitter_s: float = 0.0015

    # Feeding buzz: intervals 5 to 10 ms (Kalko 1995; 160 to 190 calls/s, Elemans et al. 2011); a pause of one
    # lost pulse is bridged. The last calls fall to half the search frequency and less than a third above it.
    buzz_interval_s: float = 0.0125
    buzz_pulses: int = 5
    buzz_lowest: float = 0.45
    buzz_highest: float = 1.3
    #: The approach before it: intervals under this; calls of one bat before and after lie so near in frequency.
    approach_interval_s: float = 0.06
    same_bat_percent: float = 12.0
    #: So many pulses of the host may lie within a buzz that comes home to it: they were another's.
    buzz_strangers: int = 1
    #: After a buzz the bat pauses and goes back to its search calls, this often with its next pulse heard.
    buzz_pause_s: float = 0.04
    pause_share: float = 0.2

    # Two call types in turn: apart by so much, and changing between so many neighbours.
    alternation_percent: float = 4.0
    alternation_share: float = 0.6
    #: Two tracks are one alternating caller if together they are at least so many pulses, in one rhythm to so much,
    #: with frequencies no further apart than this.
    alternation_pulses: int = 7
    alternation_misfit: float = 0.25
    alternation_most_percent: float = 35.0

    # Pieces of one bat joined afterwards: a stray this close to the pulses around it in frequency and level, in a
    # track of so many; a break in the middle of a pass, this loud on both sides and no longer than so many beats.
    stray_host: int = 5
    stray_percent: float = 3.0
    stray_level_db: float = 15.0
    mend_snr_db: float = 14.0
    mend_beats: float = 4.0

    # Search: first narrow; wide where the outcome is not plain. Scores are natural logarithms.
    #: Share of doubtful steps in a track from which the wide search is worth its time.
    doubts: float = 0.2
    narrow_margin: float = 8.0
    narrow_hypotheses: int = 6
    wide_margin: float = 30.0
    wide_hypotheses: int = 150
    birth_margin: float = 20.0
    crowd_hypotheses: int = 8
    crowd: int = 8

    # Clocks: a name gives whole seconds, so two files that follow on may differ by one.
    whole_second_s: float = 1.0
    fine_clock_s: float = 0.005

    def __post_init__(self):
        for each in fields(self):
            if not getattr(self, each.name) > 0:
                raise ParameterError(f"PassSettings.{each.name} must be above 0, not {getattr(self, each.name)}")
