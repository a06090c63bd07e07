"""What the checks of kept coils came to, in results/: later results are warned by it."""

from pathlib import Path
from typing import Literal

import msgspec

from measure.errors import FileError
from measure.logbook.disk import DAMAGE, describe, one_line, read_small
from measure.logbook.naming import check_name
from measure.logbook.store import RESULTS, Logbook, write_result
from measure.logbook.take import parse_time
from measure.logbook.writers import one_writer

CHECKED_FILE = "checks.json"
SCHEMA = "coilsweep.checks/1"
LIMIT_BYTES = 1_000_000
MAX_COILS = 1000


class DriftRecord(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """How far one quantity of a kept coil lies from where it was.

    Attributes
    ----------
    centre, size : float
        Mean of the baseline, and how far from it. [`unit`]
    since_take, since_utc : str
        First take that measured it there, and when that was made. ISO 8601.
    good_until_utc : str
        When the last take before it was made; empty where there is none. ISO 8601.
    is_lasting : bool
        The weighted average lies outside of its limits, not the latest measurement alone.
    """

    centre: float
    size: float
    unit: str
    since_take: str
    since_utc: str
    good_until_utc: str
    is_lasting: bool

    def __post_init__(self) -> None:
        """Check the times.

        Raises
        ------
        ValueError
            If one is none.
        """
        parse_time(self.since_utc)
        if self.good_until_utc:
            parse_time(self.good_until_utc)


class CheckedCoil(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """What the last check of one coil came to.

    Attributes
    ----------
    judged_utc : str
        When. ISO 8601.
    simulated : bool
        They came from the virtual bench.
    drifts : dict of str to DriftRecord
        By quantity; empty where all is well.
    """

    judged_utc: str
    n_measurements: int
    simulated: bool = False
    drifts: dict[str, DriftRecord] = {}


class CheckedCoils(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """All coils that were checked."""

    schema: Literal["coilsweep.checks/1"] = "coilsweep.checks/1"
    coils: dict[str, CheckedCoil] = {}


def read_checked(logbook: Logbook) -> dict[str, CheckedCoil]:
    """Read what the checks came to.

    Returns
    -------
    dict of str to CheckedCoil
        Empty where no coil was checked yet.

    Raises
    ------
    FileError
        If the file is damaged; one line with the cure.
    """
    path = _path(logbook)
    if not path.exists():
        return {}
    try:
        return msgspec.json.decode(read_small(path, LIMIT_BYTES, below=logbook.path), type=CheckedCoils).coils
    except DAMAGE as err:
        reason = describe(err, {"schema": SCHEMA})
        msg = f"{one_line(path)} is damaged ({reason}): remove it, and run coilsweep check again for each kept coil"
        raise FileError(msg) from None


def keep_checked(logbook: Logbook, coil: str, checked: CheckedCoil) -> Path:
    """Keep what a check came to, in place of the one before; those of other coils stay.

    Raises
    ------
    ValueError
        If the coil's name is none, or there are too many.
    """
    check_name(coil)
    with one_writer(logbook.path):
        coils = read_checked(logbook) | {coil: checked}
        if len(coils) > MAX_COILS:
            msg = f"{len(coils)} kept coils: more than the {MAX_COILS} that a logbook may have"
            raise ValueError(msg)
        content = msgspec.json.format(msgspec.json.encode(CheckedCoils(coils=coils)), indent=1) + b"\n"
        return write_result(logbook, CHECKED_FILE, content)


def _path(logbook: Logbook) -> Path:
    return logbook.path / RESULTS / CHECKED_FILE
