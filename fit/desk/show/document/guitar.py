"""What instrument, wiring, compare, predict, listen and export say as JSON: of a whole guitar."""

from msgspec import UNSET, UnsetType

from fit.answers.compare.noise import Verdict as Noisier
from fit.answers.compare.shielding import Verdict as Shields
from fit.answers.figures import FitOutcome
from fit.answers.parts.known import Origin
from fit.answers.wiring.arrangement import Joined
from fit.desk.show.document.pieces import Document, NamedTake, Number, Piece, Value


class Stated(Piece, frozen=True, kw_only=True):
    """What instrument.toml states of a part.

    Attributes
    ----------
    value : float
        [`unit`]
    unit : str
        SI without prefix; empty for pure numbers.
    standard_uncertainty : float or None
        By its bound; null where none is stated, or the value is only marked. [`unit`]
    marked : bool
        A marking, which a fit tests and does not rely on.
    text : str
        As it was written.
    understood : str
        What a code or a bare number was taken for, and from what; where it is no quantity as it stands.
    """

    value: float
    unit: str
    standard_uncertainty: Number
    marked: bool
    text: str
    understood: str | UnsetType = UNSET


class HeardAt(Piece, frozen=True, kw_only=True):
    """Which pickups reach the output at a switch position.

    Attributes
    ----------
    switch, position : str
        Their names; the pots stand at 10, other switches in their first position.
    pickups : tuple of str
        Their names.
    """

    switch: str
    position: str
    pickups: tuple[str, ...]


class LugOfPart(Piece, frozen=True, kw_only=True):
    """One place of a part where a lead is soldered.

    Attributes
    ----------
    part : str
        "pickup.bridge", "pickup.bridge.second", "pot.volume", "switch.selector", "capacitor.tone", "resistor.bleed" or "jack".
    lug : str
        "+" or "-" of a coil, "cw", "wiper" or "ccw" of a pot, "common" or "throw" of a switch, "1" or "2" of a capacitor or
        resistor, "tip" or "sleeve" of the jack.
    """

    part: str
    lug: str


class Connection(Piece, frozen=True, kw_only=True):
    """A lead between two lugs.

    Attributes
    ----------
    node : str
        Name of the point in instrument.toml; all leads of one node make one point.
    first, second : LugOfPart
        Where the lead begins and where it ends; either way round.
    """

    node: str
    first: LugOfPart
    second: LugOfPart


class SwitchContact(Piece, frozen=True, kw_only=True):
    """Two nodes that a switch joins.

    Attributes
    ----------
    switch : str
        Its name in instrument.toml.
    nodes : tuple of str
        The two, by their names in instrument.toml.
    closed_in : tuple of str
        Positions of the switch; open in the others.
    """

    switch: str
    nodes: tuple[str, str]
    closed_in: tuple[str, ...]


class InstrumentDocument(Document, frozen=True, kw_only=True, tag="coilsweep.instrument/1"):
    """What instrument.toml states.

    Attributes
    ----------
    file : str
        The file.
    instrument : str
        Its name.
    parts : dict of str to (Stated or None)
        Null where the value is missing.
    kinds : dict of str to str
        Of capacitors whose dielectric is stated: "film", "ceramic" or "paper".
    controls : dict of str to tuple of str
        Where each can stand.
    heard : tuple of HeardAt
        At each position of each switch.
    missing : tuple of str
        What a prediction still needs.
    connections : tuple of Connection
        Leads to be soldered; another way through the same lugs of a node is the same circuit.
    contacts : tuple of SwitchContact
        Of all switches.
    drawing : str or None
        File of the drawing that was written.
    """

    file: str
    instrument: str
    parts: dict[str, Stated | None]
    kinds: dict[str, str]
    controls: dict[str, tuple[str, ...]]
    heard: tuple[HeardAt, ...]
    missing: tuple[str, ...]
    connections: tuple[Connection, ...] = ()
    contacts: tuple[SwitchContact, ...] = ()
    drawing: str | None = None


class LayoutsDocument(Document, frozen=True, kw_only=True, tag="coilsweep.instrument/1"):
    """With what an instrument.toml can be begun, where there is none.

    Attributes
    ----------
    instrument : None
        There is none.
    layouts : dict of str to str
        Name to meaning.
    """

    instrument: None
    layouts: dict[str, str]


class PickupReading(Piece, frozen=True, kw_only=True):
    """One pickup at one position.

    Attributes
    ----------
    take : str or None
        Null where there is none.
    connected : bool or None
        Null where that is not told.
    level : Value or None
        Over the same pickup alone, or where it is loudest. [1]
    sign : int or None
        +1 or −1, relative to most of the pickups; null where it is not told.
    """

    take: str | None
    connected: bool | None
    level: Value | None
    sign: int | None


class WiringPosition(Piece, frozen=True, kw_only=True):
    """One switch position.

    Attributes
    ----------
    position : str
        For example "selector=neck".
    controls : dict of str to str
        Where they stood.
    pickups : dict of str to PickupReading
        By pickup.
    joined : Joined or None
        How those that are connected are joined; null where nothing is connected, or it is not decided.
    possible : tuple of Joined
        All that the levels allow.
    halves : dict of str to str
        Pickup that is alone with less than all of its coils to "split", "perhaps" where only the level says so, or "" where
        its coils may also be in parallel.
    text : str
        The same for people.
    needs : tuple of str
        Takes that would decide, one line each.
    differs : tuple of str or None
        Where takes and instrument.toml differ; null where they were not compared.
    """

    position: str
    controls: dict[str, str]
    pickups: dict[str, PickupReading]
    joined: Joined | None
    possible: tuple[Joined, ...]
    halves: dict[str, str]
    text: str
    needs: tuple[str, ...]
    differs: tuple[str, ...] | None


class WiringDocument(Document, frozen=True, kw_only=True, tag="coilsweep.wiring/1"):
    """What each switch position connects.

    Attributes
    ----------
    pickups : tuple of str
        Their names.
    positions : tuple of WiringPosition
        One for each.
    leakage : float or None
        Largest level of a pickup that is not connected; null where there is none. [1]
    unheard : tuple of str
        Pickups that are connected nowhere.
    unmeasured : tuple of str
        Pickups without a take.
    left_out : tuple of str
        Takes that were not needed.
    takes : tuple of NamedTake
        All takes.
    simulated : bool
        A take came from the virtual bench.
    warnings : tuple of str
        What was noticed, one line each.
    """

    pickups: tuple[str, ...]
    positions: tuple[WiringPosition, ...]
    leakage: Number
    unheard: tuple[str, ...]
    unmeasured: tuple[str, ...]
    left_out: tuple[str, ...]
    takes: tuple[NamedTake, ...]
    simulated: bool
    warnings: tuple[str, ...]


class ChangedQuantity(Piece, frozen=True, kw_only=True):
    """One quantity before and after a job.

    Attributes
    ----------
    before, after : Value or None
        Null where the takes of that side do not tell it.
    change : Value
        After less before, or over it, by its unit.
    verdict : str
        "changed" or "not resolved".
    """

    before: Value | None
    after: Value | None
    change: Value
    verdict: str


class Untold(Piece, frozen=True, kw_only=True):
    """A quantity that the takes do not tell.

    Attributes
    ----------
    quantity, why : str
        Its name, and the reason.
    """

    quantity: str
    why: str


class SmoothDifference(Piece, frozen=True, kw_only=True):
    """How far model and responses differ smoothly.

    Attributes
    ----------
    value : float
        Relative. [1]
    correlation_octaves : float
        Over how many octaves. [octaves]
    """

    value: float
    correlation_octaves: float


class ModelName(Piece, frozen=True, kw_only=True):
    """The model that was chosen.

    Attributes
    ----------
    name : str
        For people.
    """

    name: str


class ChangedResponse(Piece, frozen=True, kw_only=True):
    """Response at the jack, before and after a job, for the same field.

    Attributes
    ----------
    before, after : str
        The two takes.
    max_change_db : float
        Largest change. [dB]
    at_hz : float
        Where. [Hz]
    standard_uncertainty_db : float
        Of the largest change. [dB]
    verdict : str
        "changed" or "not resolved".
    frequency_hz : tuple of float
        [Hz]
    change_db, change_db_std, measured_db : tuple of float
        By the model, its 1 σ, and as the recordings have it, at each frequency. [dB]
    """

    before: str
    after: str
    max_change_db: float
    at_hz: float
    standard_uncertainty_db: float
    verdict: str
    frequency_hz: tuple[float, ...]
    change_db: tuple[float, ...]
    change_db_std: tuple[float, ...]
    measured_db: tuple[float, ...]


class LargestChange(ChangedResponse, frozen=True, kw_only=True):
    """The pair of takes with the largest change, and all pairs.

    Attributes
    ----------
    pairs : tuple of ChangedResponse
        All of them.
    """

    pairs: tuple[ChangedResponse, ...]


class ChangedLevel(Piece, frozen=True, kw_only=True):
    """Hum or noise before and after a job.

    Attributes
    ----------
    change : Value or None
        After over before; null where one side has none. [dB]
    at_least_db : float or None
        A bound, where there is no value. [dB]
    verdict : {"changed", "not resolved"}
        What holds for the 95 % interval.
    before_dbfs, after_dbfs : float or None
        Null where none was found. [dBFS]
    scatter_db : float or None
        Of takes of one side, 1 σ. [dB]
    notes : tuple of str
        What was noticed, one line each.
    """

    change: Value | None
    at_least_db: Number
    verdict: Noisier
    before_dbfs: Number
    after_dbfs: Number
    scatter_db: Number
    notes: tuple[str, ...]


class ShieldingBand(Piece, frozen=True, kw_only=True):
    """Shielding in a third of an octave.

    Attributes
    ----------
    frequency_hz : float
        Middle of the band. [Hz]
    change : Value or None
        Of what comes through; null where the after side has none. [dB]
    at_least_db : float or None
        A bound, where there is no value. [dB]
    verdict : {"fell", "rose", "not resolved", "at least"}
        What holds for the 95 % interval.
    """

    frequency_hz: float
    change: Value | None
    at_least_db: Number
    verdict: Shields


class Shielding(Piece, frozen=True, kw_only=True):
    """What shielding keeps out, before and after a job.

    Attributes
    ----------
    text : str
        For people.
    capacitance_before, capacitance_after : Value or None
        Between foil and wiring; null where it is not told. [F]
    frequency_hz : tuple of float
        [Hz]
    ratio_db, std_db : tuple of (float or None)
        After over before, and its 1 σ, at each frequency. [dB]
    bands : tuple of ShieldingBand
        In thirds of an octave.
    """

    text: str
    capacitance_before: Value | None
    capacitance_after: Value | None
    frequency_hz: tuple[float, ...]
    ratio_db: tuple[Number, ...]
    std_db: tuple[Number, ...]
    bands: tuple[ShieldingBand, ...]


class CompareDocument(Document, frozen=True, kw_only=True, tag="coilsweep.compare/1"):
    """What a job changed; what the takes do not tell has no key.

    Attributes
    ----------
    simulated : bool
        A take came from the virtual bench.
    outcome : {"good", "misfit"}
        The values of a misfit are indicative only.
    quantities : dict of str to ChangedQuantity
        Part by part.
    not_identified : tuple of Untold
        What the takes do not tell.
    changed_beyond_standard_uncertainties : float
        From which on a change counts. [standard uncertainties]
    floor : SmoothDifference
        How far model and responses differ smoothly.
    model : ModelName
        That was chosen.
    response : LargestChange
        At the jack, for the same field.
    hum, noise : ChangedLevel
        Mains lines, and what is left without them.
    noise_notes : tuple of str
        What was noticed of both, one line each.
    shielding : Shielding
        From takes with a foil.
    warnings : tuple of str
        What was noticed, one line each.
    takes : tuple of NamedTake
        That were compared.
    """

    simulated: bool
    outcome: FitOutcome
    quantities: dict[str, ChangedQuantity] | UnsetType = UNSET
    not_identified: tuple[Untold, ...] | UnsetType = UNSET
    changed_beyond_standard_uncertainties: float | UnsetType = UNSET
    floor: SmoothDifference | UnsetType = UNSET
    model: ModelName | UnsetType = UNSET
    response: LargestChange | UnsetType = UNSET
    hum: ChangedLevel | UnsetType = UNSET
    noise: ChangedLevel | UnsetType = UNSET
    noise_notes: tuple[str, ...] | UnsetType = UNSET
    shielding: Shielding | UnsetType = UNSET
    warnings: tuple[str, ...]
    takes: tuple[NamedTake, ...]


class ControlSetting(Piece, frozen=True, kw_only=True):
    """Where a control stands.

    Attributes
    ----------
    setting : str
        As it was stated.
    fraction : float
        Of a pot: resistance from ccw to wiper over that of the whole track. [1]
    """

    setting: str
    fraction: float | UnsetType = UNSET


class Basis(Piece, frozen=True, kw_only=True):
    """A value that a prediction rests on.

    Attributes
    ----------
    value : float
        [`unit`]
    unit : str
        SI without prefix; empty for a pure number.
    standard_uncertainty : float or None
        Null where it does not count. [`unit`]
    origin : {"measured", "changed", "stated", "marked", "taper"}
        Where it comes from.
    tolerance_assumed : bool
        Where none was stated: that which is usual for its kind counts.
    """

    value: float
    unit: str
    standard_uncertainty: Number
    origin: Origin
    tolerance_assumed: bool | UnsetType = UNSET


class PickupCurve(Piece, frozen=True, kw_only=True):
    """Output over the EMF of a pickup's winding, at each frequency; null where nothing is heard.

    Attributes
    ----------
    connected : bool
        It is heard at these settings.
    gain_db, gain_db_standard_uncertainty : tuple of (float or None)
        [dB]
    phase_degree, phase_degree_standard_uncertainty : tuple of (float or None)
        [°]
    group_delay_s, group_delay_s_standard_uncertainty : tuple of (float or None)
        [s]
    """

    connected: bool
    gain_db: tuple[Number, ...]
    gain_db_standard_uncertainty: tuple[Number, ...]
    phase_degree: tuple[Number, ...]
    phase_degree_standard_uncertainty: tuple[Number, ...]
    group_delay_s: tuple[Number, ...]
    group_delay_s_standard_uncertainty: tuple[Number, ...]


class Peak(Piece, frozen=True, kw_only=True):
    """The highest maximum of a curve; null where there is none.

    Attributes
    ----------
    frequency : Value or None
        [Hz]
    level : Value or None
        [dB]
    """

    frequency: Value | None
    level: Value | None


class LevelAt(Piece, frozen=True, kw_only=True):
    """Level at a note or frequency.

    Attributes
    ----------
    frequency_hz : float
        [Hz]
    level : Value or None
        Null where nothing is heard. [dB]
    """

    frequency_hz: float
    level: Value | None


class CurveFigures(Piece, frozen=True, kw_only=True):
    """Figures of a curve.

    Attributes
    ----------
    peak : Peak
        Its highest maximum.
    minus_3_db : Value or None
        Where the level first falls 3 dB below that at 20 Hz; null where it does not below 20 kHz. [Hz]
    levels : dict of str to LevelAt
        By note or frequency, as they were asked for.
    """

    peak: Peak
    minus_3_db: Value | None
    levels: dict[str, LevelAt]


class ToneStep(Piece, frozen=True, kw_only=True):
    """A tone control at one rotation; null where the curve has no such point.

    Attributes
    ----------
    rotation : int
        From 0 to 10.
    resistance_ohm : float
        In series with the capacitor. [Ω]
    minus_3_db_hz, minus_3_db_hz_standard_uncertainty : float or None
        Where the level is 3 dB down. [Hz]
    peak_hz, peak_hz_standard_uncertainty : float or None
        Where it has its maximum. [Hz]
    peak_db : float or None
        The maximum. [dB]
    textbook_hz : float or None
        1/(2πRC) of pot and capacitor alone; null where there is no resistance. [Hz]
    """

    rotation: int
    resistance_ohm: float
    minus_3_db_hz: Number
    minus_3_db_hz_standard_uncertainty: Number
    peak_hz: Number
    peak_hz_standard_uncertainty: Number
    peak_db: Number
    textbook_hz: Number


class ToneSweep(Piece, frozen=True, kw_only=True):
    """A tone control turned down.

    Attributes
    ----------
    pot, capacitor, pickup : str
        Their names; the pickup that is heard.
    steps : tuple of ToneStep
        One for each rotation.
    """

    pot: str
    capacitor: str
    pickup: str
    steps: tuple[ToneStep, ...]


class Prediction(Document, frozen=True, kw_only=True, tag=False):
    """What an instrument does.

    Attributes
    ----------
    changes, warnings : tuple of str
        What was changed, as it was typed, and what was noticed, one line each; not of the instrument before the change.
    understood : dict of str to str
        Name of a changed value to what its marking was taken for, where it was none as it stands.
    settings : dict of str to ControlSetting
        Where the controls stand.
    frequency_hz : tuple of float
        Of the curves. [Hz]
    pickups : dict of str to PickupCurve
        One for each.
    figures : dict of str to CurveFigures
        One for each pickup.
    tone : tuple of ToneSweep
        One for each tone control.
    simulated : bool
        Measured values come from the virtual bench.
    rests_on : dict of str to Basis
        Value by value.
    takes : tuple of NamedTake
        By which it was measured; empty where it rests on none.
    tolerance_counts : bool
        What is only marked counts with its tolerance.
    marked_only : tuple of str
        Values that are only marked.
    taken_as_exact : tuple of str
        Values stated without a bound.
    """

    changes: tuple[str, ...] | UnsetType = UNSET
    warnings: tuple[str, ...] | UnsetType = UNSET
    understood: dict[str, str] | UnsetType = UNSET
    settings: dict[str, ControlSetting]
    frequency_hz: tuple[float, ...]
    pickups: dict[str, PickupCurve]
    figures: dict[str, CurveFigures]
    tone: tuple[ToneSweep, ...]
    simulated: bool
    rests_on: dict[str, Basis]
    takes: tuple[NamedTake, ...]
    tolerance_counts: bool
    marked_only: tuple[str, ...]
    taken_as_exact: tuple[str, ...]


class PredictDocument(Prediction, frozen=True, kw_only=True, tag_field="schema", tag="coilsweep.predict/1"):
    """What an instrument does, and what a change would do.

    Attributes
    ----------
    changes : tuple of str
        As they were typed.
    warnings : tuple of str
        What was noticed, one line each.
    before : Prediction
        Without the change, where there is one.
    versus : tuple of Prediction
        With other changes, where any were asked for.
    """

    changes: tuple[str, ...]
    warnings: tuple[str, ...]
    before: Prediction | UnsetType = UNSET
    versus: tuple[Prediction, ...] | UnsetType = UNSET


class Side(Piece, frozen=True, kw_only=True):
    """An instrument before or after a change.

    Attributes
    ----------
    settings : dict of str to ControlSetting
        Where the controls stand.
    pickups : tuple of str
        Those that are heard.
    """

    settings: dict[str, ControlSetting]
    pickups: tuple[str, ...]


class WrittenSound(Piece, frozen=True, kw_only=True):
    """A recording that was written.

    Attributes
    ----------
    file : str
        Its name.
    level : str
        "matched" to the loudness of the recording, or "true".
    gain_db : float
        That was applied. [dB]
    lowered_db : float
        By which it had to be lowered, so that nothing clips. [dB]
    """

    file: str
    level: str
    gain_db: float
    lowered_db: float


class Remark(Piece, frozen=True, kw_only=True):
    """One thing that was noticed.

    Attributes
    ----------
    name, text : str
        Its code, and what it means.
    """

    name: str
    text: str


class OtherChange(Piece, frozen=True, kw_only=True):
    """Another change that is heard beside the first.

    Attributes
    ----------
    changes : tuple of str
        As they were typed.
    after : Side
        The instrument as it is to sound.
    sounds : tuple of WrittenSound
        One for each file.
    level_change_db : float
        Of the loudness of this recording. [dB]
    asked_db, given_db : tuple of float
        The circuit's change, and what the filter does, at each frequency. [dB]
    impulse_samples : int
        Length of the filter.
    limited_hz : tuple of float or None
        Band outside of which the filter does less than the circuit; null where there is none. [Hz]
    findings : tuple of Remark
        What was noticed of the filter.
    measured, marked_only : tuple of str
        Values that were measured, and values that are only marked.
    """

    changes: tuple[str, ...]
    after: Side
    sounds: tuple[WrittenSound, ...]
    level_change_db: float
    asked_db: tuple[float, ...]
    given_db: tuple[float, ...]
    impulse_samples: int
    limited_hz: tuple[float, float] | None
    findings: tuple[Remark, ...]
    measured: tuple[str, ...]
    marked_only: tuple[str, ...]


class ListenDocument(Document, frozen=True, kw_only=True, tag="coilsweep.listen/1"):
    """What a change does to a recording.

    Attributes
    ----------
    sample_rate_hz : int
        Of the recording. [Hz]
    channels, frames : int
        Of the recording.
    changes : tuple of str
        As they were typed.
    excite : str or None
        Pickup that was played; null for all that are heard.
    before, after : Side
        The instrument as recorded, and as it is to sound.
    sounds : tuple of WrittenSound
        One for each file.
    level_change_db : float
        Of the loudness of this recording. [dB]
    frequency_hz : tuple of float
        [Hz]
    asked_db, given_db : tuple of float
        The circuit's change, and what the filter does, at each frequency. [dB]
    impulse_samples : int
        Length of the filter.
    limited_hz : tuple of float or None
        Band outside of which the filter does less than the circuit; null where there is none. [Hz]
    findings : tuple of Remark
        What was noticed of the filter.
    simulated : bool
        Measured values come from the virtual bench.
    takes : tuple of NamedTake
        By which it was measured.
    measured, marked_only : tuple of str
        Values that were measured, and values that are only marked.
    warnings : tuple of str
        What was noticed, one line each.
    source : str
        The recording.
    versus : tuple of OtherChange
        Other changes that are heard beside the first.
    """

    sample_rate_hz: int
    channels: int
    frames: int
    changes: tuple[str, ...]
    excite: str | None
    before: Side
    after: Side
    sounds: tuple[WrittenSound, ...]
    level_change_db: float
    frequency_hz: tuple[float, ...]
    asked_db: tuple[float, ...]
    given_db: tuple[float, ...]
    impulse_samples: int
    limited_hz: tuple[float, float] | None
    findings: tuple[Remark, ...]
    simulated: bool
    takes: tuple[NamedTake, ...]
    measured: tuple[str, ...]
    warnings: tuple[str, ...]
    marked_only: tuple[str, ...]
    source: str
    versus: tuple[OtherChange, ...] | UnsetType = UNSET


class ExportedFile(Piece, frozen=True, kw_only=True):
    """A file that was written; it has the keys of its kind.

    Attributes
    ----------
    file : str
        Its name.
    n_frequencies : int
        Of a response.
    unit : str
        Of a response: "V/V" or "Ω".
    reference_ohm : float
        Of a fitted port. [Ω]
    rate_hz : int
        Of an impulse response. [Hz]
    factor : float
        The impulse response is that in volts per volt of EMF times this. [1]
    n_samples : int
        Of an impulse response.
    pickup : str
        That a port or an impulse response is of.
    level_error_db, phase_error_degree : float
        Between impulse response and fit. [dB], [°]
    early_s : float
        By which the impulse response is early. [s]
    spread_error : float
        Of a netlist: by writing spreads of eddy loops as single loops, relative. [1]
    excite : str
        Pickup of the instrument with 1 V of EMF.
    """

    file: str
    n_frequencies: int | UnsetType = UNSET
    unit: str | UnsetType = UNSET
    reference_ohm: float | UnsetType = UNSET
    rate_hz: int | UnsetType = UNSET
    factor: float | UnsetType = UNSET
    n_samples: int | UnsetType = UNSET
    pickup: str | UnsetType = UNSET
    level_error_db: float | UnsetType = UNSET
    phase_error_degree: float | UnsetType = UNSET
    early_s: float | UnsetType = UNSET
    spread_error: float | UnsetType = UNSET
    excite: str | UnsetType = UNSET


class ExportDocument(Document, frozen=True, kw_only=True, tag="coilsweep.export/1"):
    """Which files were written for other programs.

    Attributes
    ----------
    to : {"csv", "touchstone", "spice", "ir"}
        Kind of file.
    takes : tuple of NamedTake
        What they rest on.
    simulated : bool
        A take came from the virtual bench.
    files : tuple of ExportedFile
        One for each.
    warnings : tuple of str
        What was noticed, one line each.
    """

    to: str
    takes: tuple[NamedTake, ...]
    simulated: bool
    files: tuple[ExportedFile, ...]
    warnings: tuple[str, ...]
