"""Whether repeats of one take agree, as they do while the exciter stays where it is."""

from collections.abc import Sequence

import numpy as np

from measure.response import ComplexArray, Finding, Severity, median
from measure.signal.recording import Recording
from measure.signal.transforms import fast_length, make_transform, spectrum_of

MOVED_WARN, MOVED_REJECT = 0.003, 0.03  # [1] change of the ratio between repeats
REPEAT_FROM_HZ, REPEAT_TO, REPEAT_BANDS = 500.0, 0.3, 40  # [Hz], [1] of the sample rate, [1]: where pickups are loud
TINY = 1e-30  # [1] stands in for 0 where a logarithm follows


def check_repeats(recordings: Sequence[Recording]) -> Finding:
    """Judge whether repeats of one take agree, as they do while the exciter stays where it is.

    Parameters
    ----------
    recordings : sequence of Recording
        At least two of the same stimulus, each with a reference channel.

    Returns
    -------
    Finding
        ``"coil-moved"``; the figure is the greatest change of the ratio between two repeats, in percent.

    Raises
    ------
    ValueError
        If there are fewer than two recordings, or one has no reference channel.
    """
    if len(recordings) < 2 or any(recording.reference_channel is None for recording in recordings):
        msg = f"{len(recordings)} recording(s) given; repeats are compared between two or more, each with a reference channel"
        raise ValueError(msg)
    code = "coil-moved"
    ratios = np.stack([_band_ratios(recording) for recording in recordings])
    changes = np.log(np.abs(ratios[1:]) / np.abs(ratios[0]))
    change = median(changes, axis=1)
    scatter = 1.5 * median(np.abs(changes - change[:, None]), axis=1) / np.sqrt(ratios.shape[1])
    worst = int(np.argmax(np.abs(change)))
    figure = float(abs(change[worst]))
    where = f"repeat {worst + 2} differs from the first by {100 * change[worst]:+.2g} % (limit {100 * MOVED_WARN:g} %)"
    if figure <= max(MOVED_WARN, 4 * float(scatter[worst])):
        return Finding(code=code, severity="pass", text=where, figure=100 * figure, unit="%")
    severity: Severity = "reject" if figure > MOVED_REJECT else "warn"
    text = f"{where}: the exciter seems to have moved; fix it and repeat, or keep each as a take with --coil-moved"
    return Finding(code=code, severity=severity, text=text, figure=100 * figure, unit="%")


def _band_ratios(recording: Recording) -> ComplexArray:
    """Pickup over reference in `REPEAT_BANDS` bands, each the mean over its frequencies weighted by the reference, shape (k,)."""
    columns = [recording.samples[:, channel - 1] for channel in (recording.pickup_channel, recording.reference_channel or 1)]
    transform = make_transform(fast_length(len(recording.samples)))
    pickup, reference = (spectrum_of(transform, column.astype(np.float32)) for column in columns)
    cross, power = pickup * np.conj(reference), np.abs(reference) ** 2
    edges = np.geomspace(REPEAT_FROM_HZ, REPEAT_TO * recording.rate_hz, REPEAT_BANDS + 1) * transform.length / recording.rate_hz
    starts = np.round(edges).astype(int)
    sums = [np.add.reduceat(values.astype(complex), starts)[:-1] for values in (cross, power)]
    ratio = sums[0] / np.where(np.abs(sums[1]) > 0, sums[1], TINY)
    return np.asarray(np.where(ratio == 0, TINY, ratio), dtype=complex)
