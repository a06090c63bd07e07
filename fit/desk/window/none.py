"""Computes nothing."""


class Processes:
    def start(self, place):
        pass

    async def ask(self, message, *, page):
        raise ValueError("nothing is computed yet")

    def end(self):
        pass
