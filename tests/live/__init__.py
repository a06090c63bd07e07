"""Tests on a live sound server with an emulated bench; they need jackd, the PortAudio library and JACK-Client."""
