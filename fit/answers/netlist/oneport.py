"""A pickup from its element values: its impedance, its gain behind cable and input, and what that does to an impulse."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import CoilValues, coil_elements
from fit.circuit.dielectric import capacitor_admittance
from measure.response import ComplexArray, FloatArray

LONGEST = 1 << 17  # samples of the spectrum that the impulse response is made from
TAIL = 1e-6  # [1] of the largest sample; what stays below it to the end is cut off
LEVEL_HZ, LEVEL_SHARE = (20.0, 20e3), 0.45  # [Hz], [1] of the rate, where the level is compared
PHASE_HZ = 10e3  # [Hz] up to which the phase is compared


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NetPickup:
    """A pickup for a netlist.

    Attributes
    ----------
    coupling : float
        k between two, wound so that their inductances add.
    """

    name: str
    coils: tuple[CoilValues, ...]
    coupling: float = 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Impulse:
    """An impulse response, and how far its spectrum is from what it stands for.

    Attributes
    ----------
    samples : ndarray, shape (n,)
        n is a power of two; the first sample is that of the impulse. [V/V]
    level_error_db : float
        Largest, 20 Hz to 20 kHz or 0.45 times the rate. [dB]
    early_s : float
        How much sooner it comes than the circuit's. [s]
    phase_error_degree : float
        Largest, 20 Hz to 10 kHz, but for that. [°]
    """

    samples: FloatArray
    level_error_db: float
    early_s: float
    phase_error_degree: float


def pickup_impedance(pickup: NetPickup, frequency_hz: FloatArray) -> ComplexArray:
    """Impedance between a pickup's ends, winding capacitance included, nothing connected.

    Parameters
    ----------
    frequency_hz : ndarray, shape (m,)
        Frequencies. [Hz]

    Returns
    -------
    ndarray of complex, shape (m,)
        V of the coils for one ampere: (1 + Z·sC)·V = Z·I. [Ω]
    """
    s = 2j * np.pi * np.asarray(frequency_hz)
    impedance, capacitive, identity = _coil_matrices(pickup, s)
    return np.linalg.solve(identity + impedance * capacitive, impedance.sum(axis=2)[..., None]).sum(axis=(1, 2))


def pickup_gain(
    pickup: NetPickup, frequency_hz: FloatArray, *, input_ohm: float, input_f: float, input_tangent: float = 0.0
) -> ComplexArray:
    """Voltage at the jack behind cable and input for one volt of EMF, shared between two coils as their inductance.

    Parameters
    ----------
    frequency_hz : ndarray, shape (m,)
        Frequencies. [Hz]
    input_ohm, input_f : float
        Cable and input. [Ω], [F]
    input_tangent : float
        Loss tangent of the cable. [1]

    Returns
    -------
    ndarray of complex, shape (m,)
        V of the coils: (1 + Z·(sC + Y))·V = E. [V/V]
    """
    s = 2j * np.pi * np.asarray(frequency_hz)
    impedance, capacitive, identity = _coil_matrices(pickup, s)
    capacitor = s * input_f
    if input_tangent:
        capacitor = capacitor_admittance(np.asarray(frequency_hz), capacitance_f=input_f, loss_tangent=input_tangent)
    load = (1 / input_ohm + capacitor)[:, None, None] * np.ones_like(identity)
    emf = np.array(emf_shares(pickup), dtype=complex)[None, :, None] * np.ones((len(s), 1, 1))
    return np.linalg.solve(identity + impedance * capacitive + impedance @ load, emf).sum(axis=(1, 2))


def impulse_response(gain: Callable[[FloatArray], ComplexArray], *, rate_hz: float) -> Impulse:
    """Causal impulse response with the magnitude of a gain, of minimum phase.

    Parameters
    ----------
    gain : callable
        Frequencies, shape (m,), in hertz to the gain there, shape (m,).
    rate_hz : float
        Sample rate. [Hz]

    Returns
    -------
    Impulse
        As long as it takes to decay by `TAIL`.

    Notes
    -----
    Sampling the circuit's own impulse response would alias, and cutting its spectrum off at half the rate would make it ring
    before it begins. Of all causal responses with this magnitude up to half the rate, the minimum-phase one is the shortest. It
    comes a fraction of a sample sooner than the circuit's: what falls off above half the rate is not there to delay it. That,
    and what else its phase differs by, is measured.

    References
    ----------
    A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing: minimum phase from the folded cepstrum (from memory).
    """
    frequency_hz = np.fft.rfftfreq(LONGEST, 1 / rate_hz)
    frequency_hz[0] = frequency_hz[1] / 100
    wanted = gain(frequency_hz)
    cepstrum = np.fft.irfft(np.log(np.abs(wanted)), LONGEST)
    half = LONGEST // 2
    cepstrum[1:half] *= 2
    cepstrum[half + 1 :] = 0
    samples = np.fft.irfft(np.exp(np.fft.rfft(cepstrum)), LONGEST)[:half]
    heard = np.abs(samples) > TAIL * np.max(np.abs(samples))
    samples = samples[: 1 << int(np.ceil(np.log2(np.flatnonzero(heard)[-1] + 2)))]
    ratio = np.fft.rfft(samples, LONGEST) / wanted
    in_band = (frequency_hz >= LEVEL_HZ[0]) & (frequency_hz <= min(LEVEL_HZ[1], LEVEL_SHARE * rate_hz))
    up_to = in_band & (frequency_hz <= PHASE_HZ)
    turn, radian = 2 * np.pi * frequency_hz[up_to], np.unwrap(np.angle(ratio[up_to]))
    early_s = float(turn @ radian / (turn @ turn))
    return Impulse(
        samples=samples,
        level_error_db=float(np.max(np.abs(20 * np.log10(np.abs(ratio[in_band]))))),
        early_s=early_s,
        phase_error_degree=float(np.max(np.abs(np.degrees(radian - turn * early_s)))),
    )


def emf_shares(pickup: NetPickup) -> list[float]:
    """Share one volt of EMF between the coils, as their inductance is.

    Returns
    -------
    list of float
        One for each coil. [V]
    """
    total_h = sum(coil.inductance_h for coil in pickup.coils)
    return [coil.inductance_h / total_h for coil in pickup.coils]


def _coil_matrices(pickup: NetPickup, s: ComplexArray) -> tuple[ComplexArray, ComplexArray, FloatArray]:
    """Impedances (m, c, c), admittances of the winding capacitances along the last axis (m, 1, c), identity (m, c, c)."""
    elements = coil_elements(pickup.coils, s, pickup.coupling)
    capacitance_f = np.array([coil.winding_capacitance_f for coil in pickup.coils])
    identity = np.broadcast_to(np.eye(len(pickup.coils)), (len(s), len(pickup.coils), len(pickup.coils)))
    return np.moveaxis(elements.impedance, 2, 0), s[:, None, None] * capacitance_f, identity
