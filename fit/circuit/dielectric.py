r"""A capacitor whose dielectric has the same loss tangent at every frequency, as film, ceramic and paper nearly have.

Causal, so its capacitance must fall with frequency: :math:`Y = sC_0 (s/\omega_0)^{-2\delta/\pi}`, with :math:`C_0` at
:math:`\omega_0` and :math:`\tan\delta` everywhere.
"""

from dataclasses import dataclass, replace

import numpy as np

from measure.response import ComplexArray, FloatArray

STATED_AT_HZ = 1000.0  # [Hz] where a capacitance is stated, as its marking is (IEC 60384-1, from memory)
BAND_HZ = (20.0, 20e3)  # [Hz] where resistors and capacitors that stand for a loss tangent are compared with it
NETWORK_ERROR = 3e-4  # [1] of the admittance, 0.003 dB; more branches are taken until it is reached
MOST_BRANCHES = 16


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


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LossNetwork:
    """Resistors and capacitors that stand for a capacitor with a constant loss tangent, all in parallel.

    Attributes
    ----------
    capacitance_f, resistance_ohm : float
        Of a capacitor and a resistor. [F], [Ω]
    branches : tuple of (float, float)
        Resistance and capacitance of each further branch, in series. [Ω], [F]
    error : float
        Largest relative error of the admittance in `BAND_HZ`. [1]
    """

    capacitance_f: float
    resistance_ohm: float
    branches: tuple[tuple[float, float], ...]
    error: float


def loss_network(*, capacitance_f: float, loss_tangent: float) -> LossNetwork:
    r"""Put a constant loss tangent as resistors and capacitors, for programs that know nothing else.

    Parameters
    ----------
    capacitance_f : float
        At 1 kHz. [F]
    loss_tangent : float
        tan δ, > 0. [1]

    Returns
    -------
    LossNetwork
        With as few branches as keep within `NETWORK_ERROR`, `MOST_BRANCHES` at most.

    Notes
    -----
    With :math:`a = 2\delta/\pi`, :math:`s^{-a} = \frac{\sin \pi a}{\pi} \int e^{au} / (1 + s e^u)\,du` is a sum of relaxations
    (Debye) at :math:`\tau = e^u`. Taken at equal steps of u (trapezoidal rule), what is far faster than the band is a capacitor,
    and what is far slower a resistor. The error of the step h falls as :math:`e^{-\pi^2/h}`, that of an end as its distance m
    from the band in u, :math:`e^{-m}`: :math:`m = \pi^2/h` holds both alike.
    """
    frequency_hz = np.geomspace(*BAND_HZ, 200)
    wanted = capacitor_admittance(frequency_hz, capacitance_f=capacitance_f, loss_tangent=loss_tangent)
    for n in range(1, MOST_BRANCHES + 1):
        found = _relaxations(n, capacitance_f, loss_tangent)
        s = 2j * np.pi * frequency_hz
        admittance = 1 / found.resistance_ohm + s * found.capacitance_f
        for ohm, farad in found.branches:
            admittance = admittance + s * farad / (1 + s * ohm * farad)
        error = float(np.max(np.abs(admittance / wanted - 1)))
        if error < NETWORK_ERROR:
            break
    return replace(found, error=error)


def _relaxations(n: int, capacitance_f: float, loss_tangent: float) -> LossNetwork:
    power = 2 / np.pi * loss_tangent
    slow, fast = (-np.log(2 * np.pi * hertz) for hertz in BAND_HZ)
    width = slow - fast
    step = float(width + np.sqrt(width**2 + 8 * np.pi**2 * n)) / (2 * n)
    log_tau = fast - np.pi**2 / step + step * (np.arange(n) + 0.5)
    weight = capacitance_f * (2 * np.pi * STATED_AT_HZ) ** power * np.sin(np.pi * power) / np.pi * step
    farads = weight * np.exp(power * log_tau)
    below, above = log_tau[0] - step, log_tau[-1] + step
    return LossNetwork(
        capacitance_f=float(weight * np.exp(power * below) / -np.expm1(-power * step)),
        resistance_ohm=float(-np.expm1((power - 1) * step) / (weight * np.exp((power - 1) * above))),
        branches=tuple((float(np.exp(u) / farad), float(farad)) for u, farad in zip(log_tau, farads, strict=True)),
        error=np.inf,
    )
