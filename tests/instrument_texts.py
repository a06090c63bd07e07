"""An instrument.toml with one part of each kind."""

SOUND = """
name = "one of each"
output = "tip"
[pickup.neck]
ends = ["neck hot", "ground"]
dcr = "7.9k ± 1%"
inductance = "3.1 ± 1%"
winding_capacitance = "110p ± 5p"
eddy_loops = [[0.42, 9e3]]
[pickup.bridge]
ends = ["bridge hot", "bridge middle"]
[pickup.bridge.second]
ends = ["bridge middle", "ground"]
coupling = 0.3
[pot.volume]
value = "500k ± 1%"
taper = "audio"
cw = "bus"
wiper = "tip"
ccw = "ground"
[pot.tone]
marked = "250k ± 20%"
taper = "linear"
wiper = "bus"
ccw = "tone link"
[capacitor.tone]
marked = "33n ± 10%"
between = ["tone link", "ground"]
[resistor.bleed]
value = "150k ± 5%"
between = ["bus", "tip"]
[switch.selector.positions]
neck = [["neck hot", "bus"]]
both = [["neck hot", "bus"], ["bridge hot", "bus"]]
split = [["bridge hot", "bus"], ["bridge middle", "ground"]]
"""
