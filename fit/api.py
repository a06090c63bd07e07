"""What ``import fit`` offers: takes in, answers out, with the values and intervals that the command line prints.

Thin: every number and every sentence comes from the functions that the command line uses too. Nothing heavy is imported before
it is used. The algebra of a fit runs in one thread, whatever the process has set (`fit.estimate.threads`).
"""

import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fit.answers.confirm.confirmation import ConfirmAnswer
    from fit.answers.figures import Contribution, Estimate, NextTake
    from fit.answers.parts.fitted import MeasuredParts
    from fit.answers.pickup.answer import PickupAnswer
    from fit.answers.predict.prediction import PredictAnswer
    from fit.circuit import instrument as stated_instrument
    from fit.desk.questions.compare import Compared
    from fit.desk.questions.wiring import Surveyed
    from fit.desk.show.sheet import Sheet
    from fit.estimate.evidence import Evidence
    from measure.api import Logbook
    from measure.logbook import take as kept
    from measure.quantity import Quantity
    from measure.response import Finding, FloatArray, Response

MOST_LINES = 38  # of a repr

Method = Literal["exciter", "impedance"]
Reference = Literal["current", "loopback", "none"]


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """A response with all that was true when it was measured.

    Parameters
    ----------
    response : Response
        Pickup over reference, or the impedance at the jack (unit Ω) where it was measured elsewhere.
    name : str
        For budgets and messages; "take-1", "take-2", … where it is left out.
    added : str
        Parts clipped across the jack, all in parallel, such as ``"680p ± 1%, 150k ± 1%"``. [F], [Ω]
    set : mapping
        Control of the instrument to its setting, such as ``{"tone": "0", "selector": "neck"}``.
    coil_over : str
        Pickup under the exciter; not needed where there is one.
    coil_moved : bool
        The exciter was moved since the take before.
    series_resistor : str, optional
        Through which the jack was driven, such as ``"100k ± 1%"``: the response is then the voltage at the jack over that at the
        resistor's other end. [Ω]
    temperature_c : float, optional
        Of the winding. [°C]

    Raises
    ------
    ValueError
        When it is used, if a part, a setting or a name cannot be read; the message says which.
    """

    response: "Response" = field(repr=False)
    _: KW_ONLY
    name: str = ""
    added: str = ""
    set: Mapping[str, str] = field(default_factory=dict)
    coil_over: str = ""
    coil_moved: bool = False
    series_resistor: str | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Instrument:
    """What stands between the pickups and the jack.

    Attributes
    ----------
    stated : fit.circuit.instrument.Instrument
        Its pickups, pots, capacitors, resistors and switches.
    path : Path
        Where it was read from.
    """

    stated: "stated_instrument.Instrument"
    path: Path
    _is_untouched: bool = False  # still as it was begun, so that no marking in it was read off a part

    @classmethod
    def read(cls, path: Path | str) -> "Instrument":
        """Read an instrument.toml (`coilsweep manual instrument-file`).

        Parameters
        ----------
        path : Path or str
            Of the file.

        Returns
        -------
        Instrument
            Sound.

        Raises
        ------
        FileError
            If it is missing, not text, or not sound; one line that names file and place.
        """
        from fit.desk.book.instrument import open_instrument_file

        file = open_instrument_file(Path(path))
        return cls(stated=file.instrument, path=file.path, _is_untouched=file.is_untouched)

    def __repr__(self) -> str:
        """Name and parts."""
        from fit.circuit.instrument import parts_of

        names = [*self.stated.pickup, *(key for key, _, _ in parts_of(self.stated)), *self.stated.switch]
        return f"Instrument {self.stated.name or self.path.name}: {', '.join(names)}"

    def _repr_svg_(self) -> str:
        from fit.desk.show.drawing.svg import drawing_svg

        return drawing_svg(self.stated)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PickupResult(Mapping[str, "Estimate"]):
    """What a fit found of a pickup or of a whole guitar: a mapping of quantity to value with its interval.

    Attributes
    ----------
    answer : fit.answers.pickup.characterisation.PickupAnswer
        All of it as data.
    warnings : tuple of str
        What was noticed outside the fit: bounds that were assumed, what the takes' own checks found.
    """

    answer: "PickupAnswer"
    warnings: tuple[str, ...] = ()
    _instrument: Instrument | None = None

    def __getitem__(self, name: str) -> "Estimate":
        """Look a quantity up.

        Parameters
        ----------
        name : str
            As in ``fit --json``: ``"inductance"``, of several pickups ``"neck.inductance"``, of parts ``"capacitor.tone"``.

        Returns
        -------
        Estimate
            `value`, `standard_uncertainty`, `interval_95`, in SI units without prefix; `unit`.

        Raises
        ------
        KeyError
            If the takes do not tell it; the message says why.
        """
        found = self.answer.quantities.get(name)
        if found is None:
            why = next((one.why for one in self.answer.not_identified if one.quantity == name), None)
            msg = f"{name}: {why}" if why else f"{name}: no such quantity, there are {', '.join(self.answer.quantities)}"
            raise KeyError(msg)
        return found

    def __iter__(self) -> Iterator[str]:
        """Names of the quantities."""
        return iter(self.answer.quantities)

    def __len__(self) -> int:
        """Count the quantities that the takes tell."""
        return len(self.answer.quantities)

    @property
    def outcome(self) -> str:
        """Either "good", or "misfit": what was measured and what was stated do not go together, values are indicative only."""
        return self.answer.outcome

    @property
    def findings(self) -> "tuple[Finding, ...]":
        """What was noticed in the fit."""
        return self.answer.findings

    @property
    def parts(self) -> "MeasuredParts | None":
        """All values with their covariance, for `predict`; None where the takes tell no part."""
        return self.answer.parts

    @property
    def correlation(self) -> "tuple[tuple[str, ...], FloatArray]":
        """Names of the parts' values, and how they correlate: shape (p, p), −1 to 1.

        Of the logarithms, and of the values themselves where they may be negative (`fit.answers.parts.fitted`). Empty where the
        takes tell no part.

        References
        ----------
        JCGM 100:2008, equation (14).
        """
        import numpy as np

        parts = self.answer.parts
        if parts is None:
            return (), np.zeros((0, 0))
        std = np.sqrt(np.diag(parts.log_covariance))
        scale = np.outer(std, std)
        return parts.names, np.where(scale > 0, parts.log_covariance / np.where(scale > 0, scale, 1.0), np.eye(len(std)))

    def budget(self, name: str) -> "tuple[Contribution, ...]":
        """Tell what the uncertainty of a quantity consists of.

        Parameters
        ----------
        name : str
            Of the quantity.

        Returns
        -------
        tuple of Contribution
            `source`, and `contribution`, 1 σ in the quantity's unit; their squares add up to that of the standard uncertainty.

        Raises
        ------
        KeyError
            If the takes do not tell the quantity.
        """
        self[name]
        return self.answer.budget.get(name, ())

    def next_takes(self, name: str) -> "tuple[NextTake, ...]":
        """Tell which further takes would tell a quantity better, the most helpful first.

        Parameters
        ----------
        name : str
            Of the quantity; also one that these takes do not tell.

        Returns
        -------
        tuple of NextTake
            `text`, `add` (parts across the jack), `controls`, and `predicted_relative_std` after it; empty where none helps.

        Raises
        ------
        KeyError
            If there is no such quantity.
        """
        untold = {one.quantity: one.next_take for one in self.answer.not_identified}
        if name in untold:
            further = untold[name]
            return () if further is None else (further,)
        self[name]
        return self.answer.next_takes.get(name, ())

    def confirm(self, part: str, *, marked: str | None = None) -> "Confirmation":
        """Judge whether a part is what is marked on it.

        Parameters
        ----------
        part : str
            As in the instrument, for example ``"capacitor.tone"``.
        marked : str, optional
            As printed on the part, a code such as ``"333K"`` or a quantity; that of the instrument where it is left out.

        Returns
        -------
        Confirmation
            Within the marking only where the whole 95 % interval lies inside it.

        Raises
        ------
        ValueError
            If there is no such part or marking, or the takes were fitted without an instrument.
        FileError
            If the instrument states the part as known, so that the fit relied on it.

        References
        ----------
        JCGM 106:2012, 8.3: guarded acceptance.
        """
        from fit.desk.book.instrument import InstrumentFile
        from fit.desk.questions.confirm import judge_part, marking_of
        from measure.kinds import kind_of
        from measure.marking import read_value

        if self._instrument is None:
            msg = f"{part[:60]}: a bare pickup has no part that is marked; fit takes through an instrument"
            raise ValueError(msg)
        stated = self._instrument
        file = InstrumentFile(path=stated.path, instrument=stated.stated, is_untouched=stated._is_untouched)
        found = marking_of(file, part)
        kind = kind_of(part)
        if marked is not None and kind is not None:
            found = read_value(marked, kind)
        return Confirmation(
            answer=judge_part(part, found, self.answer),
            budget=self.answer.budget.get(part, ()),
            _takes=self.answer.takes,
            _simulated=self.answer.simulated,
        )

    def plot(self) -> "Figure":
        """Draw measured and modelled responses with what is left between them, as ``coilsweep fit --plot`` does."""
        from fit.desk.show.figures.fit import response_figure

        return _shown(response_figure(self.answer))

    def __repr__(self) -> str:
        """Give the command line's own words, cut at 38 lines."""
        return _short(self._sheet())

    def _repr_html_(self) -> str:
        return _html(self._sheet())

    def _sheet(self) -> "Sheet":
        from fit.desk.show.sheets.fit import sheet_of_fit

        return sheet_of_fit(self.answer, warnings=self.warnings)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Confirmation:
    """A part against its marking.

    Attributes
    ----------
    answer : fit.answers.confirm.confirmation.ConfirmAnswer
        All of it as data.
    budget : tuple of Contribution
        What the measured value's uncertainty consists of.
    """

    answer: "ConfirmAnswer"
    budget: "tuple[Contribution, ...]"
    _takes: tuple[str, ...] = ()
    _simulated: bool = False

    @property
    def verdict(self) -> str:
        """One of "within marking", "outside marking", "not resolved"."""
        return self.answer.verdict

    def plot(self) -> "Figure":
        """Draw what the marking allows and what was measured, as ``coilsweep confirm --plot`` does."""
        from fit.desk.show.figures.verdict import confirm_figure

        return _shown(confirm_figure(self.answer, is_simulated=self._simulated))

    def __repr__(self) -> str:
        """Give the command line's own words, cut at 38 lines."""
        return _short(self._sheet())

    def _repr_html_(self) -> str:
        return _html(self._sheet())

    def _sheet(self) -> "Sheet":
        from fit.desk.show.sheets.confirm import sheet_of_confirm

        return sheet_of_confirm(self.answer, self.budget, takes=self._takes, simulated=self._simulated)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Comparison:
    """What a job changed.

    Attributes
    ----------
    answer : fit.desk.questions.compare.Compared
        All of it as data: `parts` with `quantities` and `responses`, `noise`, `shielding`; None for what the takes do not tell.
    """

    answer: "Compared"

    @property
    def outcome(self) -> str:
        """Either "good", or "misfit"; "good" where no part was fitted."""
        return "good" if self.answer.parts is None else self.answer.parts.outcome

    @property
    def findings(self) -> "tuple[Finding, ...]":
        """What was noticed in the fit."""
        return () if self.answer.parts is None else self.answer.parts.findings

    @property
    def changes(self) -> "dict[str, Estimate]":
        """Quantity to after less before, with the uncertainty of the difference."""
        return {} if self.answer.parts is None else {key: one.change for key, one in self.answer.parts.quantities.items()}

    @property
    def verdicts(self) -> dict[str, str]:
        """Quantity to "changed" or "not resolved", at 5 % for all of them together."""
        return {} if self.answer.parts is None else {key: one.verdict for key, one in self.answer.parts.quantities.items()}

    def plot(self) -> "Figure":
        """Draw the response's change with its band, as ``coilsweep compare --plot`` does."""
        from fit.desk.show.figures.compare import changes_figure

        return _shown(changes_figure(self.answer.parts, self.answer.shielding))

    def __repr__(self) -> str:
        """Give the command line's own words, cut at 38 lines."""
        return _short(self._sheet())

    def _repr_html_(self) -> str:
        return _html(self._sheet())

    def _sheet(self) -> "Sheet":
        from fit.desk.show.sheets.compare import sheet_of_compare

        found = self.answer
        return sheet_of_compare(found.parts, found.noise, found.shielding, simulated=found.simulated, warnings=found.warnings)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Prediction:
    """What an instrument does at some settings.

    Attributes
    ----------
    answer : fit.answers.predict.prediction.PredictAnswer
        All of it as data: `frequency_hz`, and for each of `pickups` its `gain` with standard uncertainties.
    before : PredictAnswer or None
        Without the changes, where there are any.
    """

    answer: "PredictAnswer"
    before: "PredictAnswer | None" = None
    _name: str = "instrument"

    def plot(self) -> "Figure":
        """Draw the gain with its band, as ``coilsweep predict --plot`` does."""
        from fit.desk.show.figures.predict import predict_figure

        return _shown(predict_figure(self.answer, self.before))

    def __repr__(self) -> str:
        """Give the command line's own words, cut at 38 lines."""
        return _short(self._sheet())

    def _repr_html_(self) -> str:
        return _html(self._sheet())

    def _sheet(self) -> "Sheet":
        from fit.desk.show.sheets.predict import Predicted, sheet_of_predict

        heights = next((curve.levels for curve in self.answer.pickups.values()), {})
        return sheet_of_predict(
            Predicted(answer=self.answer), self.before, name=self._name, at={f"{hz:g} Hz": hz for hz in heights}
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class WiringResult:
    """What each switch position connects.

    Attributes
    ----------
    answer : fit.desk.questions.wiring.Surveyed
        All of it as data: `answer.positions`, and `differences` from what the instrument states.
    """

    answer: "Surveyed"

    @property
    def positions(self) -> dict[str, str]:
        """Position to what it connects, in words."""
        from fit.desk.show.sheets.wiring import position_text

        return {one.label: position_text(one) for one in self.answer.answer.positions}

    def plot(self) -> "Figure":
        """Draw the levels of every pickup at every position, as ``coilsweep wiring --plot`` does."""
        from fit.desk.show.figures.verdict import wiring_figure

        return _shown(wiring_figure(self.answer.answer, list(self.positions.values()), is_simulated=self.answer.simulated))

    def __repr__(self) -> str:
        """Give the command line's own words, cut at 38 lines."""
        return _short(self._sheet())

    def _repr_html_(self) -> str:
        return _html(self._sheet())

    def _sheet(self) -> "Sheet":
        from fit.desk.show.sheets.wiring import sheet_of_wiring

        found = self.answer
        return sheet_of_wiring(
            found.answer,
            found.expected,
            differences=found.differences,
            takes=found.takes,
            simulated=found.simulated,
            warnings=found.warnings,
        )


def pickup(
    takes: Sequence[Take],
    *,
    input: tuple[str, str] | None = None,
    dcr: str | None = None,
    instrument: Instrument | None = None,
    reference: Reference = "current",
    exciter_corner: str | None = None,
    at_hand: str = "",
) -> PickupResult:
    """Fit takes of one pickup, or of one instrument, and say what it is.

    Parameters
    ----------
    takes : sequence of Take
        In the order they were made; at least one, better one with a known part across the jack.
    input : tuple of str
        Resistance and capacitance of the interface's input and the cable together, such as ``("1M ± 1%", "185p ± 3p")``.
        Not needed where every take is an impedance that was measured elsewhere. [Ω], [F]
    dcr : str, optional
        Winding resistance from a multimeter, such as ``"6.35k ± 1%"``; of several pickups ``"neck=7.1k ± 1%, …"``. [Ω]
    instrument : Instrument, optional
        What stands between the pickups and the jack; without it one pickup straight at the jack.
    reference : {"current", "loopback", "none"}
        What the reference channel recorded: the exciter's current, the output itself, or nothing.
    exciter_corner : str, optional
        R / (2πL) of the exciter and what is in series, such as ``"9k ± 5%"``; needed where its current was not recorded. [Hz]
    at_hand : str
        Parts that could be clipped on for a further take, as for `Take.added`.

    Returns
    -------
    PickupResult
        A poor fit does not raise: its `outcome` is "misfit".

    Raises
    ------
    ValueError
        If something stated cannot be read, two takes have one name, a take has too few frequencies, or the input is missing.
    FileError
        If controls are set and there is no instrument, or they are not those of the instrument; or none of the takes tells
        anything of a part.

    Notes
    -----
    A value without ± gets the usual bound, and a warning says so. The model, its limits and the papers that it rests on:
    DEVELOPERS.md, "The estimate in one page", and `fit.answers.pickup.characterisation`.
    """
    from fit.answers.pickup.characterisation import characterise_pickup

    evidence, warnings = _evidence(
        takes, input=input, dcr=dcr, instrument=instrument, reference=reference, exciter_corner=exciter_corner, at_hand=at_hand
    )
    return PickupResult(answer=characterise_pickup(evidence), warnings=warnings, _instrument=instrument)


def instrument(book: "Logbook | Path | str", names: Sequence[str], *, dcr: str | None = None, at_hand: str = "") -> PickupResult:
    """Fit takes of a logbook, as ``coilsweep fit`` does; rig and instrument are those that the logbook states.

    Parameters
    ----------
    book : measure.Logbook, or its folder
        Where they are kept.
    names : sequence of str
        Of the takes.
    dcr : str, optional
        As for `pickup`. [Ω]
    at_hand : str
        Parts that could be clipped on for a further take.

    Returns
    -------
    PickupResult
        A poor fit does not raise: its `outcome` is "misfit".

    Raises
    ------
    RejectedError
        If a take was rejected.
    ValueError
        If a take is named twice, or something stated cannot be read.
    FileError
        If a take is missing or changed, or rig and instrument do not state what is needed.
    """
    from fit.desk.book.desk import silent_desk
    from fit.desk.book.fits import FitWish, answer_for
    from measure.logbook.store import instrument_path, open_logbook

    place = _place(book)
    folder = open_logbook(place)
    answer, warnings = answer_for(silent_desk(place), folder, FitWish(names=_names(names), dcr=dcr, at_hand=at_hand))
    path = instrument_path(folder)
    return PickupResult(answer=answer, warnings=warnings, _instrument=Instrument.read(path) if path.exists() else None)


def compare(
    book: "Logbook | Path | str | None" = None,
    *,
    before: Sequence[str] | Sequence[Take],
    after: Sequence[str] | Sequence[Take],
    input: tuple[str, str] | None = None,
    dcr: str | None = None,
    instrument: Instrument | None = None,
) -> Comparison:
    """Say what a job on wiring or shielding changed.

    Parameters
    ----------
    book : measure.Logbook, or its folder, optional
        Where takes given by name are kept; hum, noise and foils are compared too.
    before, after : sequence of str, or of Take
        Names of takes in the logbook; or, without one, takes, of which the parts are compared.
    input, dcr, instrument
        As for `pickup`; `input` and `instrument` are the logbook's where there is one.

    Returns
    -------
    Comparison
        `changes` with the uncertainty of the difference: what both sides share cancels.

    Raises
    ------
    ValueError
        If a side has no take, a take is on both, names and takes are mixed, or without a logbook `input` is missing.
    RejectedError
        If a take of the logbook was rejected.
    FileError
        As for `instrument`.
    """
    from fit.answers.compare.comparison import compare_takes
    from fit.desk.questions.compare import Compared, CompareWish, compare_kept, with_sides

    names = [[one for one in side if isinstance(one, str)] for side in (before, after)]
    takes = [[one for one in side if isinstance(one, Take)] for side in (before, after)]
    sides, others = (takes, names) if book is None else (names, takes)
    if not all(sides) or any(others):
        kind = "takes (fit.Take)" if book is None else "names of takes in the logbook"
        msg = f"expected {kind} on both sides, before and after"
        raise ValueError(msg)
    if book is not None:
        from fit.desk.book.desk import silent_desk
        from measure.logbook.store import open_logbook

        twice = [name for name in (*names[0], *names[1]) if (*names[0], *names[1]).count(name) > 1]
        if twice:
            msg = f'the take "{twice[0]}" is named twice; it belongs to one side, once'
            raise ValueError(msg)
        wish = CompareWish(before=tuple(names[0]), after=tuple(names[1]), dcr=dcr)
        return Comparison(answer=compare_kept(silent_desk(_place(book)), open_logbook(_place(book)), wish))
    if input is None:
        msg = 'without a logbook input is needed: resistance and capacitance, such as ("1M ± 1%", "185p ± 3p")'
        raise ValueError(msg)
    named = [replace(take, name=take.name or f"take-{number}") for number, take in enumerate((*takes[0], *takes[1]), start=1)]
    evidence, warnings = _evidence(named, input=input, dcr=dcr, instrument=instrument)
    parts = compare_takes(with_sides(evidence, {take.name for take in named[len(takes[0]) :]}))
    simulated = any(take.response.origin.simulated for take in named)
    found = Compared(parts=parts, noise=None, shielding=None, noise_takes=(), warnings=warnings, simulated=simulated)
    return Comparison(answer=found)


def predict(
    instrument: Instrument | Path | str,
    controls: Mapping[str, str | float] | None = None,
    *,
    input: tuple[str, str] | None = None,
    parts: "MeasuredParts | None" = None,
    changes: Mapping[str, str] | None = None,
    added: Mapping[str, str] | None = None,
    moved: Mapping[str, str] | None = None,
    excite: str = "",
    at_hz: Sequence[float] = (),
    with_tolerance: bool = True,
) -> Prediction:
    """Predict what an instrument does at some settings, and what a change of parts or wiring would do.

    Parameters
    ----------
    instrument : Instrument, or path of an instrument.toml
        As read.
    controls : mapping, optional
        Control to setting, such as ``{"tone": "3"}``; the others stand at 10 and in their first position.
    input : tuple of str, optional
        Resistance and capacitance of what the jack is plugged into, cable included; those of the fit where `parts` is given.
        [Ω], [F]
    parts : fit.answers.parts.fitted.MeasuredParts, optional
        What a fit of this instrument measured, `PickupResult.parts`; it stands in for what is stated and marked.
    changes : mapping, optional
        Part to its new value, such as ``{"capacitor.tone": "10n ± 5%"}``.
    added : mapping, optional
        Place to the parts soldered in there, such as ``{"volume": "1n2 + 150k"}``, a comma in parallel, a plus in series; a place
        is a part or two points, ``"bridge.hot:ground"``.
    moved : mapping, optional
        Lead to the point it is soldered to, such as ``{"tone.wiper": "bridge.hot"}``.
    excite : str
        Pickup; empty for all.
    at_hz : sequence of float
        Frequencies at which the level is asked for. [Hz]
    with_tolerance : bool
        Count the tolerance printed on parts that are only marked, and how audio tapers differ.

    Returns
    -------
    Prediction
        Beside that before the changes, where there are any.

    Raises
    ------
    ValueError
        If there is no such pickup, part, point or setting, or a value is missing; one line that names it.
    """
    from fit.answers.predict.carry_over import adopt_losses
    from fit.answers.predict.prediction import predict_instrument
    from fit.answers.predict.variant import Variant, change_values, solder

    stated = (instrument if isinstance(instrument, Instrument) else Instrument.read(instrument)).stated
    load = dict(zip(("input.resistance", "input.capacitance"), _input(input), strict=True)) if input is not None else _load(parts)
    pairs = [[f"{name}={value}" for name, value in (each or {}).items()] for each in (changes, added, moved)]
    before = Variant(instrument=stated)
    after = solder(before, additions=pairs[1], moves=pairs[2])
    lossy = after.instrument if parts is None else adopt_losses(after.instrument, parts)
    after = change_values(after, pairs[0], losses_of=lossy)
    is_changed = any(pairs)
    answers = [
        predict_instrument(
            each.instrument,
            {control: str(value) for control, value in (controls or {}).items()},
            load=load,
            changes=each.changes,
            measured=parts,
            with_tolerance=with_tolerance,
            excite=excite,
            at_hz=at_hz,
        )
        for each in ([after, before] if is_changed else [before])
    ]
    return Prediction(answer=answers[0], before=answers[1] if is_changed else None, _name=stated.name or "instrument")


def wiring(book: "Logbook | Path | str", names: Sequence[str]) -> WiringResult:
    """Say which pickups each switch position connects, in which polarity, in series or parallel.

    Parameters
    ----------
    book : measure.Logbook, or its folder
        Where the takes are kept.
    names : sequence of str
        Takes with the coil over each pickup, at each position; also those in which nothing but noise arrived.

    Returns
    -------
    WiringResult
        Beside what the logbook's instrument states, where it has one.

    Raises
    ------
    RejectedError
        If a take was rejected for another reason than that nothing arrived.
    ValueError
        If no take is named, or one has too few frequencies between 100 and 500 Hz.
    FileError
        If a take is missing or changed, was made by another method, or does not say what the coil lay over.
    """
    from fit.desk.book.desk import silent_desk
    from fit.desk.questions.wiring import survey_wiring
    from measure.logbook.store import open_logbook

    return WiringResult(answer=survey_wiring(silent_desk(_place(book)), open_logbook(_place(book)), _names(names)))


def _evidence(
    takes: Sequence[Take],
    *,
    input: tuple[str, str] | None,
    dcr: str | None,
    instrument: Instrument | None,
    reference: Reference = "current",
    exciter_corner: str | None = None,
    at_hand: str = "",
) -> "tuple[Evidence, tuple[str, ...]]":
    """Give takes and references a bound each and put them together, by what a logbook's takes go through.

    Raises
    ------
    ValueError
        If two takes have one name, there is none, or the input or the exciter's corner is missing where it is needed.
    FileError
        If controls are set without an instrument, or none of the takes tells anything of a part.
    """
    from fit.answers.calibrate.input import doubt_input
    from fit.desk.book.bounds import bounded
    from fit.desk.book.references import join_takes, usual_input
    from fit.desk.book.through_controls import with_bounds, with_dcr
    from fit.estimate.evidence import Evidence
    from measure.errors import FileError
    from measure.logbook.placement import placements
    from measure.marking import parse_parts, read_value

    warnings: list[str] = []
    stated = None if instrument is None else with_bounds(instrument.stated, warnings)
    if stated is not None and dcr is not None:
        stated, dcr = with_dcr(stated, dcr, warnings), None
    for take in takes:
        if not isinstance(take, Take):
            msg = f'expected fit.Take(response, added="1n ± 1%"), got a {type(take).__name__}'
            raise ValueError(msg)
    records = [_record(take, number) for number, take in enumerate(takes, start=1)]
    names = [record.name for record in records]
    if not names or len(set(names)) < len(names):
        msg = f"expected takes with a name each, got {', '.join(names) or 'none'}"
        raise ValueError(msg)
    for record in records:
        if record.conditions.controls and stated is None:
            msg = f'the take "{record.name}" was made through controls: give the instrument that they belong to'
            raise FileError(msg)
    rows = join_takes(records, [take.response for take in takes], placements(records), stated, warnings)
    if reference != "current" and exciter_corner is None:
        msg = 'where the exciter\'s current was not recorded its corner is needed: exciter_corner="9k ± 5%"'
        raise ValueError(msg)
    if input is None and any(row.is_loaded for row in rows):
        msg = 'what the pickup was measured into is needed: input=("1M ± 1%", "185p ± 3p"), cable included'
        raise ValueError(msg)
    resistance, capacitance = usual_input(warnings) if input is None else _input(input)
    low = doubt_input(resistance.value)
    warnings += [] if low is None else [low.text]
    corner = None if exciter_corner is None or reference == "current" else read_value(exciter_corner, "corner")
    whole = Evidence(
        takes=rows,
        input_resistance=bounded(resistance, "input resistance", warnings, "input resistance"),
        input_capacitance=bounded(capacitance, "input capacitance", warnings, "input capacitance"),
        dcr=None if dcr is None else bounded(read_value(dcr, "dcr"), "dcr", warnings, "dcr"),
        reference_kind=reference,
        exciter_corner=None if corner is None else bounded(corner, "exciter corner", warnings),
        parts_at_hand=tuple(bounded(part, "at hand", warnings) for part in parse_parts(at_hand)),
        instrument=stated,
    )
    return whole, tuple(warnings)


def _record(take: Take, number: int) -> "kept.Take":
    """Put a take as a logbook would keep it; its files are not there and never looked for."""
    from measure.logbook.conditions import Conditions
    from measure.logbook.take import RecordingFile, ResponseFile
    from measure.logbook.take import Take as Record

    is_impedance = take.response.unit == "Ω"
    return Record(
        name=take.name or f"take-{number}",
        conditions=Conditions(
            method="impedance" if is_impedance or take.series_resistor is not None else "exciter",
            added=take.added,
            controls=dict(take.set),
            coil_over=take.coil_over or None,
            coil_moved=take.coil_moved,
            series_resistor=take.series_resistor,
            temperature_c=take.temperature_c,
        ),
        kind="response" if is_impedance else "recording",
        recordings=() if is_impedance else (RecordingFile(file="recording.wav"),),
        rate_hz=None if is_impedance else 48000,
        response_file=ResponseFile(file="response.csv") if is_impedance else None,
    )


def _input(texts: tuple[str, str]) -> "tuple[Quantity, Quantity]":
    from measure.marking import read_value

    return read_value(texts[0], "input resistance"), read_value(texts[1], "input capacitance")


def _load(parts: "MeasuredParts | None") -> "dict[str, Quantity]":
    """Input and cable as they were stated for a fit; what the fit found of them counts before it."""
    from measure.quantity import format_quantity, parse_quantity

    units = {"input.resistance": "Ω", "input.capacitance": "F"}
    stated = {} if parts is None else parts.input_stated
    return {key: parse_quantity(format_quantity(value, units[key], 12), units[key]) for key, value in stated.items()}


def _place(book: "Logbook | Path | str") -> Path:
    return Path(book) if isinstance(book, str | Path) else book.path


def _names(names: Sequence[str]) -> tuple[str, ...]:
    return (names,) if isinstance(names, str) else tuple(names)


def _shown(figure: "Figure") -> "Figure":
    """Let a notebook draw a figure that no backend manages, on white."""

    def png() -> bytes:
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", facecolor="white")
        return buffer.getvalue()

    figure._repr_png_ = png  # type: ignore[attr-defined]  # the name that notebooks look for
    return figure


def _short(sheet: "Sheet") -> str:
    from fit.desk.show.terminal import lines

    told = lines(sheet)
    cut = [] if len(told) <= MOST_LINES else [f"… and {len(told) - MOST_LINES + 1} lines more"]
    return "\n".join([*told[: MOST_LINES - len(cut)], *cut])


def _html(sheet: "Sheet") -> str:
    from fit.desk.show.page import fragment

    return fragment(sheet)
