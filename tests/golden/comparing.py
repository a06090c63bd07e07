"""Two texts line by line: words equal, numbers within 0.2 % or one unit in the last printed digit."""

import difflib
import re

WITHIN = 0.002  # [1] of the larger one
UNIT = r"(?:%|dB\b|dBFS|°|[mkM]?Hz|[kM]?Ω|[np\u00b5]?F\b|[m\u00b5]?H\b|[mk\u00b5]?V\b|mA|m?W\b|[m\u00b5]?s\b|K\b|ppm)"
NUMBER = r"[-+−]?\d+(?:\.\d+)?(?:[eE][-+−]?\d+)?"
# A whole number is a word (a count, a name, a setting) unless a unit stands behind it or behind the limit that follows it.
MEASURED = re.compile(
    rf"(?<![\w.\-−])(?:[-+−]?\d+\.\d+(?:[eE][-+−]?\d+)?|[-+−]?\d+[eE][-+−]?\d+|{NUMBER}(?= (?:… {NUMBER} )?{UNIT}))(?!\d|\.\d)"
)


def differences(kept, now):
    """Lines that differ, kept ones behind -, new ones behind +, and which of their numbers do."""
    old, new = ([" ".join(line.split()) for line in text.splitlines() if line.strip()] for text in (kept, now))
    words = [[MEASURED.sub("#", line) for line in lines] for lines in (old, new)]
    found = []
    for what, a, b, c, d in difflib.SequenceMatcher(None, *words, autojunk=False).get_opcodes():
        pairs = list(zip(old[a:b], new[c:d], strict=True)) if what == "equal" else []
        for one, other in pairs:
            off = [
                f"{a} → {b}" for a, b in zip(MEASURED.findall(one), MEASURED.findall(other), strict=True) if not is_close(a, b)
            ]
            if off:
                found += [f"- {one}", f"+ {other}", f"  numbers: {'; '.join(off)}"]
        if what != "equal":
            found += [*(f"- {line}" for line in old[a:b]), *(f"+ {line}" for line in new[c:d])]
    return found


def is_close(one, other):
    a, b = _value(one), _value(other)
    return abs(a - b) <= max(WITHIN * max(abs(a), abs(b)), 1.0001 * min(_last_digit(one), _last_digit(other)))


def _value(text):
    return float(text.replace("−", "-"))


def _last_digit(text):
    mantissa, _, power = text.replace("−", "-").lower().partition("e")
    return 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))
