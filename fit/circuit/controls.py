"""Control settings as people state them, CONTROL=VALUE: rotations, electrical fractions, switch positions."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from fit.circuit.instrument import Instrument, Taper

HIGHEST_ROTATION = 10.0  # [1] on the knob; cw is reached there
AUDIO_HALF_FRACTION = 0.12  # [1] of the track at half rotation, two straight segments; common practice, no source (10 to 15 %)
_NUMBER = re.compile(r"\d{1,3}(?:\.\d{0,9})?|\.\d{1,9}")


@dataclass(frozen=True, slots=True, kw_only=True)
class PotSetting:
    """Where a pot stands.

    Attributes
    ----------
    label : str
        As it was stated: ``"7"`` or ``"35%"``.
    fraction : float
        Resistance from ccw to wiper over that of the whole track; for a rotation by the nominal law of its taper. [1]
    """

    label: str
    fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Where every control stands.

    Attributes
    ----------
    pots : dict of str to PotSetting
        By the pot's name.
    """

    pots: dict[str, PotSetting] = field(default_factory=dict)
    switches: dict[str, str] = field(default_factory=dict)


def taper_fraction(taper: Taper, rotation: float) -> float:
    """Nominal electrical fraction from ccw to wiper at a rotation.

    Parameters
    ----------
    taper : {"audio", "linear"}
        Linear: in proportion. Audio: two straight segments that meet at half rotation at 12 % of the track.
    rotation : float
        0 to 10.

    Returns
    -------
    float
        0 to 1.

    Notes
    -----
    Audio pots are made of two or three segments and differ between makes: 10 to 15 % at half rotation (common practice, no
    source). State a measured fraction, ``volume=35%``, where it matters.

    Examples
    --------
    >>> taper_fraction("audio", 5.0), taper_fraction("linear", 5.0)
    (0.12, 0.5)
    """
    share = rotation / HIGHEST_ROTATION
    if taper == "linear":
        return share
    if share <= 0.5:
        return 2 * share * AUDIO_HALF_FRACTION
    return 1 - (1 - AUDIO_HALF_FRACTION) * 2 * (1 - share)


CONTROL_FORM = "CONTROL=VALUE, expected for example volume=7, volume=35% or selector=both"


def split_settings(texts: Iterable[str], form: str = CONTROL_FORM) -> dict[str, str]:
    """Take CONTROL=VALUE apart.

    Parameters
    ----------
    texts : iterable of str
        For example ``"volume=7"``.
    form : str
        What is expected, with an example, for the message.

    Raises
    ------
    ValueError
        If there is no ``=``, or a control is set twice.
    """
    out: dict[str, str] = {}
    for text in texts:
        control, mark, value = (part.strip() for part in text.partition("="))
        if not (control and mark and value):
            msg = f'"{text[:60]}" is not {form}'
            raise ValueError(msg)
        if control in out:
            msg = f"{control} is set twice, to {out[control]} and to {value}"
            raise ValueError(msg)
        out[control] = value
    return out


def read_settings(instrument: Instrument, stated: Mapping[str, str]) -> Settings:
    """Read where the controls stand; what is not stated stands at 10, or in the first position.

    Parameters
    ----------
    stated : mapping of str to str
        Control to rotation (``"7"``), electrical fraction from ccw to wiper (``"35%"``) or position.

    Raises
    ------
    ValueError
        If there is no such control or position, or a number is out of its range; one line.
    """
    for control in stated:
        if control not in instrument.pot and control not in instrument.switch:
            known = ", ".join([*instrument.pot, *instrument.switch]) or "none"
            msg = f'there is no control "{control[:60]}", the instrument has: {known}'
            raise ValueError(msg)
    pots = {name: _pot_setting(name, pot.taper, stated.get(name, "10")) for name, pot in instrument.pot.items()}
    switches = {}
    for name, switch in instrument.switch.items():
        position = stated.get(name, next(iter(switch.positions)))
        if position not in switch.positions:
            msg = f'{name}: there is no position "{position[:60]}", expected one of {", ".join(switch.positions)}'
            raise ValueError(msg)
        switches[name] = position
    return Settings(pots=pots, switches=switches)


def _pot_setting(name: str, taper: Taper, text: str) -> PotSetting:
    is_percent = text.endswith("%")
    number = text.removesuffix("%").strip()
    limit = 100.0 if is_percent else HIGHEST_ROTATION
    if _NUMBER.fullmatch(number) is None or float(number) > limit:
        msg = f'{name}: "{text[:40]}" is neither a rotation from 0 to 10, such as 7, nor a fraction of the track, such as 35%'
        raise ValueError(msg)
    if is_percent:
        return PotSetting(label=f"{float(number):g}%", fraction=float(number) / 100)
    return PotSetting(label=f"{float(number):g}", fraction=taper_fraction(taper, float(number)))
