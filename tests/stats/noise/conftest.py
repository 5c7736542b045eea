"""Series whose noise is known, to learn from."""

import numpy as np
import pytest

from qc.stats import Settled


class Drawn:
    """Draws of settled series; every one takes the generator it draws from."""

    @staticmethod
    def lots(random, size):
        """Lots of four to eight pieces, one after the other."""
        sizes = random.integers(4, 9, size)
        return [f"lot {i}" for i in np.repeat(np.arange(size), sizes)[:size]]

    @staticmethod
    def between_lots(random, lots, share):
        effects = {lot: random.normal(0, 1) for lot in dict.fromkeys(lots)}
        common = np.array([effects[lot] for lot in lots])
        return np.sqrt(share) * common + np.sqrt(1 - share) * random.normal(0, 1, len(lots))

    @classmethod
    def in_lots(cls, random, size, share):
        return cls.between_lots(random, cls.lots(random, size), share)

    @staticmethod
    def hanging(random, size, lag_1):
        """First-order autoregression of unit variance, from its stationary state."""
        values = random.normal(0, 1, size)
        values[1:] *= np.sqrt(1 - lag_1 * lag_1)
        for i in range(1, size):
            values[i] += lag_1 * values[i - 1]
        return values

    @staticmethod
    def settled(random, values, lots=None, step=None):
        return Settled(values, [f"piece {i}" for i in random.integers(0, 2**40, len(values))], lots, step)

    @classmethod
    def recorded(cls, random, size, share):
        lots = cls.lots(random, size)
        return cls.settled(random, cls.between_lots(random, lots, share), lots)

    @staticmethod
    def pool(random, draw, sisters=20):
        """A pool whose series are drawn one after the other."""
        return {f"sister {i:02d}": [draw(random)] for i in range(sisters)}


@pytest.fixture
def drawn():
    return Drawn
