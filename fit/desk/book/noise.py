"""Hum and noise of a take, as told and as compared."""

from collections.abc import Sequence

import numpy as np

from fit.answers.compare.noise import NoiseTake
from fit.desk.show.document.bench import MainsLine, Noise, ThirdOctave
from measure.logbook.take import Take
from measure.marking import parse_parts
from measure.response import FloatArray
from measure.signal.recording import Recording


def noise_of(recordings: Sequence[Recording], *, stimulus: FloatArray | None, method: str) -> Noise:
    """Hum and noise of a take's repeats; all of a "quiet" take counts, of any other the silences around the stimulus."""
    from measure.signal.noise import noise_levels

    levels = noise_levels(recordings, stimulus=stimulus, is_quiet=method == "quiet")
    hum, floor = levels.hum, levels.broadband
    return Noise(
        hum_hz=levels.mains_hz,
        hum_dbfs=None if hum is None else hum.dbfs,
        hum_std_db=None if hum is None else hum.std_db,
        hum_limit_dbfs=levels.hum_limit_dbfs,
        floor_dbfs=None if floor is None else floor.dbfs,
        floor_std_db=None if floor is None else floor.std_db,
        band_hz=levels.band_hz,
        silence_s=levels.length_s,
        lines=tuple(
            MainsLine(order=int(order), dbfs=level.dbfs, std_db=level.std_db)
            for order, level in zip(levels.line_order, levels.lines, strict=True)
        ),
        third_octaves=tuple(
            ThirdOctave(frequency_hz=float(middle_hz), dbfs=level.dbfs, std_db=level.std_db)
            for middle_hz, level in zip(levels.third_octave_hz, levels.third_octaves, strict=True)
        ),
    )


def noise_take(take: Take, recordings: Sequence[Recording], *, stimulus: FloatArray | None) -> NoiseTake:
    """Hum and noise of a take, to be compared with those of others.

    Parameters
    ----------
    stimulus : ndarray, shape (n,), or None
        What was played.

    Returns
    -------
    NoiseTake
        Its condition is controls and added parts.
    """
    from measure.signal.noise import noise_levels

    levels = noise_levels(recordings, stimulus=stimulus, is_quiet=take.conditions.method == "quiet")
    hum, noise = levels.hum, levels.broadband
    parts = [f"{part.value:g} {part.unit}" for part in parse_parts(take.conditions.added)]
    controls = take.conditions.controls
    return NoiseTake(
        name=take.name,
        hum_dbfs=None if hum is None else hum.dbfs,
        hum_std_db=0.0 if hum is None else hum.std_db,
        hum_freedom=np.inf if hum is None else hum.freedom,
        hum_limit_dbfs=levels.hum_limit_dbfs,
        n_lines=len(levels.lines),
        noise_dbfs=None if noise is None else noise.dbfs,
        noise_std_db=0.0 if noise is None else noise.std_db,
        noise_freedom=np.inf if noise is None else noise.freedom,
        condition="; ".join([*(f"{control}={controls[control]}" for control in sorted(controls)), *sorted(parts)]),
    )
