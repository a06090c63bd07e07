"""An exciter over a pickup, of no particular make, and what differs from it."""

from dataclasses import replace

from fit.answers.exciter.rating import analyse_exciter, setup_figures
from fit.answers.exciter.setup import Drive, PickupCoil, Setup, Winding, turns_per_layer
from fit.answers.exciter.turns import Turns

WINDING = Winding(
    turns=60, wire_m=0.2e-3, enamelled_m=0.225e-3, is_round=True, former_width_m=0.02, former_depth_m=0.02,
    length_m=0.008, room_m=0.003, celsius=20.0,
)  # fmt: skip


DRIVE = Drive(level_v=1.0, source_ohm=30.0, sense_ohm=100.0, minimum_load_ohm=16.0, rating_w=0.25)


PICKUP = PickupCoil(
    turns=8000, is_round=False, width_m=0.058, depth_m=0.010, height_m=0.011, build_m=0.004, gap_m=0.005, iron=1.0
)


SETUP = Setup(winding=WINDING, drive=DRIVE, pickup=PICKUP)


BOUNDS = {
    "winding.wire_m": 0.02,
    "winding.former_width_m": 0.03,
    "drive.level_v": 0.1,
    "drive.source_ohm": 0.5,
    "pickup.gap_m": 0.2,
}


def figures(setup, *at_hz):
    return setup_figures(setup, turns_per_layer(setup.winding), at_hz=at_hz)


def wound(**changes):
    return replace(SETUP, winding=replace(WINDING, **changes))


def driven(**changes):
    return replace(SETUP, drive=replace(DRIVE, **changes))


def layers(n, *, radius_m=0.01, turns=20, step_m=2e-4, is_round=True):
    return tuple(
        Turns(half_width_m=radius_m + i * step_m, half_depth_m=radius_m / 2 + i * step_m, n=turns, is_round=is_round)
        for i in range(n)
    )


def warned(setup):
    return {finding.code for finding in analyse_exciter(setup, bounds={}, at_hz=()).findings if finding.severity != "pass"}
