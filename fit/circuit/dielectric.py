r"""A capacitor whose dielectric has the same loss tangent at every frequency, as film, ceramic and paper nearly have.

Causal, so its capacitance must fall with frequency: :math:`Y = sC_0 (s/\omega_0)^{-2\delta/\pi}`, with :math:`C_0` at
:math:`\omega_0` and :math:`\tan\delta` everywhere.
"""

import numpy as np

from measure.response import ComplexArray, FloatArray

STATED_AT_HZ = 1000.0  # [Hz] where a capacitance is stated, as its marking is (IEC 60384-1, from memory)


def log_turn(s: ComplexArray) -> ComplexArray:
    """Logarithm of a complex frequency over that at which capacitances are stated.

    Parameters
    ----------
    s : ndarray of complex, shape (m,)
        With a positive imaginary part. [rad/s]

    Returns
    -------
    ndarray of complex, shape (m,)
        ln(s/ω0). [1]
    """
    turned: ComplexArray = np.log(s / (2 * np.pi * STATED_AT_HZ))
    return turned


def capacitor_admittance(frequency_hz: FloatArray, *, capacitance_f: float, loss_tangent: float) -> ComplexArray:
    r"""Admittance of a capacitor with a constant loss tangent.

    :math:`Y = sC_0 (s/\omega_0)^{-2\delta/\pi}`.

    Parameters
    ----------
    frequency_hz : ndarray, shape (m,)
        All > 0. [Hz]
    capacitance_f : float
        At 1 kHz. [F]
    loss_tangent : float
        tan δ, >= 0; taken for δ itself, which is right to δ³/3. [1]

    Returns
    -------
    ndarray of complex, shape (m,)
        [S]

    Notes
    -----
    The capacitance falls by 2δ/π for each factor e of the frequency, as causality asks (Kramers-Kronig).

    References
    ----------
    S. Westerlund, L. Ekstam, "Capacitor theory", IEEE Trans. Dielectrics and Electrical Insulation 1 (5), 826-839, 1994, eq. 9;
    from memory.

    Examples
    --------
    >>> admittance = capacitor_admittance(np.array([1e3, 1e4]), capacitance_f=22e-9, loss_tangent=0.01)
    >>> np.round(admittance.real / admittance.imag, 5)
    array([0.01, 0.01])
    """
    s = 2j * np.pi * frequency_hz
    admittance: ComplexArray = s * capacitance_f * np.exp(-2 / np.pi * loss_tangent * log_turn(s))
    return admittance
