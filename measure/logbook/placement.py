"""Placements: between which takes the coil was not moved."""

from collections.abc import Sequence

from measure.logbook.take import Take


def placements(takes: Sequence[Take]) -> dict[str, int]:
    """Placement of each take: between takes of one, the coil was not moved.

    Parameters
    ----------
    takes : sequence of Take
        All takes of a logbook in the order they were made.

    Returns
    -------
    dict of str to int
        Name to placement, counted from 0; a new one begins where the coil was moved or stood over another pickup.
    """
    found: dict[str, int] = {}
    placement = 0
    over: str | None = None
    for take in takes:
        stated = take.conditions
        is_elsewhere = over is not None and stated.coil_over is not None and stated.coil_over != over
        if found and (stated.coil_moved or is_elsewhere):
            placement += 1
        over = stated.coil_over if stated.coil_over is not None or stated.coil_moved else over
        found[take.name] = placement
    return found
