"""What casts doubt on an answer: a misfit, references that contradict the takes, a coil that moved, unusual values."""

from collections.abc import Sequence

import numpy as np

from fit.answers.digits import MINUS, allowed_digits
from fit.answers.figures import COVERAGE
from fit.answers.parts.quantities import Derived
from fit.answers.pickup.identifiability import has_two_loads
from fit.circuit.copper import TEMPERATURE_COEFFICIENT_PER_K
from fit.estimate.budget import coverage_of
from fit.estimate.evidence import TakeEvidence
from fit.estimate.ladder import MISFIT, Choice, has_unseen_loss
from fit.estimate.model import usable_points
from fit.estimate.parameters import (
    ACROSS_UNIT_S,
    DELAY_STD_CALIBRATED,
    DELAY_STD_SAMPLES,
    Parameter,
    added_parts,
)
from fit.estimate.release import is_reference, penalty
from fit.estimate.shifts import is_calibrated
from measure.quantity import format_quantity
from measure.response import Finding, Severity, relative_std

PULLED, CONTRADICTED = 3.0, 5.0  # [1] of a reference against its own statement: doubted, and values indicative only
CONTRADICTED_OFFSET = 2.0  # [1] of its standard uncertainty: past the bound of a rectangular distribution (√3)
IMPLAUSIBLE = 4.5  # [1] standard deviations from the usual; drawn humbuckers that came out right stayed below 3.8
ALIKE, DIFFERENT = 0.01, 0.1  # [1] of two responses: less with other parts, or more with the same, and something was forgotten
SHAPE_HZ, LOW_POINTS = (150.0, 15000.0), 8  # where responses are compared, and how many of the lowest set the gain
POINTS_PAST_PEAK = 3  # frequencies that must follow a resonance for it to be seen
MOST_LOSS = 0.5  # [1] Σk² from which on something else than eddy currents is likely: common practice, no source
MOST_TOLD = 2.9  # [%] the floor is not estimated beyond 3 %
# priors that state nothing a person measured
OWN_TO_TAKES = ("gain_step_", "logit_", "change_", "stop.", "reach.", "loss_", "field_", "warmer_", "clock")
USUAL_HIGHPASS_HZ = 0.2  # [Hz] between two inputs of one card: common practice, no source
MOST_KELVIN = 40.0  # [K] that a winding may have been warmed by
# What sets the scale of impedance; the input's resistance is felt too little to.
SCALES = (
    "log_added_", "log_resistance", "log_series_", "log_inductance",
    "log_winding_capacitance", "log_pot.", "log_capacitor.", "log_resistor.",
)  # fmt: skip
UNITS = {
    "delay": "sample", "highpass": "Hz", "across_": "S", "loss_": "1", "log_inductance": "H",
    "log_winding_capacitance": "F", "log_capacitor.": "F", "log_input_capacitance": "F",
}  # fmt: skip
SEEN_BY_OTHERS = ("log_added_", "log_resistance", "log_input_", "log_series_")
UNSEEN_ERROR = 0.1  # [1] of a reference, that is asked for
FOLLOWING = ("resonance_", "q_", "peak_", "eddy_")  # what follows from the elements
MOST_NAMED = 4  # quantities in one sentence
WEAK_REFERENCE = 0.1  # [1] relative standard uncertainty from which on a reference sets no scale
OUTLIER = 2.0  # [1] times as far off as the other takes
FAR = 3.0  # [1] so many times beyond the usual no pickup lies
# Beyond these a value is worth a second look, no more: common practice, no source.
USUAL = {"inductance": (0.8, 12.0), "dc_resistance": (1e3, 25e3), "winding_capacitance": (15e-12, 400e-12)}


def doubt_answer(choice: Choice, told: dict[str, Derived], *, worst_hz: float) -> tuple[Finding, ...]:
    """Collect what a person should know before they believe the values.

    Parameters
    ----------
    told : dict
        Quantities that the takes tell.
    worst_hz : float
        Where the smooth difference is largest. [Hz]

    Returns
    -------
    tuple of Finding
        Severity "reject": the values are indicative only.
    """
    return (
        *_misfit(choice, worst_hz),
        *_senseless_loss(choice),
        *(finding for take in choice.problem.evidence.takes for finding in _unseen_resonance(take)),
        *_loads_against_responses(choice.problem.evidence.takes),
        *(_moved(name) for name in choice.moved),
        *_let_go(choice),
        *pulled_references(choice),
        *_one_reference(choice, told),
        *_rests_on(choice, told),
        *_implausible(choice),
        *_unusual(told),
    )


def _misfit(choice: Choice, worst_hz: float) -> list[Finding]:
    if choice.floor.total < MISFIT:
        return []
    percent = 100 * choice.floor.total
    size = f"{'at least ' if percent > MOST_TOLD else ''}{percent:.2f} %"
    text = (
        f"no model describes the takes: {size} apart, worst at {worst_hz:.0f} Hz; "
        "values are indicative only. Check added parts, controls and wiring, and that the coil stood still"
    )
    return [Finding(code="misfit", severity="reject", text=text, figure=percent, unit="%"), *_outlier(choice)]


def _senseless_loss(choice: Choice) -> list[Finding]:
    """Doubt a model that describes the takes only with a loss where no coil shows one: it stands for something not stated."""
    if choice.floor.total >= MISFIT or not has_unseen_loss(choice.problem, choice.fit.vector):
        return []
    text = (
        "the takes are described only with a loss below where a coil can show one, so something else is in them; "
        "values are indicative only. Check --set and --add of each take: is a part clipped on that is not stated?"
    )
    return [Finding(code="senseless-loss", severity="reject", text=text), *_outlier(choice)]


def _outlier(choice: Choice) -> list[Finding]:
    """Name the take that lies farthest off, where one does."""
    takes = choice.problem.evidence.takes
    square = np.abs(choice.fit.prediction.residual) ** 2
    rms = [float(np.sqrt(np.mean(square[choice.problem.take_of_point == index]))) for index in range(len(takes))]
    worst = int(np.argmax(rms))
    others = rms[:worst] + rms[worst + 1 :]
    if not others or rms[worst] < OUTLIER * float(np.median(others)):
        return []
    text = f"take {takes[worst].name} lies farthest from the model: are its --set and --add as they were when it was made?"
    return [Finding(code="take-apart", severity="warn", text=text, figure=100 * rms[worst], unit="%")]


def _unseen_resonance(take: TakeEvidence) -> list[Finding]:
    """Find out whether a response still rises against frequency where it ends: cut short, it tells no inductance."""
    kept = usable_points(take)
    frequency = take.response.frequency_hz[kept]
    level = np.abs(take.response.value[kept]) / frequency
    if int(np.argmax(level)) < len(level) - POINTS_PAST_PEAK:
        return []
    text = (
        f"take {take.name} ends at {frequency[-1]:.0f} Hz, before its resonance; values are indicative only. "
        "Record the whole sweep, or raise the level, and repeat the take"
    )
    return [Finding(code="resonance-not-seen", severity="reject", text=text, figure=float(frequency[-1]), unit="Hz")]


def _loads_against_responses(takes: Sequence[TakeEvidence]) -> list[Finding]:
    """Hold what is said to lie across the jack against what the responses show: a part forgotten, or not named."""
    findings = []
    for index, second in enumerate(takes):
        for first in takes[:index]:
            difference = _shape_difference(first, second) if _is_comparable(first, second) else None
            if difference is None:
                continue
            percent = 100 * difference
            if _load(first) != _load(second) and difference < ALIKE:
                text = (
                    f"takes {first.name} and {second.name} are alike within {percent:.2g} % although other parts are said to lie "
                    "across the jack: was the part clipped on? Values are indicative only"
                )
                findings.append(Finding(code="part-not-seen", severity="reject", text=text, figure=percent, unit="%"))
            elif _load(first) == _load(second) and difference > DIFFERENT:
                text = (
                    f"takes {first.name} and {second.name} differ by {percent:.0f} % although the same is said of both: is --add "
                    "missing in one of them, or --set wrong? Values are indicative only"
                )
                findings.append(Finding(code="part-not-stated", severity="reject", text=text, figure=percent, unit="%"))
    return findings


def _is_comparable(first: TakeEvidence, second: TakeEvidence) -> bool:
    """Only what lies across the jack may tell two takes apart."""
    return (
        first.settings == second.settings
        and first.coil_over == second.coil_over
        and first.method == second.method == "exciter"
        and first.is_after == second.is_after
    )


def _load(take: TakeEvidence) -> tuple[tuple[str, float], ...]:
    return tuple(sorted((part.unit, part.value) for part in take.added))


def _shape_difference(first: TakeEvidence, second: TakeEvidence) -> float | None:
    """Largest relative difference of two responses with the gain of the low end taken out; None without a common band."""
    common, at_first, at_second = np.intersect1d(
        np.round(first.response.frequency_hz, 6), np.round(second.response.frequency_hz, 6), return_indices=True
    )
    kept = usable_points(first)[at_first] & usable_points(second)[at_second]
    if np.count_nonzero(kept) < 2 * LOW_POINTS:
        return None
    ratio = (second.response.value[at_second] / first.response.value[at_first])[kept]
    noise = np.hypot(relative_std(first.response)[at_first], relative_std(second.response)[at_second])[kept]
    in_band = (common[kept] >= SHAPE_HZ[0]) & (common[kept] <= SHAPE_HZ[1]) & (noise < ALIKE / 3)
    low = np.flatnonzero(in_band)[:LOW_POINTS]
    if len(low) < LOW_POINTS or np.count_nonzero(in_band) < 2 * LOW_POINTS:
        return None
    return float(np.max(np.abs(ratio[in_band] / np.mean(ratio[low]) - 1)))


def _moved(name: str) -> Finding:
    text = f"the exciter seems to have moved before take {name} (its gain stepped by more than chance); its gain was left free"
    return Finding(code="coil-moved", severity="warn", text=text)


def _let_go(choice: Choice) -> list[Finding]:
    """Say which statement the takes contradict, what they say instead, and what may be behind it."""
    findings = []
    by_name = {parameter.name: index for index, parameter in enumerate(choice.problem.parameters)}
    for name in choice.problem.released:
        index = by_name[name]
        value, parameter = float(choice.fit.vector[index]), choice.problem.parameters[index]
        coverage = coverage_of(choice, np.eye(len(by_name))[index])
        half = coverage.factor * coverage.standard_uncertainty
        if not is_reference(name):
            findings.append(_of_the_bench(choice, parameter, value, half))
            continue
        ratio = float(np.exp(value - parameter.prior_mean))
        away = f"{100 * (ratio - 1):+.1f} %".replace("-", MINUS)
        said = _value_text(float(np.exp(value)), half, unit_of_prior(choice, name))
        others = [choice.problem.parameters[by_name[other]].source for other in choice.alternatives]
        unless = f"; or {' or '.join(others)} is wrong instead" if others else ""
        text = (
            f"misfit of a reference: {parameter.source}, which by the takes is {said} ({away}). "
            f"{_cause(name, ratio)}{unless}. The values do without it and are indicative only"
        )
        findings.append(Finding(code="reference-misfit", severity="reject", text=text, figure=100 * (ratio - 1), unit="%"))
    return findings


def _value_text(value: float, relative_half: float, unit: str) -> str:
    digits = allowed_digits(value, relative_half * abs(value), most=4)
    return f"{format_quantity(value, unit, digits)} ± {100 * relative_half:.2g} %"


def unit_of_prior(choice: Choice, name: str) -> str:
    """Find the unit of what a parameter's prior stands for.

    Parameters
    ----------
    name : str
        Of a parameter that can be let go.

    Returns
    -------
    str
        SI, without prefix; "1" for pure numbers, "sample" for a delay.
    """
    added, _ = added_parts(choice.problem.evidence)
    if (name, True) in {one for parts in added for one in parts}:
        return "F"
    return next((unit for begins, unit in UNITS.items() if name.startswith(begins)), "Ω")


def _cause(name: str, ratio: float) -> str:
    if name.startswith("log_resistance"):
        kelvin = (ratio - 1) / TEMPERATURE_COEFFICIENT_PER_K
        if 0 < kelvin < MOST_KELVIN:
            return f"A winding {kelvin:.0f} K warmer than when it was read, or a reading through the pots"
        if -MOST_KELVIN < kelvin < 0:
            return f"A winding {-kelvin:.0f} K cooler than when it was read? Read it again, with nothing connected"
        return "Read it again, with nothing connected to the winding"
    if name.startswith("log_added"):
        return "Measure the part, and see that its clips hold"
    if name == "log_input_capacitance":
        return "A cable not counted, or another one used? coilsweep calibrate input measures it"
    if name == "log_input_resistance":
        return "Another input, its pad or its instrument switch? coilsweep calibrate input measures it"
    return "Check its value, and the unit it was written in"


def _of_the_bench(choice: Choice, parameter: Parameter, value: float, half: float) -> Finding:
    name = parameter.name
    if name == "highpass":
        text = (
            f"the inputs' high-passes lie {abs(value):.2g} Hz apart, up to {USUAL_HIGHPASS_HZ:g} Hz is usual on one card; "
            "the fit allows for it. coilsweep calibrate loopback takes that out of every take"
        )
        return Finding(code="unequal-highpass", severity="warn", text=text, figure=value, unit="Hz")
    if name == "delay":
        is_freed = all(is_calibrated(take) for take in choice.problem.evidence.takes)
        usual = DELAY_STD_CALIBRATED if is_freed else DELAY_STD_SAMPLES
        where, cure = ("after the loopback", "A new coilsweep") if is_freed else ("on one card", "coilsweep")
        text = (
            f"the inputs lie {abs(value):.2g} samples apart, {where} {2 * usual:g} are usual; the fit allows for it. "
            f"{cure} calibrate loopback takes that out of every take"
        )
        return Finding(code="unequal-delay", severity="warn", text=text, figure=value, unit="sample")
    if name.startswith("across_"):
        return _leak(name.removeprefix("across_"), value, half)
    usual_text, what = _usual_loss(name)
    text = f"{parameter.source}: tan δ {100 * value:.2g} %, usual is {usual_text}; the fit allows for it. {what}"
    return Finding(code="unusual-loss", severity="warn", text=text, figure=100 * value, unit="%")


def _leak(part: str, value: float, half: float) -> Finding:
    if value <= 0:
        text = f"{part} would have to insulate better than an ideal one: is the wiring as instrument.toml states it?"
        return Finding(code="leaky-capacitor", severity="warn", text=text)
    ohm = 1 / (ACROSS_UNIT_S * value)
    text = (
        f"{part} leaks, {_value_text(ohm, half / value, 'Ω')} lie across it; a sound one has over 500 MΩ. "
        "Dirt or flux, a resistor that instrument.toml lacks, or a capacitor to be replaced"
    )
    return Finding(code="leaky-capacitor", severity="warn", text=text, figure=ohm, unit="Ω")


# Common practice, no source; the priors of fit.estimate.parameters are these.
def _usual_loss(name: str) -> tuple[str, str]:
    if name.startswith("loss_added"):
        return "up to 0.5 %", "A film or C0G part is the better reference"
    if name == "loss_input_capacitance":
        return "up to 3 %", "Try another cable"
    return (
        "up to 0.5 % for film, 3 % for ceramic and paper",
        "An old or damp part, or its kind in instrument.toml is not what it is",
    )


def _one_reference(choice: Choice, told: dict[str, Derived]) -> list[Finding]:
    """Say so where one reference alone sets the scale: nothing in the takes would show it if it were wrong."""
    if not any(name.rpartition(".")[2] == "inductance" for name in told):
        return []
    scales = [
        parameter.source
        for parameter in choice.problem.parameters
        if parameter.source
        and parameter.name.startswith(SCALES)
        and parameter.prior_std < WEAK_REFERENCE
        and parameter.name not in choice.problem.released
    ]
    if len(scales) != 1:
        return []
    is_dcr = scales[0].startswith("dcr")
    cure = f"A take with a {'' if is_dcr else 'second '}known part across the jack would"
    is_read = is_dcr or any(name.startswith("log_resistance") for name in choice.problem.released)
    cure += "" if is_read else ", or --dcr"
    text = f"only {scales[0]} sets the scale: were it off, all values would be, and nothing here would show it. {cure}"
    return [Finding(code="one-reference", severity="warn", text=text)]


def unseen_errors(choice: Choice, told: dict[str, Derived]) -> dict[str, tuple[str, ...]]:
    """Find the references that the takes would not contradict if they were wrong, and what would be wrong with them.

    Parameters
    ----------
    told : dict
        Quantities that the takes tell.

    Returns
    -------
    dict
        Reference to the quantities that would be off by more than their intervals, were it `UNSEEN_ERROR` off.

    Notes
    -----
    An error e of a reference with the standard uncertainty u moves a quantity by Cov(q, p)/u² · e, and the gain of letting it
    go by e²/(u² − v²), v its posterior uncertainty (`fit.estimate.release.release_gains`).
    """
    out: dict[str, tuple[str, ...]] = {}
    for index, parameter in enumerate(choice.problem.parameters):
        if not (parameter.source and parameter.name.startswith(SEEN_BY_OTHERS)) or parameter.name in choice.problem.released:
            continue
        learned = 1 - float(choice.covariance[index, index]) / parameter.prior_std**2
        if learned * (UNSEEN_ERROR / parameter.prior_std) ** 2 > penalty(choice.problem):
            continue
        off = []
        for name, quantity in told.items():
            moved = abs(float(choice.covariance[index] @ quantity.gradient)) / parameter.prior_std**2 * UNSEEN_ERROR
            own = float(np.sqrt(max(float(quantity.gradient @ choice.covariance @ quantity.gradient), 0.0)))
            if moved > COVERAGE * own:
                off.append(name)
        if off:
            out[parameter.source] = tuple(off)
    return out


def _rests_on(choice: Choice, told: dict[str, Derived]) -> list[Finding]:
    """Say which values rest on a reference whose error nothing in the takes would show."""
    findings = []
    for source, names in unseen_errors(choice, told).items():
        elements = [name for name in names if not any(mark in name for mark in FOLLOWING)]
        shown = [_plain_name(name) for name in elements[:MOST_NAMED]] or ["resonance and Q"]
        percent = f"{100 * UNSEEN_ERROR:.0f} %"
        text = f"nothing in the takes would show it if {source} were {percent} off; with it would be {', '.join(shown)}"
        findings.append(Finding(code="rests-on", severity="pass", text=text))
    return findings


def _plain_name(quantity: str) -> str:
    kind, _, part = quantity.partition(".")
    return f"{part} {kind}" if kind in ("pot", "capacitor", "resistor") else quantity.replace("_", " ").replace(".", " ")


def pulled_references(choice: Choice) -> list[Finding]:
    """Name the references that contradict the takes.

    Returns
    -------
    list of Finding
        Severity "reject": the values are indicative only.
    """
    if not has_two_loads(choice.problem.evidence):
        return []  # the scale is open, and with it every reference
    findings = []
    for index, parameter in enumerate(choice.problem.parameters):
        if not _is_reference(parameter) or parameter.name in choice.problem.released:
            continue
        offset = abs(float(choice.fit.vector[index]) - parameter.prior_mean) / parameter.prior_std
        learned = 1 - float(choice.covariance[index, index]) / parameter.prior_std**2
        # a reference about which the takes tell nothing cannot be pulled by them
        pull = offset / np.sqrt(learned) if learned > 1e-6 else 0.0
        if pull <= PULLED or offset <= 1.0:
            continue
        is_wrong = pull > CONTRADICTED and offset > CONTRADICTED_OFFSET
        end = "; values are indicative only" if is_wrong else ""
        cure = "check its value, and the unit it was written in"
        if parameter.name.startswith("shift_"):
            cure = "a control of the card was moved since, or another input used: run coilsweep calibrate loopback again"
        text = f"{parameter.source} lies {pull:.1f} standard uncertainties from what the takes say; {cure}{end}"
        severity: Severity = "reject" if is_wrong else "warn"
        findings.append(Finding(code="reference-pulled", severity=severity, text=text, figure=float(pull)))
    return findings


def _is_reference(parameter: Parameter) -> bool:
    return bool(parameter.source) and bool(np.isfinite(parameter.prior_std)) and not parameter.name.startswith(OWN_TO_TAKES)


def _implausible(choice: Choice) -> list[Finding]:
    """Look for two coils that describe the takes only with halves that no pickup has."""
    worst, worst_name = 0.0, ""
    for value, parameter in zip(choice.fit.vector.tolist(), choice.problem.parameters, strict=True):
        if parameter.name.startswith(("log_second_", "log_coupling")):
            away = abs(value - parameter.prior_mean) / parameter.prior_std
            worst, worst_name = max((worst, worst_name), (away, parameter.name.removeprefix("log_").replace("_", " ")))
    if worst <= IMPLAUSIBLE:
        return []
    text = (
        f"two coils describe the takes only with halves that no pickup has ({worst_name}, "
        f"{worst:.0f} standard uncertainties from usual); "
        "values are indicative only. Check the added part's value, and what else is connected"
    )
    return [Finding(code="implausible-halves", severity="reject", text=text, figure=worst)]


def _unusual(told: dict[str, Derived]) -> list[Finding]:
    findings = []
    shares: dict[str, float] = {}
    for name, quantity in told.items():
        if name.endswith(".coupling"):
            pickup = name.partition("eddy_")[0]
            shares[pickup] = shares.get(pickup, 0.0) + 100 * quantity.value**2
    share = max(shares.values(), default=0.0)
    if share > 100 * MOST_LOSS:
        text = (
            f"eddy loops take {share:.0f} % of the inductance, more than pickups usually have ({100 * MOST_LOSS:.0f} %): "
            "is a pot, a tone capacitor or another part still connected?"
        )
        findings.append(Finding(code="unusual-losses", severity="warn", text=text, figure=share, unit="%"))
    for name, quantity in told.items():
        low, high = USUAL.get(name.rpartition(".")[2], (-np.inf, np.inf))
        if not low <= quantity.value <= high:
            value, is_absurd = quantity.value, not low / FAR <= quantity.value <= high * FAR
            end = "; values are indicative only" if is_absurd else ""
            text = (
                f"{name.replace('_', ' ')} lies outside what pickups usually have; check the added parts' values and units{end}"
            )
            severity: Severity = "reject" if is_absurd else "warn"
            findings.append(Finding(code="unusual", severity=severity, text=text, figure=value, unit=quantity.unit))
    return findings
