"""What a calibration does not know, as parameters of the fit: one for each named row of the responses' shifts.

A row is the effect of 1 σ, so each parameter has a Gaussian prior 0 ± 1; takes that share a calibration share it.
"""

from collections.abc import Sequence

import numpy as np

from fit.estimate.evidence import Evidence, TakeEvidence
from measure.response import CHANNEL_GAIN, ComplexArray


def shift_names(evidence: Evidence) -> dict[str, str]:
    """List the named calibration errors of all takes.

    Parameters
    ----------
    evidence : Evidence
        Takes with their responses.

    Returns
    -------
    dict
        Name of the row to that of its parameter, in the order of the takes; empty where nothing was calibrated.
    """
    rows = dict.fromkeys(name for take in evidence.takes for name in take.response.shift_names)
    return {row: f"shift_{index}" for index, row in enumerate(rows)}


def shift_rows(evidence: Evidence, kept: Sequence[np.ndarray]) -> dict[str, ComplexArray]:
    """Relative effect of 1 σ of each calibration error.

    Parameters
    ----------
    evidence : Evidence
        Takes with their responses.
    kept : sequence of ndarray of bool
        Of each take, the frequencies that are used; m over all.

    Returns
    -------
    dict
        Name of the parameter to the effect over the response, shape (m,); 0 in takes without it.
    """
    out: dict[str, ComplexArray] = {}
    for row, name in shift_names(evidence).items():
        parts = []
        for take, mask in zip(evidence.takes, kept, strict=True):
            response, part = take.response, np.zeros(int(mask.sum()), dtype=complex)
            if row in response.shift_names:
                part = response.shifts[response.shift_names.index(row), mask] / response.value[mask]
            parts.append(part)
        out[name] = np.concatenate(parts)
    return out


def is_calibrated(take: TakeEvidence) -> bool:
    """Say whether a loopback has compared the two inputs that a take was recorded by.

    Returns
    -------
    bool
        Their ratio is divided out.
    """
    return any(name.startswith(CHANNEL_GAIN) for name in take.response.shift_names)
