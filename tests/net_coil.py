"""The coil of the virtual bench as a netlist has it."""

import numpy as np

from fit.answers.netlist.oneport import NetPickup
from fit.circuit.coil import CoilValues
from tests.desk_bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H

TRUE_LOOP = (0.35**2, 1 / (2 * np.pi * 8e3), 0.0, 0.2, "loop")


TRUTH = NetPickup(
    name="pickup",
    coils=(
        CoilValues(
            inductance_h=INDUCTANCE_H,
            resistance_ohm=DCR_OHM,
            winding_capacitance_f=CAPACITANCE_F,
            excitation=1.0,
            eddies=(TRUE_LOOP,),
        ),
    ),
)
