"""Any number of samples into a few thousand points: means of neighbouring samples, the more of them the longer the record.

A bucket's mean is taken of values clipped to the lowest and highest that two samples in a row reached, so that a spike of a
single sample moves no mean. When the points become too many, pairs are joined: one pass, flat memory.
"""

from itertools import pairwise

from webapp.engine.waveform import drop_spikes

MOST_POINTS = 8000


class Buckets:
    """Points of one pass; columns as [t, p, battery, current], the last two with None where nothing was read."""

    def __init__(self, columns: int, most: int = MOST_POINTS) -> None:
        self.most, self.size, self.samples = most, 1, 0
        self.points: list[list] = [[] for _ in range(columns)]
        self.pending: list[list] = [[] for _ in range(columns)]

    def add(self, block: list[list]) -> None:
        """Take a block of samples, the columns side by side."""
        self.samples += len(block[0])
        if self.pending[0]:
            block = [old + new for old, new in zip(self.pending, block, strict=True)]
        done = 0
        while len(block[0]) - done >= self.size:
            room = (self.most - len(self.points[0])) * self.size
            if room <= 0:
                self.join_pairs()
                continue
            last = done + min(room, (len(block[0]) - done) // self.size * self.size)
            self.take(block, done, last)
            done = last
        self.pending = [column[done:] for column in block]

    def take(self, block: list[list], first: int, last: int) -> None:
        """Add the samples first..last-1, whole buckets."""
        if self.size == 1:
            for points, column in zip(self.points, block, strict=True):
                points += column[first:last]
            return
        for i in range(first, last, self.size):
            end = i + self.size
            self.points[0].append(sum(block[0][i:end]) / self.size)
            self.points[1].append(clipped_mean(block[1][i:end]))
            for points, column in zip(self.points[2:], block[2:], strict=True):
                points.append(present_mean(column[i:end]))

    def join_pairs(self) -> None:
        """Join all points two by two; called when there are `most` of them, an even number."""
        if self.size == 1:  # a joined spike could not be told any more
            self.points[1] = drop_spikes(self.points[1])
        self.points = [[present_mean([a, b]) for a, b in zip(ps[::2], ps[1::2], strict=True)] for ps in self.points]
        self.size *= 2

    def finish(self) -> list[list]:
        """Return all points, what is left over as a last bucket."""
        if self.pending[0]:
            self.points[0].append(sum(self.pending[0]) / len(self.pending[0]))
            self.points[1].append(clipped_mean(self.pending[1]))
            for points, column in zip(self.points[2:], self.pending[2:], strict=True):
                points.append(present_mean(column))
            self.pending = [[] for _ in self.points]
        return self.points


def clipped_mean(values: list[float]) -> float:
    """Return the mean of values clipped to what two neighbours reached."""
    if len(values) < 3:
        return sum(values) / len(values)
    high = max(map(min, values, values[1:]))
    low = min(map(max, values, values[1:]))
    total = sum(values)
    if max(values) > high or min(values) < low:
        total = sum([high if v > high else low if v < low else v for v in values])
    return total / len(values)


def present_mean(values: list) -> float | None:
    """Return the mean of what is there, None when nothing is."""
    try:
        return sum(values) / len(values)
    except TypeError:
        found = [v for v in values if v is not None]
        return sum(found) / len(found) if found else None


def merge(outer: list[list], inner: list[list], begin: float, end: float) -> list[list]:
    """Return the points of `outer` outside begin..end with those of `inner` in their place."""
    first = sum(1 for t in outer[0] if t < begin)
    last = sum(1 for t in outer[0] if t <= end)
    merged = [a[:first] + b + a[last:] for a, b in zip(outer, inner, strict=True)]
    order = sorted(range(len(merged[0])), key=lambda i: merged[0][i])
    if any(a > b for a, b in pairwise(order)):
        merged = [[column[i] for i in order] for column in merged]
    return merged
