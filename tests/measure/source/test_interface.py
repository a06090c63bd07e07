"""The one interface of sources: all of them are asked in the same words."""

import inspect

import pytest

from measure.source.interface import Source
from measure.source.soundcard import SoundCard
from measure.source.virtual import VirtualBench


@pytest.mark.parametrize("kind", [SoundCard, VirtualBench])
@pytest.mark.parametrize("name", ["describe", "record"])
def test_every_source_takes_the_same_words_with_the_same_defaults(kind, name):
    def plain(function):
        return [(one.name, one.kind, one.default) for one in inspect.signature(function).parameters.values()]

    assert plain(getattr(kind, name)) == plain(getattr(Source, name))
