"""A pickup straight at the jack: cable, input and added parts parallel to it, the fastest case."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from fit.circuit.coil import coil_elements
from fit.circuit.dielectric import log_turn
from fit.circuit.network import Network, build_network, solve_network
from fit.estimate.coils import ALIKE, Circumstances, coil_rows, coil_values, coupling_of
from fit.estimate.parameters import PickupModel, loss_name
from measure.response import ComplexArray, FloatArray


@lru_cache(maxsize=2)
def jack_network(n_coils: int) -> Network:
    """Join the coils of a pickup in series, with one admittance across the jack.

    Parameters
    ----------
    n_coils : int
        1 or 2.

    Returns
    -------
    Network
        Branches: the winding capacitance of each coil, then everything across the jack.
    """
    coils = [("tip", "ground")] if n_coils == 1 else [("tip", "middle"), ("middle", "ground")]
    return build_network([*coils, ("tip", "ground")], coils, "tip")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Jack:
    """A pickup at the jack at m points.

    Attributes
    ----------
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    part_masks : dict
        Name of an added part's parameter to (is it a capacitor, 1 at the points where it is clipped on).
    circumstances : Circumstances
        What the takes differ in at the pickup.
    """

    model: PickupModel
    s: ComplexArray
    part_masks: dict[str, tuple[bool, FloatArray]]
    circumstances: Circumstances = ALIKE
    turn: ComplexArray = field(init=False)  # ln(s/ω0), for the capacitors' losses

    def __post_init__(self) -> None:
        """Compute once what depends on the frequencies alone."""
        object.__setattr__(self, "turn", log_turn(self.s))

    def evaluate(self, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
        """Response for a unit gain, and its logarithmic derivatives.

        Returns
        -------
        tuple
            s times the voltage at the jack per unit of exciting field, shape (m,); name to derivative of its logarithm.
        """
        coils, s = coil_values(self.model, p, self.circumstances), self.s
        rows: dict[str, ComplexArray] = {}
        elements = coil_elements(coils, s, coupling_of(p))
        loads = self._load_terms(p)
        admittance = np.empty((len(coils) + 1, len(s)), dtype=complex)
        for index, coil in enumerate(coils):
            admittance[index] = s * coil.winding_capacitance_f
        admittance[-1] = sum(loads.values())
        network = jack_network(len(coils))
        solution = solve_network(network, admittance=admittance, impedance=elements.impedance, emf=elements.emf)
        by_load = solution.by_admittance[-1] / solution.voltage
        for (name, is_capacitor), term in loads.items():
            rows[name] = by_load * term * (1.0 if is_capacitor else -1.0)
            if is_capacitor:
                loss = loss_name(name)
                rows[loss] = rows[name] * (-2 / np.pi * self.turn)
        coil_rows(p, coils, elements=elements, solution=solution, s=s, rows=rows, circumstances=self.circumstances)
        return s * solution.voltage, rows

    def _load_terms(self, p: dict[str, float]) -> dict[tuple[str, bool], ComplexArray]:
        """Admittance of each part across the jack, by its parameter and whether it is a capacitor."""
        s = self.s

        def charged(name: str) -> ComplexArray:
            lossy: ComplexArray = s * np.exp(p[name] - 2 / np.pi * p[loss_name(name)] * self.turn)
            return lossy

        terms: dict[tuple[str, bool], ComplexArray] = {
            ("log_input_resistance", False): np.full(len(s), np.exp(-p["log_input_resistance"]), dtype=complex),
            ("log_input_capacitance", True): charged("log_input_capacitance"),
        }
        for name, (is_capacitor, mask) in self.part_masks.items():
            terms[name, is_capacitor] = mask * (charged(name) if is_capacitor else np.exp(-p[name]))
        return terms
