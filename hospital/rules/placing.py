"""Several animals to several carers: the best whole, not the best for each in turn; and who must not meet whom.

`assign` finds it exactly: as many animals as can be are placed, and of all ways to do that it takes one of least cost.
It sends units of flow along cheapest ways through a network (successive shortest paths with potentials; Ahuja, Magnanti
and Orlin, Network Flows, 1993, chapter 9, from memory). Pairs that must not meet at one carer are kept apart by trying
both ways out of each meeting, the cheapest first.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import count

UNPLACED = 10**12  # what it costs to leave an animal without a carer: more than all other costs together
MOST_TRIES = 400

# Hunters and what they hunt, by the slugs of taxon groups: kept out of sight, sound and smell of each other (common
# practice, no source).
HUNTS = {
    "raptor": {"passerine", "small-mammal", "bat", "lizard", "snake", "amphibian"},
    "snake": {"passerine", "small-mammal", "lizard", "amphibian"},
    "fox": {"bird", "small-mammal", "hedgehog", "hare"},
    "mustelid": {"bird", "small-mammal", "hedgehog", "hare", "amphibian"},
    "crocodilian": {"bird", "small-mammal", "amphibian", "turtle-freshwater"},
}


def hunts(one: Collection[str], other: Collection[str]) -> bool:
    """Whether animals of one lineage hunt those of the other."""
    return any(hunter in one and prey.intersection(other) for hunter, prey in HUNTS.items())


def must_not_meet(one: Collection[str], other: Collection[str]) -> bool:
    """Whether either of two lineages hunts the other."""
    return hunts(one, other) or hunts(other, one)


@dataclass(frozen=True, slots=True)
class Cap:
    """At most so many of these animals at this carer. Caps of one carer lie inside each other or apart."""

    carer: int
    animals: frozenset[int]
    most: int


@dataclass(frozen=True, slots=True)
class Assignment:
    """By animal: its carer, or None. `is_proven`: no other way is better."""

    carer_of: tuple[int | None, ...]
    cost: int
    is_proven: bool = True


Costs = Sequence[Sequence[int | None]]  # by animal, then carer; None: never
Meeting = tuple[int, int, int]  # two animals, the smaller first, and a carer


def assign(costs: Costs, room: Sequence[int], caps: Iterable[Cap] = (), apart: Collection[Meeting] = ()) -> Assignment:
    """The best assignment of animals to carers."""
    nested = [*caps, *(Cap(carer, frozenset(range(len(costs))), most) for carer, most in enumerate(room))]
    _refuse_tangled(nested)
    barred: frozenset[tuple[int, int]] = frozenset()
    order = count()
    tries: list[tuple[int, int, frozenset[tuple[int, int]], Assignment]] = []
    first = _cheapest(costs, nested, barred)
    heapq.heappush(tries, (first.cost, next(order), barred, first))
    for _ in range(MOST_TRIES):
        _cost_so_far, _number, barred, found = heapq.heappop(tries)
        if (meeting := _meeting(found, apart)) is None:
            return found
        for animal in meeting[:2]:
            more = barred | {(animal, meeting[2])}
            other = _cheapest(costs, nested, more)
            heapq.heappush(tries, (other.cost, next(order), more, other))
    return _parted(heapq.heappop(tries)[3], costs, apart)


def _refuse_tangled(caps: Sequence[Cap]) -> None:
    for index, one in enumerate(caps):
        for other in caps[index + 1 :]:
            is_tangled = one.animals & other.animals and not (one.animals <= other.animals or other.animals <= one.animals)
            if one.carer == other.carer and is_tangled:
                raise ValueError("Two caps of one carer share some of their animals and not others.")


def _meeting(found: Assignment, apart: Collection[Meeting]) -> Meeting | None:
    """The first pair that meets and must not."""
    met = (each for each in apart if found.carer_of[each[0]] == each[2] == found.carer_of[each[1]])
    return min(met, default=None)


def _parted(found: Assignment, costs: Costs, apart: Collection[Meeting]) -> Assignment:
    """After too many tries: the best so far, with one of each pair that still meets left out."""
    carers = list(found.carer_of)
    while (meeting := _meeting(Assignment(tuple(carers), 0), apart)) is not None:
        carers[meeting[1]] = None
    return Assignment(tuple(carers), _cost(costs, carers), is_proven=False)


def _cost(costs: Costs, carers: Sequence[int | None]) -> int:
    return sum(UNPLACED if carer is None else costs[animal][carer] or 0 for animal, carer in enumerate(carers))


# --- flow ---------------------------------------------------------------------------------------------------------


class _Network:
    """Arcs with room and a cost, each beside its way back."""

    def __init__(self) -> None:
        self.head: list[int] = []
        self.room: list[int] = []
        self.cost: list[int] = []
        self.out: list[list[int]] = []

    def node(self) -> int:
        self.out.append([])
        return len(self.out) - 1

    def arc(self, tail: int, head: int, room: int, cost: int) -> int:
        for a, b, has, price in ((tail, head, room, cost), (head, tail, 0, -cost)):
            self.out[a].append(len(self.head))
            self.head.append(b)
            self.room.append(has)
            self.cost.append(price)
        return len(self.head) - 2

    def send(self, source: int, sink: int) -> None:
        """As much as goes through, one unit after the other, each by the cheapest way left."""
        height = [0] * len(self.out)
        while (way := self._way(source, sink, height)) is not None:
            for arc in way:
                self.room[arc] -= 1
                self.room[arc ^ 1] += 1

    def _way(self, source: int, sink: int, height: list[int]) -> list[int] | None:
        far: list[int | None] = [None] * len(self.out)
        by: list[int] = [-1] * len(self.out)
        far[source], queue, settled = 0, [(0, source)], set[int]()
        while queue:
            length, node = heapq.heappop(queue)
            if node in settled:
                continue
            settled.add(node)
            for arc in self.out[node]:
                head = self.head[arc]
                if not self.room[arc] or head in settled:
                    continue
                longer = length + self.cost[arc] + height[node] - height[head]
                known = far[head]
                if known is None or longer < known:
                    far[head], by[head] = longer, arc
                    heapq.heappush(queue, (longer, head))
        end = far[sink]
        if end is None:
            return None
        for node, length_to in enumerate(far):
            height[node] += end if length_to is None else min(length_to, end)
        way = []
        while sink != source:
            way.append(by[sink])
            sink = self.head[by[sink] ^ 1]
        return way


def _cheapest(costs: Costs, caps: Sequence[Cap], barred: Collection[tuple[int, int]]) -> Assignment:
    """The best assignment that leaves out some pairs, whoever meets."""
    net = _Network()
    source, sink = net.node(), net.node()
    entry = _carers(net, caps, sink)
    chosen: list[list[tuple[int, int]]] = []
    for animal, row in enumerate(costs):
        node = net.node()
        net.arc(source, node, 1, 0)
        net.arc(node, sink, 1, UNPLACED)
        able = [(carer, cost) for carer, cost in enumerate(row) if cost is not None and (animal, carer) not in barred]
        chosen.append([(carer, net.arc(node, entry[carer, animal], 1, cost)) for carer, cost in able])
    net.send(source, sink)
    carers = [next((carer for carer, arc in arcs if not net.room[arc]), None) for arcs in chosen]
    return Assignment(tuple(carers), _cost(costs, carers))


def _carers(net: _Network, caps: Sequence[Cap], sink: int) -> dict[tuple[int, int], int]:
    """A node for each cap, leading into the next wider one of the same carer; by carer and animal, the narrowest."""
    entry: dict[tuple[int, int], int] = {}
    for cap in sorted(caps, key=lambda each: (each.carer, -len(each.animals))):
        node = net.node()
        wider = {entry[cap.carer, animal] for animal in cap.animals if (cap.carer, animal) in entry}
        net.arc(node, min(wider, default=sink), max(cap.most, 0), 0)
        entry.update({(cap.carer, animal): node for animal in cap.animals})
    return entry
