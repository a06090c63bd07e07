"""What a logbook states of the rig."""

from fit.desk.show.words import plain_text
from measure.logbook.rig import Rig, read_rig
from measure.logbook.store import Logbook, rig_path

RIG_OPTIONS = {
    "interface.device": "--device",
    "interface.host_api": "--host-api",
    "interface.input_device": "--input-device",
    "interface.rate_hz": "--rate",
    "interface.output_channel": "--output-channel",
    "interface.pickup_channel": "--pickup-channel",
    "interface.reference_channel": "--reference-channel",
    "interface.clock": "--clock",
    "reference.kind": "--reference",
    "reference.sense_resistor": "--sense-resistor",
    "exciter.corner_hz": "--exciter-corner",
    "input.resistance": "--input-resistance",
    "input.capacitance": "--input-capacitance",
}


def rig_of(logbook: Logbook) -> Rig:
    """Read the rig of a logbook.

    Returns
    -------
    Rig
        An empty one where rig.toml is not there yet.
    """
    path = rig_path(logbook)
    return read_rig(path, below=logbook.path) if path.exists() else Rig()


def rig_rows(rig: Rig) -> list[tuple[str, str]]:
    """Rows of what a rig states.

    Returns
    -------
    list of (str, str)
        Key and value, in the order of rig.toml; what is not stated is left out.
    """
    rows: list[tuple[str, str]] = []
    for key in RIG_OPTIONS:
        section, name = key.split(".")
        value = getattr(getattr(rig, section), name)
        if value is not None:
            unit = " Hz" if name.endswith("_hz") else " ppm" if name == "clock" else ""
            rows.append((key, plain_text(value) if isinstance(value, str) else f"{value:g}{unit}"))
    kept = {} if rig.calibration is None else {kind: getattr(rig.calibration, kind) for kind in ("loopback", "input", "exciter")}
    return rows + [(f"calibration.{kind}", plain_text(file)) for kind, file in kept.items() if file is not None]
