"""Text from outside, made safe for a terminal: the one place that says which characters never get there."""

import re
import unicodedata

UNSEEN = frozenset({"Cc", "Cf", "Zl", "Zp", "Cs"})  # they move the cursor, colour, turn the direction, or end a line
BEYOND_ASCII = re.compile(r"[^\n -~]")


def plain_text(text: str, instead: str = "\N{REPLACEMENT CHARACTER}") -> str:
    r"""Text from outside made safe for one line of a terminal.

    Parameters
    ----------
    text : str
        Names and notes, possibly with control characters.

    Returns
    -------
    str
        Each control or formatting character and each line break replaced.

    Examples
    --------
    >>> plain_text("bare\x1b[31m coil")
    'bare�[31m coil'
    """
    return text if text.isascii() and text.isprintable() else "".join(instead if is_unseen(c) else c for c in text)


def plain_lines(text: str) -> str:
    """Make text of several lines safe; its lines stay."""
    return "\n".join(map(plain_text, text.split("\n")))


def plain_json(text: str) -> str:
    r"""Write what a terminal must not get by its number, which means the same to whoever reads the JSON.

    Examples
    --------
    >>> plain_json('"a\u202eb"')
    '"a\\u202eb"'
    """
    return BEYOND_ASCII.sub(lambda found: by_number(found[0]) if is_unseen(found[0]) else found[0], text)


def is_unseen(char: str) -> bool:
    """Say whether a character does something to a terminal other than being seen."""
    return unicodedata.category(char) in UNSEEN


def by_number(char: str) -> str:
    """Write a character as JSON does in ASCII."""
    units = char.encode("utf-16-be", errors="surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))
