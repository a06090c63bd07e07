"""Starting files for common wirings, to be completed with what is measured or printed on the parts.

Values are usual ones (common practice, no source): a pickup's as a starting point, pots and capacitors as they are often marked.
"""

HEAD = """\
# {title}
# Nodes are names of your choice; "ground" is the sleeve of the jack. Replace the values by those of your parts: after ± stands
# a bound. marked = what is printed on a part; value = what was measured, with its bound. The values here are only usual ones.
name = "{title}"
output = "tip"
"""
PICKUP = """
[pickup.{name}]  # EMF positive from the second end to the first: swap the ends of a pickup that is out of phase
ends = ["{hot}", "{cold}"]
dcr = "{dcr}"
inductance = "{inductance}"
winding_capacitance = "{capacitance}"
"""
POT = """
[pot.{name}]  # lugs seen by what they do: cw is reached at 10, ccw at 0
marked = "{ohm} ± 20%"
taper = "{taper}"
{lugs}
"""
CAPACITOR = """
[capacitor.{name}]  # where you can see it, kind = "film", "ceramic" or "paper": it tells the loss angle to expect
marked = "{value}"
between = ["{first}", "{second}"]
"""
PART = """
[{kind}.{name}]
marked = "{value}"
between = ["{first}", "{second}"]
"""
DESCRIPTIONS = {
    "one-pickup": "one pickup, volume, tone",
    "three-singles": "three single coils, five positions, two tone pots on one capacitor, bridge without tone",
    "three-singles-bridge-tone": "three single coils, five positions, the middle's tone lead moved to the bridge",
    "three-singles-blend": "three single coils, five positions, master volume and tone, a blend pot adds neck to bridge",
    "two-pickups-blend": "two pickups, blend pot, master volume and tone",
    "two-pickups-tone-before": "two pickups, four pots, tone before the volume",
    "two-pickups-tone-after": "two pickups, four pots, tone after the volume",
    "two-pickups-series": "two pickups, switch with both in parallel and both in series, volume, tone",
    "humbucker-modes": "one humbucker, switch for series, split and parallel, volume, tone",
    "treble-bleed": "one pickup, volume with a capacitor and a resistor from input to wiper, tone",
}


# What starting files say of a coil: nobody has measured it, so nobody is told that it is stated loosely.
STARTING = {
    "dcr": ("6.2k", "8k", "4k"),
    "inductance": ("2.4", "4.4", "1.9"),
    "winding_capacitance": ("100p", "110p", "80p"),
}


def layout_text(name: str) -> str:
    """Text of a starting instrument.toml.

    Parameters
    ----------
    name : str
        One of `DESCRIPTIONS`.

    Raises
    ------
    ValueError
        If there is no such layout.
    """
    if name not in DESCRIPTIONS:
        msg = f'there is no layout "{name[:40]}", expected one of {", ".join(DESCRIPTIONS)}'
        raise ValueError(msg)
    title = DESCRIPTIONS[name]
    return HEAD.format(title=f"{title[0].upper()}{title[1:]}") + "".join(_LAYOUTS[name])


def is_starting_text(text: str) -> bool:
    """Say whether an instrument.toml is a starting file that nobody has changed: no marking in it was read off a part."""
    return layout_of(text) is not None


def layout_of(text: str) -> str | None:
    """Find the layout whose starting file a text is, letter by letter."""
    return next((name for name in DESCRIPTIONS if text == layout_text(name)), None)


def _single(name: str, *, hot: str = "", cold: str = "ground") -> str:
    return PICKUP.format(name=name, hot=hot or f"{name} hot", cold=cold, dcr="6.2k", inductance="2.4", capacitance="100p")


def _humbucker(name: str, *, hot: str = "", cold: str = "ground") -> str:
    return PICKUP.format(name=name, hot=hot or f"{name} hot", cold=cold, dcr="8k", inductance="4.4", capacitance="110p")


def _volume(name: str = "volume", *, cw: str, wiper: str, ohm: str = "250k") -> str:
    lugs = f'cw = "{cw}"\nwiper = "{wiper}"\nccw = "ground"'
    return POT.format(name=name, ohm=ohm, taper="audio", lugs=lugs)


def _tone(name: str = "tone", *, top: str, bottom: str, ohm: str = "250k") -> str:
    return POT.format(name=name, ohm=ohm, taper="audio", lugs=f'wiper = "{top}"\nccw = "{bottom}"')


def _capacitor(name: str = "tone", *, node: str, to: str = "ground", value: str = "22n ± 10%") -> str:
    return CAPACITOR.format(name=name, value=value, first=node, second=to)


def _switch(name: str, **positions: list[tuple[str, str]]) -> str:
    lines = [f"\n[switch.{name}.positions]  # which nodes each position joins"]
    for position, joins in positions.items():
        pairs = ", ".join(f'["{first}", "{second}"]' for first, second in joins)
        lines.append(f"{position.replace('_', '-')} = [{pairs}]")
    return "\n".join(lines) + "\n"


def _five_way(*, tone_leads: dict[str, str]) -> str:
    """Five positions of three single coils; a tone pot hangs on the bus where its pickup is on."""
    combinations = {
        "bridge": ["bridge"],
        "bridge_middle": ["bridge", "middle"],
        "middle": ["middle"],
        "neck_middle": ["neck", "middle"],
        "neck": ["neck"],
    }
    positions = {
        position: [(f"{pickup} hot", "bus") for pickup in pickups]
        + [(f"{tone_leads[pickup]} top", "bus") for pickup in pickups if pickup in tone_leads]
        for position, pickups in combinations.items()
    }
    return _switch("selector", **positions)


THREE = tuple(_single(name) for name in ("bridge", "middle", "neck"))
TWO_TONES = (
    _volume(cw="bus", wiper="tip"),
    _tone("tone-1", top="tone-1 top", bottom="tone link"),
    _tone("tone-2", top="tone-2 top", bottom="tone link"),
    _capacitor(node="tone link"),
)
SPLIT_COIL = """
[pickup.bridge]  # the first of two coils; it counts from its own hot end to the middle
ends = ["top hot", "top cold"]
dcr = "4k"
inductance = "1.9"
winding_capacitance = "80p"

[pickup.bridge.second]
ends = ["bottom hot", "ground"]
dcr = "4k"
inductance = "1.9"
winding_capacitance = "80p"
coupling = 0.15
excitation = 1.0
"""


def _four_pots(*, is_tone_before: bool) -> tuple[str, ...]:
    """Each volume between its pickup and the switch; its tone on the pickup's side of it, or on the switch's."""
    parts = []
    joins = {}
    for name in ("bridge", "neck"):
        out = f"{name} out"
        parts.append(_humbucker(name))
        parts.append(_volume(f"{name}-volume", cw=f"{name} hot", wiper=out, ohm="500k"))
        top = f"{name} hot" if is_tone_before else out
        parts.append(_tone(f"{name}-tone", top=top, bottom=f"{name} tone link", ohm="500k"))
        parts.append(_capacitor(f"{name}-tone", node=f"{name} tone link"))
        joins[name] = (out, "tip")
    switch = _switch("selector", bridge=[joins["bridge"]], both=list(joins.values()), neck=[joins["neck"]])
    return (*parts, switch)


_LAYOUTS: dict[str, tuple[str, ...]] = {
    "one-pickup": (
        _humbucker("bridge"),
        _volume(cw="bridge hot", wiper="tip", ohm="500k"),
        _tone(top="bridge hot", bottom="tone link", ohm="500k"),
        _capacitor(node="tone link"),
    ),
    "three-singles": (*THREE, *TWO_TONES, _five_way(tone_leads={"middle": "tone-2", "neck": "tone-1"})),
    "three-singles-bridge-tone": (*THREE, *TWO_TONES, _five_way(tone_leads={"bridge": "tone-2", "neck": "tone-1"})),
    "three-singles-blend": (
        *THREE,
        _volume(cw="bus", wiper="tip"),
        _tone(top="bus", bottom="tone link"),
        _capacitor(node="tone link"),
        POT.format(name="blend", ohm="250k", taper="linear", lugs='cw = "blend far"\nwiper = "blend near"'),
        _switch(
            "selector",
            bridge=[("bridge hot", "bus"), ("blend near", "bus"), ("blend far", "neck hot")],
            bridge_middle=[("bridge hot", "bus"), ("middle hot", "bus"), ("blend near", "bus"), ("blend far", "neck hot")],
            middle=[("middle hot", "bus")],
            neck_middle=[("neck hot", "bus"), ("middle hot", "bus"), ("blend near", "bus"), ("blend far", "bridge hot")],
            neck=[("neck hot", "bus"), ("blend near", "bus"), ("blend far", "bridge hot")],
        ),
    ),
    "two-pickups-blend": (
        _single("bridge"),
        _single("neck"),
        POT.format(name="blend", ohm="500k", taper="linear", lugs='cw = "bridge hot"\nwiper = "bus"\nccw = "neck hot"'),
        _volume(cw="bus", wiper="tip"),
        _tone(top="bus", bottom="tone link"),
        _capacitor(node="tone link", value="47n ± 10%"),
    ),
    "two-pickups-tone-before": _four_pots(is_tone_before=True),
    "two-pickups-tone-after": _four_pots(is_tone_before=False),
    "two-pickups-series": (
        _single("bridge", cold="bridge cold"),
        _single("neck"),
        _switch(
            "selector",
            bridge=[("bridge hot", "bus"), ("bridge cold", "ground")],
            parallel=[("bridge hot", "bus"), ("neck hot", "bus"), ("bridge cold", "ground")],
            neck=[("neck hot", "bus"), ("bridge cold", "ground")],
            series=[("bridge hot", "bus"), ("bridge cold", "neck hot")],
        ),
        _volume(cw="bus", wiper="tip"),
        _tone(top="bus", bottom="tone link"),
        _capacitor(node="tone link", value="47n ± 10%"),
    ),
    "humbucker-modes": (
        SPLIT_COIL,
        _switch(
            "mode",
            series=[("top hot", "bus"), ("top cold", "bottom hot")],
            split=[("top hot", "bus"), ("top cold", "ground"), ("bottom hot", "ground")],
            parallel=[("top hot", "bus"), ("bottom hot", "bus"), ("top cold", "ground")],
        ),
        _volume(cw="bus", wiper="tip", ohm="500k"),
        _tone(top="bus", bottom="tone link", ohm="500k"),
        _capacitor(node="tone link"),
    ),
    "treble-bleed": (
        _single("bridge"),
        _volume(cw="bridge hot", wiper="tip"),
        _capacitor("bleed", node="bridge hot", to="tip", value="1n ± 10%"),
        PART.format(kind="resistor", name="bleed", value="150k ± 5%", first="bridge hot", second="tip"),
        _tone(top="bridge hot", bottom="tone link"),
        _capacitor(node="tone link"),
    ),
}
