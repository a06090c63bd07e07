"""Numbers with a unit, as they are typed behind an option: 48k, 20 kHz, 0.5, 3 s."""

import math
import re
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    Number = click.ParamType[float]
else:
    Number = click.ParamType  # which takes no type before click 8.4

SUFFIXES = {"Hz": r"hz", "s": r"s(?:ec(?:onds?)?)?", "dB": r"db(?:fs)?", "°C": r"°? ?c"}
PREFIXES = {"k": 1e3, "m": 1e6}  # of a frequency; nobody means millihertz


class Amount(Number):
    """A number in a range, with or without an SI prefix and its unit.

    Attributes
    ----------
    unit : str
        "Hz", "s", "dB", "°C" or empty.
    low, high : float or None
        Ends of the range, both allowed; None for none.
    above : float or None
        Lower end that is not allowed itself.
    """

    name = "amount"

    def __init__(
        self,
        unit: str = "",
        low: float | None = None,
        high: float | None = None,
        *,
        above: float | None = None,
        is_whole: bool = False,
    ) -> None:
        """Keep the range."""
        self.unit, self.low, self.high, self.above, self.is_whole = unit, low, high, above, is_whole

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read what was typed; defaults go through unchanged.

        Raises
        ------
        click.BadParameter
            If it is no number, or outside of the range; says which is right.
        """
        if not isinstance(value, str):
            return float(value) if not self.is_whole else int(value)
        number = _number(value, self.unit)
        if number is None or (self.is_whole and number != int(number)):
            self.fail(f'"{value[:40]}" is not {self._kind()}: expected {self.range_text()}', param, ctx)
        is_low = (self.low is not None and number < self.low) or (self.above is not None and number <= self.above)
        if is_low or (self.high is not None and number > self.high):
            self.fail(f"{value[:40]} is too {'low' if is_low else 'high'}: expected {self.range_text()}", param, ctx)
        return int(number) if self.is_whole else number

    def range_text(self) -> str:
        """Range in words, for example "8 to 768 kHz", "more than 0, at most 1"."""
        low, high = (None if end is None else _shown(end, self.unit) for end in (self.low, self.high))
        if self.above is not None:
            first = f"more than {_shown(self.above, self.unit)}"
            return first if high is None else f"{first}, at most {high}"
        if low is not None and high is not None:
            return f"{low} to {high}"
        return f"at least {low}" if low is not None else f"at most {high}" if high is not None else self._kind()

    def _kind(self) -> str:
        kinds = {"Hz": "a frequency such as 20k", "s": "a time in seconds", "dB": "a level in dB", "°C": "a temperature"}
        return kinds.get(self.unit, "a whole number" if self.is_whole else "a number")


def _number(text: str, unit: str) -> float | None:
    written = text.strip().replace("\u2212", "-").lower()
    prefix = "(?P<prefix>[km])?" if unit == "Hz" else ""
    match = re.fullmatch(rf"(?P<number>[+-]?[0-9.]+(?:e[+-]?[0-9]+)?) ?{prefix} ?(?:{SUFFIXES.get(unit, '')})?", written)
    if match is None:
        return None
    try:
        number = float(match["number"]) * PREFIXES.get(match.groupdict().get("prefix") or "", 1.0)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _shown(number: float, unit: str) -> str:
    if unit == "Hz" and abs(number) >= 1000:
        return f"{number / 1000:g} kHz"
    return f"{number:g} {unit}".strip().replace("-", "\u2212")
