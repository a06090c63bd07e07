"""The impulse response that a recording on the page plays through: that of ``listen``, and those of the interval's edges."""

import base64

from fit.answers.listen.impulse import design_change
from fit.desk.questions.listen import sides_of
from fit.desk.show.words import plain_text
from fit.desk.window import messages
from fit.desk.window.computed import Impulse
from fit.desk.window.what_if import Opened, change_of, command_of


def impulse_of(opened: Opened, asked: messages.Sound) -> Impulse:
    """Design what a recording is convolved with.

    Raises
    ------
    ValueError
        If a setting, part or pickup does not exist, or nothing is heard on one side; one line.
    FileError
        If there is no instrument.
    """
    stand = opened.stand
    change, told = change_of(stand, asked)
    before, after, notes = sides_of(stand, change, dict(asked.recorded))
    answer = design_change(before, after, rate_hz=asked.rate_hz, excite=asked.pickup, edge=asked.edge)
    recorded = tuple(word for name, at in asked.recorded.items() for word in ("--recorded", f"{name}={at}"))
    return Impulse(
        samples=base64.b64encode(answer.impulse.astype("<f4").tobytes()).decode(),
        rate_hz=answer.rate_hz,
        edge=asked.edge,
        findings=tuple(dict.fromkeys((*told, *notes, *(plain_text(finding.text) for finding in answer.findings)))),
        command=command_of(asked, change, opened.folder, words=("listen", "IN.wav", "OUT.wav", *recorded)),
    )
