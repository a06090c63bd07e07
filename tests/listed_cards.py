"""Sound cards as PortAudio would list them, and a list of them in the place of its own."""

from measure.source.devices import Device, DeviceList

BOX = Device(
    name="box", host_api="ALSA", n_inputs=2, n_outputs=4, own_rate_hz=48000, rates_hz=(44100, 48000), is_default_output=True
)


OTHER = Device(name="box", host_api="JACK", n_inputs=2, n_outputs=2, own_rate_hz=96000, rates_hz=(96000,))


DUMB = Device(name="speaker", host_api="ALSA", n_inputs=0, n_outputs=2, own_rate_hz=48000)


def list_cards(monkeypatch, *cards):
    """From now on these are all there are."""
    found = DeviceList(devices=cards, explanation="that one is the default", library="V1")
    for place in ("fit.desk.bench.level", "measure.source.devices"):
        monkeypatch.setattr(f"{place}.list_devices", lambda: found)
