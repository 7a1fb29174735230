"""Measuring one recording: the task that workers carry out, on this machine or another.

A task writes its own part and returns a receipt of a few bytes. A part that is there is not measured again,
so a task can be given out twice without harm, and whoever dies takes nothing along but the task in hand.
"""

import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import InputError
from classifier.recordings import Recording, blocks
from classifier.survey.parts import Reading, part_of, read_part, write_part

#: Samples of each channel handed to measuring at a time (chosen: 1 MiB a channel as float32, which the scan finds in the
#: processor's cache).
BLOCK_FRAMES = 1 << 18


@dataclass(frozen=True)
class Task:
    """Measure ``recording`` with ``measure(blocks, sample_rate_hz=..., settings=settings)`` and keep the
    pulses in the file ``part``. ``measure`` must be importable by name, for workers are processes of their
    own."""

    recording: Recording
    part: Path
    measure: Callable
    settings: object


@dataclass(frozen=True)
class Receipt:
    """What became of a task: ``reading`` if its part is written; ``failure`` (a sentence) if this recording
    could not be measured; ``stop`` (a sentence) if nothing can be written any more, so that the run has to
    end."""

    reading: Reading | None = None
    failure: str | None = None
    stop: str | None = None


def run_task(task):
    """Measure one recording into its part.

    Parameters
    ----------
    task : Task

    Returns
    -------
    Receipt; it never raises for a recording or a disk that fails
    """
    reading = read_part(task.part)
    if reading is not None:
        return Receipt(reading)
    recording = task.recording
    try:
        samples = blocks(recording, frames=BLOCK_FRAMES)
        pulses = task.measure(samples, sample_rate_hz=recording.true_sample_rate_hz, settings=task.settings)
        for _ in samples:  # none is left unless measuring stopped early; the account of reading must be whole
            pass
        pulses = part_of(pulses)
    except InputError as error:
        return Receipt(failure=f"It could not be measured: {str(error).rstrip('.')}.")
    except MemoryError:
        return Receipt(failure="It could not be measured for want of memory: use fewer --workers and run again.")
    except Exception as error:
        return Receipt(failure=_program_fault(error))
    reading = Reading(samples.frames_read, samples.replaced, samples.fault)
    try:
        write_part(task.part, reading, pulses)
    except InputError as error:
        return Receipt(stop=str(error))
    return Receipt(reading)


def _program_fault(error):
    place = traceback.extract_tb(error.__traceback__)[-1]
    words = (str(error).splitlines() or [""])[0]
    return (
        "Measuring it failed, which is a fault of the program and not of the file: "
        f"{type(error).__name__}: {words} ({Path(place.filename).name}, line {place.lineno})."
    )
