"""What an exciter asks too much of: its former, the output, the resistor, the coil itself, the pickup's input."""

import math
from dataclasses import dataclass

from measure.response import Finding

WANTED_CORNER_HZ = 20e3  # [Hz] above what is listened to
WARM_K = 20.0  # [K] above the room: more than warm to the finger; common practice, no source
SAFE_SHARE = 0.5  # [1] of a resistor's rating that leaves it only warm; common practice, no source
RESONANCE = 10.0  # [1] a bare pickup's peak over its EMF, common practice, no source
FULL_SCALE_V = 1.0  # [V] peak that an instrument input takes with its gain down, common practice, no source
WEAK_V = 3e-3  # [V] at 5 kHz, from where hum and noise need long averaging; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Strain:
    """What is asked of the parts, and what they stand.

    Attributes
    ----------
    turns, most_turns : int
        Wanted, and what the former holds.
    level_v : float
        RMS, nothing connected. [V]
    source_ohm, sense_ohm, load_ohm, minimum_load_ohm : float
        Inside the output; the sense resistor; what the output drives, and may drive. [Ω]
    sense_power_w, rating_w : float
        In the sense resistor, and what it stands. [W]
    coil_rise_k : float
        Above the room. [K]
    corner_hz : float
        Of coil and sense resistor. [Hz]
    emf_v : float
        RMS in the pickup at 5 kHz. [V]
    """

    turns: int
    most_turns: int
    level_v: float
    source_ohm: float
    sense_ohm: float
    load_ohm: float
    minimum_load_ohm: float
    sense_power_w: float
    rating_w: float
    coil_rise_k: float
    corner_hz: float
    emf_v: float


def check_exciter(strain: Strain) -> tuple[Finding, ...]:
    """Say what is outside of its limits, and what helps.

    Parameters
    ----------
    strain : Strain
        What is asked, and what is stood.

    Returns
    -------
    tuple of Finding
        One for each limit: fits, output-load, resistor-power, coil-warmth, corner, pickup-level.
    """
    return (_fit(strain), _load(strain), _resistor(strain), _warmth(strain), _corner(strain), _pickup(strain))


def _fit(strain: Strain) -> Finding:
    text = f"{strain.turns} turns fit: there is room for {strain.most_turns}"
    if strain.turns > strain.most_turns:
        text = f"{strain.turns} turns do not fit: room is for {strain.most_turns}; thinner wire, fewer turns or a larger former"
    return _finding("fits", strain.turns > strain.most_turns, text, strain.most_turns, "turns")


def _load(strain: Strain) -> Finding:
    is_overloaded = strain.load_ohm < strain.minimum_load_ohm
    text = f"the output drives {strain.load_ohm:.3g} Ω (at least {strain.minimum_load_ohm:g} Ω)"
    if is_overloaded:
        needed_ohm = strain.minimum_load_ohm - strain.load_ohm + strain.sense_ohm
        text = (
            f"output overloaded: it would drive {strain.load_ohm:.3g} Ω, less than the {strain.minimum_load_ohm:g} Ω it is made "
            f"for; take a sense resistor of {math.ceil(needed_ohm):d} Ω or more, or an output that may drive less"
        )
    return _finding("output-load", is_overloaded, text, strain.load_ohm, "Ω")


def _resistor(strain: Strain) -> Finding:
    share = strain.sense_power_w / strain.rating_w
    head = f"the sense resistor takes {1e3 * strain.sense_power_w:.3g} mW of its {1e3 * strain.rating_w:.3g} mW"
    level_v = strain.level_v * math.sqrt(SAFE_SHARE / share)
    cure = f"turn the output down to {level_v:.2g} V rms, or take a resistor rated {2 * strain.sense_power_w:.2g} W or more"
    text = head
    if share > 1:
        text = f"resistor overloaded: {head}; {cure}"
    elif share > SAFE_SHARE:
        text = f"resistor hot: {head}; {cure}"
    return _finding("resistor-power", share > SAFE_SHARE, text, strain.sense_power_w, "W")


def _warmth(strain: Strain) -> Finding:
    is_hot = strain.coil_rise_k > WARM_K
    text = f"the coil becomes about {strain.coil_rise_k:.1g} K warmer than the room"
    if is_hot:
        level_v = strain.level_v * math.sqrt(WARM_K / 2 / strain.coil_rise_k)
        text = (
            f"coil overheats: about {strain.coil_rise_k:.2g} K above the room (limit {WARM_K:g} K); turn the output down to "
            f"{level_v:.2g} V rms, or take thicker wire or a larger sense resistor"
        )
    return _finding("coil-warmth", is_hot, text, strain.coil_rise_k, "K")


def _corner(strain: Strain) -> Finding:
    is_low = strain.corner_hz < WANTED_CORNER_HZ * (1 - 1e-9)
    text = f"the corner lies above {WANTED_CORNER_HZ / 1e3:g} kHz"
    if is_low:
        text = (
            f"the corner, {strain.corner_hz / 1e3:.3g} kHz, lies below {WANTED_CORNER_HZ / 1e3:g} kHz: the treble is driven more "
            "weakly; harmless while the sense resistor is recorded, otherwise fewer turns or a larger sense resistor"
        )
    return _finding("corner", is_low, text, strain.corner_hz, "Hz")


def _pickup(strain: Strain) -> Finding:
    peak_v = math.sqrt(2) * RESONANCE * strain.emf_v
    is_loud, is_weak = peak_v > FULL_SCALE_V, strain.emf_v < WEAK_V
    text = f"the pickup's peak may reach {peak_v:.2g} V"
    if is_loud:
        begin_v = strain.level_v * FULL_SCALE_V / peak_v / 2
        text = (
            f"loud in the pickup: at {strain.level_v:.2g} V rms its peak may reach {peak_v:.2g} V, many inputs take "
            f"{FULL_SCALE_V:g} V; begin with the output at {begin_v:.1g} V rms, or lift the coil"
        )
    elif is_weak:
        text = (
            f"the pickup gives only {1e3 * strain.emf_v:.1g} mV at 5 kHz: lay the coil closer, take more turns, a smaller sense "
            "resistor or more level, or let repeats average the noise"
        )
    return _finding("pickup-level", is_loud or is_weak, text, strain.emf_v, "V")


def _finding(code: str, is_bad: bool, text: str, figure: float, unit: str) -> Finding:
    return Finding(code=code, severity="warn" if is_bad else "pass", text=text, figure=float(figure), unit=unit)
