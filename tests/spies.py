"""Counts of what costs time: searches for a model, and transforms of recordings."""

from dataclasses import dataclass

from fit.answers.compare import comparison
from fit.estimate import ladder
from measure.transfer import response


@dataclass
class Spy:
    """How often each was done since the last look."""

    fits: int = 0
    transforms: int = 0

    def look(self):
        """Fits and transforms, and begin anew."""
        seen = (self.fits, self.transforms)
        self.fits = self.transforms = 0
        return seen


def spy_on(monkeypatch):
    spy, choose, estimate = Spy(), ladder.choose_model, response.estimate_response

    def choose_model(*args, **options):
        spy.fits += 1
        return choose(*args, **options)

    def estimate_response(*args, **options):
        spy.transforms += 1
        return estimate(*args, **options)

    monkeypatch.setattr(ladder, "choose_model", choose_model)
    monkeypatch.setattr(comparison, "choose_model", choose_model)
    monkeypatch.setattr(response, "estimate_response", estimate_response)
    return spy
