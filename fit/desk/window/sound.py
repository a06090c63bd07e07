"""The impulse response that a recording on the page plays through: that of ``listen``, and those of the interval's edges."""

import base64

import numpy as np

from fit.answers.figures import COVERAGE
from fit.answers.listen.impulse import EDGES, change_std, design_change
from fit.desk.questions.listen import sides_of
from fit.desk.show.words import plain_text
from fit.desk.window import messages
from fit.desk.window.computed import Impulse
from fit.desk.window.messages import Curve
from fit.desk.window.what_if import DB_PER_NEPER, Opened, change_of, command_of, hertz, levels


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
    given_db = DB_PER_NEPER * np.log(np.abs(answer.given))
    half = COVERAGE * DB_PER_NEPER * change_std(before, after, answer.frequency_hz, excite=asked.pickup)
    middle_db = given_db - EDGES[asked.edge] * half
    recorded = tuple(word for name, at in asked.recorded.items() for word in ("--recorded", f"{name}={at}"))
    return Impulse(
        samples=base64.b64encode(answer.impulse.astype("<f4").tobytes()).decode(),
        rate_hz=answer.rate_hz,
        edge=asked.edge,
        change=Curve(
            label="the change",
            frequency_hz=hertz(answer.frequency_hz),
            db=levels(given_db),
            low_db=levels(middle_db - half),
            high_db=levels(middle_db + half),
        ),
        findings=tuple(dict.fromkeys((*told, *notes, *(plain_text(finding.text) for finding in answer.findings)))),
        command=command_of(asked, change, opened.folder, words=("listen", "IN.wav", "OUT.wav", *recorded)),
    )
