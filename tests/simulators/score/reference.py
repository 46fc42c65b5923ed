"""The yardstick's belief kept a second time by a general Kalman library."""

import numpy as np
from filterpy.kalman import KalmanFilter

from simulators.score.kalman import Gaussian


class Reference(Gaussian):
    """The same belief, kept a second time by filterpy (R. Labbe), dense and step by step."""

    def __init__(self, mean, sds):
        super().__init__(mean, sds)
        n = len(mean)
        self.other = KalmanFilter(dim_x=n, dim_z=1)
        self.other.x = mean.reshape(-1, 1).astype(float)
        self.other.P = np.diag(np.asarray(sds, dtype=float) ** 2)
        self.worst = 0.0
        self.compared = 0
        self.log = 0.0

    def move(self, transition, noise):
        m, n = len(transition), len(self.mean)
        full, more = np.eye(n), np.zeros((n, n))
        full[:m, :m], more[:m, :m] = transition, noise
        super().move(transition, noise)
        self.other.predict(F=full, Q=more)
        self.compare()

    def observe(self, places, weights, surprise, noise):
        row = np.zeros((1, len(self.mean)))
        row[0, list(places)] = weights
        value = float((row @ self.other.x)[0, 0]) + surprise
        found = super().observe(places, weights, surprise, noise)
        self.other.update(np.array([[value]]), R=np.array([[noise]]), H=row)
        self.log += self.other.log_likelihood
        self.compare()
        return found

    def hit(self, places, weights, size, variance):
        shape = np.zeros((len(self.mean), 1))
        shape[list(places), 0] = weights
        super().hit(places, weights, size, variance)
        same = np.eye(len(self.mean))
        spread = shape @ shape.T * variance
        self.other.predict(u=np.array([[size]]), B=shape, F=same, Q=spread)
        self.compare()

    def shift(self, place, size):
        super().shift(place, size)
        self.other.x[place, 0] += size

    def bend(self, places, slopes, means=None):
        full = np.eye(len(self.mean))
        full[np.ix_(list(places), list(places))] = slopes
        super().bend(places, slopes, means)
        self.other.predict(F=full, Q=np.zeros_like(full))
        if means is not None:
            self.other.x[list(places), 0] = means
        self.compare()

    def copy(self, source, target):
        full = np.eye(len(self.mean))
        full[target] = 0.0
        full[target, source] = 1.0
        super().copy(source, target)
        self.other.predict(F=full, Q=np.zeros_like(full))
        self.compare()

    def forget(self, place, mean, variance):
        full, more = np.eye(len(self.mean)), np.zeros((len(self.mean), len(self.mean)))
        full[place, place], more[place, place] = 0.0, variance
        super().forget(place, mean, variance)
        self.other.predict(F=full, Q=more)
        self.other.x[place, 0] = mean
        self.compare()

    def compare(self):
        """Worst difference so far, relative to the entry's own size or its sd."""
        sds = np.sqrt(np.maximum(np.diag(self.other.P), 1e-30))
        size = np.maximum(np.abs(self.other.x[:, 0]), sds)
        means = np.abs(self.mean - self.other.x[:, 0]) / size
        scale = np.maximum(np.outer(sds, sds), 1e-18)
        covs = np.abs(self.cov - self.other.P) / scale
        live = np.outer(sds > 1e-9, sds > 1e-9)
        self.worst = max(self.worst, float(means.max()), float(np.max(covs, where=live, initial=0)))
        self.compared += 1
