"""What the commands of the bench say as JSON: rig, takes, calibrations, the card; and an error of any command."""

from typing import Literal

from msgspec import UNSET, UnsetType

from fit.answers.figures import Contribution
from fit.desk.show.document.pieces import Check, Document, NamedTake, Number, Piece, Value
from measure.logbook.conditions import Method
from measure.logbook.rig import Rig
from measure.response import Outcome
from measure.signal.levels import ChannelLevel


class RigDocument(Document, frozen=True, kw_only=True, tag="coilsweep.rig/1"):
    """What is stated of the rig.

    Attributes
    ----------
    rig : Rig
        The keys of rig.toml that are stated.
    missing : tuple of str
        Keys that are still to be stated.
    """

    rig: Rig
    missing: tuple[str, ...]


class StimulusDocument(Document, frozen=True, kw_only=True, tag="coilsweep.stimulus/1"):
    """The sweep that was written.

    Attributes
    ----------
    file : str
        Its name.
    length_s : float
        With the silences. [s]
    bits : int
        Of a sample.
    rate_hz : int
        Sample rate. [Hz]
    start_hz, stop_hz : float
        First and last frequency. [Hz]
    duration_s : float
        Without the silences. [s]
    before_s, after_s : float
        Silence around it. [s]
    level : float
        Peak over full scale. [1]
    """

    file: str
    length_s: float
    bits: int
    rate_hz: int
    start_hz: float
    stop_hz: float
    duration_s: float
    before_s: float
    after_s: float
    level: float


class AudioDevice(Piece, frozen=True, kw_only=True):
    """A device as the audio library lists it.

    Attributes
    ----------
    device, host_api : str
        As the system names them.
    inputs, outputs : int
        Channels.
    rates_hz : tuple of int or None
        That open; null where it did not answer. [Hz]
    own_rate_hz : float
        What it runs at when nothing is asked for. [Hz]
    exact_rates_hz : tuple of int or None
        At which it opens so that nobody resamples (exclusive mode); null where its host API cannot be asked for that. [Hz]
    may_resample : bool
        At other rates than those the system, or a sound server, may resample without a word.
    is_default_input, is_default_output : bool
        Of the system.
    is_in_rig : bool
        The rig names it.
    """

    device: str
    host_api: str
    inputs: int
    outputs: int
    rates_hz: tuple[int, ...] | None
    own_rate_hz: float
    exact_rates_hz: tuple[int, ...] | None
    may_resample: bool
    is_default_input: bool
    is_default_output: bool
    is_in_rig: bool


class DevicesDocument(Document, frozen=True, kw_only=True, tag="coilsweep.devices/1"):
    """What there is to play and record with.

    Attributes
    ----------
    library : str
        That plays and records; empty where there is none.
    explanation : str
        For people.
    devices : tuple of AudioDevice
        One for each.
    """

    library: str
    explanation: str
    devices: tuple[AudioDevice, ...]


class LevelDocument(Document, frozen=True, kw_only=True, tag="coilsweep.level/1"):
    """What the inputs hear while a quiet tone plays.

    Attributes
    ----------
    inputs : dict of str to ChannelLevel
        "pickup", and "reference" where there is one.
    checks : tuple of Check
        What the levels mean.
    simulated : bool
        Rehearsed on the virtual bench.
    """

    inputs: dict[str, ChannelLevel]
    checks: tuple[Check, ...]
    simulated: bool = False


class BenchDocument(Document, frozen=True, kw_only=True, tag="coilsweep.bench/1"):
    """The bench in a window, once it is closed.

    Attributes
    ----------
    logbook : str
        Folder that the pages worked in last.
    simulated : bool
        On the virtual bench.
    """

    logbook: str
    simulated: bool = False


class TakeDocument(Document, frozen=True, kw_only=True, tag="coilsweep.take/1"):
    """A take that was made.

    Attributes
    ----------
    takes : tuple of NamedTake
        The one.
    kept : str
        Its folder.
    repeats : int
        How many.
    rate_hz : int
        Sample rate. [Hz]
    noise_db : float or None
        Below the response, at half of the frequencies; null where there is no response. [dB]
    outcome : {"good", "usable", "rejected"}
        Of its checks.
    simulated : bool
        By the virtual bench.
    checks : tuple of Check
        All of them.
    """

    takes: tuple[NamedTake, ...]
    kept: str
    repeats: int
    rate_hz: int
    noise_db: Number
    outcome: Outcome
    simulated: bool
    checks: tuple[Check, ...]


class ImportDocument(Document, frozen=True, kw_only=True, tag="coilsweep.import/1"):
    """A take that was measured elsewhere.

    Attributes
    ----------
    takes : tuple of NamedTake
        The one.
    kept : str
        Its folder.
    outcome : {"good", "usable", "rejected"}
        Of its checks.
    simulated : bool
        It came from the virtual bench.
    checks : tuple of Check
        All of them.
    """

    takes: tuple[NamedTake, ...]
    kept: str
    outcome: Outcome
    simulated: bool
    checks: tuple[Check, ...]


class MainsLine(Piece, frozen=True, kw_only=True):
    """A multiple of the mains frequency.

    Attributes
    ----------
    order : int
        Which.
    dbfs : float
        Its level. [dBFS]
    std_db : float
        1 σ. [dB]
    """

    order: int
    dbfs: float
    std_db: Number


class ThirdOctave(Piece, frozen=True, kw_only=True):
    """Noise in a third of an octave, without the mains lines.

    Attributes
    ----------
    frequency_hz : float
        Middle of the band. [Hz]
    dbfs : float
        Its level. [dBFS]
    std_db : float
        1 σ. [dB]
    """

    frequency_hz: float
    dbfs: float
    std_db: Number


class Noise(Piece, frozen=True, kw_only=True):
    """Hum and noise of the pickup's channel; null stands for what could not be told.

    Attributes
    ----------
    hum_hz : float or None
        Mains frequency. [Hz]
    hum_dbfs : float or None
        All its multiples within the band together. [dBFS]
    hum_std_db : float or None
        1 σ. [dB]
    hum_limit_dbfs : float or None
        Where no line stands out: the level of the strongest one that could have been overlooked. [dBFS]
    floor_dbfs : float or None
        What is left without the lines, in the band. [dBFS]
    floor_std_db : float or None
        1 σ. [dB]
    band_hz : tuple of float
        The band. [Hz]
    silence_s : float
        That all this was read from. [s]
    lines : tuple of MainsLine
        That stand out.
    third_octaves : tuple of ThirdOctave
        In the band.
    """

    hum_hz: Number
    hum_dbfs: Number
    hum_std_db: Number
    hum_limit_dbfs: Number
    floor_dbfs: Number
    floor_std_db: Number
    band_hz: tuple[float, float]
    silence_s: float
    lines: tuple[MainsLine, ...]
    third_octaves: tuple[ThirdOctave, ...]


class InspectDocument(Document, frozen=True, kw_only=True, tag="coilsweep.inspect/1"):
    """The recordings of a take, checked again.

    Attributes
    ----------
    takes : tuple of NamedTake
        The one.
    outcome : {"good", "usable", "rejected"}
        Of its checks.
    simulated : bool
        It came from the virtual bench.
    checks : tuple of Check
        All of them.
    noise : Noise
        Hum and noise.
    """

    takes: tuple[NamedTake, ...]
    outcome: Outcome
    simulated: bool
    checks: tuple[Check, ...]
    noise: Noise


class KeptResponse(Piece, frozen=True, kw_only=True):
    """A response that was measured elsewhere; one that cannot be used has no more than file and method.

    Attributes
    ----------
    file : str or None
        As it is kept.
    method : {"exciter", "impedance", "plate", "quiet"}
        By which it was made.
    unit : str
        "V/V" or "Ω".
    n_frequencies : int
        How many.
    lowest_hz, highest_hz : float
        First and last frequency. [Hz]
    """

    file: str | None
    method: Method
    unit: str | UnsetType = UNSET
    n_frequencies: int | UnsetType = UNSET
    lowest_hz: float | UnsetType = UNSET
    highest_hz: float | UnsetType = UNSET


class InspectResponseDocument(Document, frozen=True, kw_only=True, tag="coilsweep.inspect/1"):
    """A response that was measured elsewhere, checked again.

    Attributes
    ----------
    takes : tuple of NamedTake
        The one.
    response : KeptResponse
        What it is.
    outcome : {"good", "usable", "rejected"}
        Of its checks.
    simulated : bool
        It came from the virtual bench.
    checks : tuple of Check
        All of them.
    """

    takes: tuple[NamedTake, ...]
    response: KeptResponse
    outcome: Outcome
    simulated: bool
    checks: tuple[Check, ...]


class LoopbackDocument(Document, frozen=True, kw_only=True, tag="coilsweep.calibrate/1"):
    """How the two inputs differ.

    Attributes
    ----------
    kind : {"loopback"}
        What was calibrated.
    simulated : bool
        By the virtual bench.
    rate_hz : int
        Sample rate. [Hz]
    device : str
        As the rig names it.
    channels : tuple of int
        Pickup's and reference's input, from 1.
    frequency_hz : tuple of float
        [Hz]
    ratio_db : tuple of float
        Pickup's input over reference's, at each frequency. [dB]
    ratio_degree : tuple of float
        Its phase. [°]
    gain_standard_uncertainty : float
        Relative, common to all frequencies. [1]
    delay_standard_uncertainty_s : float
        Common to all frequencies. [s]
    latency_s : float or None
        From output to input; null where what was played is not known. [s]
    floor_dbfs : tuple of (float or None)
        Noise of the two inputs. [dBFS]
    file : str
        Where it is kept.
    rig : dict
        What was changed in rig.toml beside.
    outcome : {"good", "usable", "rejected"}
        "usable" where there are warnings.
    warnings : tuple of str
        What was noticed, one line each.
    checks : tuple of Check
        All that were not simply passed.
    """

    kind: Literal["loopback"]
    simulated: bool
    rate_hz: int
    device: str
    channels: tuple[int, int]
    frequency_hz: tuple[float, ...]
    ratio_db: tuple[float, ...]
    ratio_degree: tuple[float, ...]
    gain_standard_uncertainty: float
    delay_standard_uncertainty_s: float
    latency_s: Number
    floor_dbfs: tuple[Number, Number]
    file: str
    rig: dict[str, str | float]
    outcome: Outcome
    warnings: tuple[str, ...]
    checks: tuple[Check, ...]


class InputResult(Document, frozen=True, kw_only=True, tag="coilsweep.calibrate/1"):
    """Resistance and capacitance of the pickup's input, as they are kept.

    Attributes
    ----------
    kind : {"input"}
        What was calibrated.
    simulated : bool
        By the virtual bench.
    takes : tuple of NamedTake
        One for each load.
    quantities : dict of str to Value
        "resistance" and "capacitance", cable included.
    budget : dict of str to tuple of Contribution
        For each what makes it uncertain.
    floor : float
        How far model and responses differ smoothly, relative. [1]
    """

    kind: Literal["input"]
    simulated: bool
    takes: tuple[NamedTake, ...]
    quantities: dict[str, Value]
    budget: dict[str, tuple[Contribution, ...]]
    floor: float


class InputDocument(InputResult, frozen=True, kw_only=True, tag="coilsweep.calibrate/1"):
    """Resistance and capacitance of the pickup's input.

    Attributes
    ----------
    file : str
        Where it is kept.
    rig : dict
        What was changed in rig.toml.
    outcome : {"good", "usable", "rejected"}
        "usable" where there are warnings.
    warnings : tuple of str
        What was noticed, one line each.
    checks : tuple of Check
        All that were not simply passed.
    """

    file: str
    rig: dict[str, str | float]
    outcome: Outcome
    warnings: tuple[str, ...]
    checks: tuple[Check, ...]


class CornerResult(Document, frozen=True, kw_only=True, tag="coilsweep.calibrate/1"):
    """The exciter's corner, as it is kept.

    Attributes
    ----------
    kind : {"exciter"}
        What was calibrated.
    simulated : bool
        By the virtual bench.
    quantities : dict of str to Value
        "corner".
    budget : dict of str to tuple of Contribution
        What makes it uncertain.
    floor : float
        How far model and response differ smoothly, relative. [1]
    """

    kind: Literal["exciter"]
    simulated: bool
    quantities: dict[str, Value]
    budget: dict[str, tuple[Contribution, ...]]
    floor: float


class CornerDocument(CornerResult, frozen=True, kw_only=True, tag="coilsweep.calibrate/1"):
    """The exciter's corner.

    Attributes
    ----------
    file : str
        Where it is kept.
    rig : dict
        What was changed in rig.toml.
    outcome : {"good", "usable", "rejected"}
        "usable" where there are warnings.
    warnings : tuple of str
        What was noticed, one line each.
    checks : tuple of Check
        All that were not simply passed.
    """

    file: str
    rig: dict[str, str | float]
    outcome: Outcome
    warnings: tuple[str, ...]
    checks: tuple[Check, ...]


class RefusalDocument(Document, frozen=True, kw_only=True, tag="coilsweep.calibrate/1"):
    """A calibration that may not be used; rig.toml is as it was.

    Attributes
    ----------
    kind : {"loopback", "input", "exciter"}
        What was to be calibrated.
    outcome : {"rejected"}
        Nothing was written.
    checks : tuple of Check
        Why.
    """

    kind: Literal["loopback", "input", "exciter"]
    outcome: Literal["rejected"]
    checks: tuple[Check, ...]


class Failure(Piece, frozen=True, kw_only=True):
    """Why a command failed.

    Attributes
    ----------
    message : str
        One line.
    exit_code : int
        2 wrong use or bad file, 3 recording rejected, 4 sound card trouble, 130 interrupted.
    """

    message: str
    exit_code: int


class ErrorDocument(Document, frozen=True, kw_only=True, tag="coilsweep.error/1"):
    """A command that failed.

    Attributes
    ----------
    error : Failure
        Why.
    """

    error: Failure
