"""Plays and records for the pages, in a process of its own: one activity at a time, silence when nobody is there any more."""

from collections.abc import Callable

from fit.desk.window.hub import Place
from fit.desk.window.messages import Played, Refused, Told


class CardProcess:
    """Has the sound card."""

    def __init__(self) -> None:
        """Nothing is started."""
        self._tell: Callable[[Told], None] = lambda _: None

    def start(self, tell: Callable[[Told], None]) -> None:
        """Begin."""
        self._tell = tell

    def order(self, message: Played, place: Place) -> None:
        """Do what a page asks."""
        del place
        self._tell(Refused(answers=message.id, text="the card is not there yet"))

    def silence(self) -> None:
        """Fade to silence."""

    def end(self) -> None:
        """Go."""
