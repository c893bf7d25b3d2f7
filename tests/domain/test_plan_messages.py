"""Messages against their definition: of each day there, the least over all days here that the lag allows."""

from __future__ import annotations

from random import Random

import pytest

from handover.schedule.messages import FAR, offers, send, ways
from handover.schedule.network import Link


def case(seed: int, most_days: int) -> tuple[Link, dict[int, int], list[int]]:
    """A link, the costs of some days of its start, and days of its end that each have a partner."""
    rng = Random(f"message {seed}")
    here = {day: rng.randint(0, 500) for day in sorted(rng.sample(range(most_days), rng.randint(1, most_days)))}
    least = rng.choice([None, rng.randint(-20, 20)])
    most = rng.choice([None, rng.randint(0 if least is None else least, 40)])
    pulls = tuple(sorted((rng.randint(-40, 60), rng.randint(1, 9)) for _ in range(rng.randint(0, 3))))
    link = Link(0, 1, least, most, pulls)
    return link, here, [day for day in range(most_days) if rng.random() < 0.7 and any(allowed(link, day - other) for other in here)]


def allowed(link: Link, gap: int) -> bool:
    return (link.least is None or link.least <= gap) and (link.most is None or gap <= link.most)


def price(link: Link, gap: int) -> int:
    return sum(weight * abs(gap - usual) for usual, weight in link.pulls)


@pytest.mark.parametrize("most_days", [12, 60, 200])
def test_a_message_is_the_least_cost_of_the_days_that_fit(most_days):
    wide = 0
    for seed in range(150):
        link, here, there = case(seed, most_days)
        if not there:
            continue
        onwards, back = ways(link, there[0] - max(here), there[-1] - min(here), 1)
        assert (back.least, back.most) == (-onwards.most, -onwards.least)
        pad = 0 if onwards.is_wide else onwards.most - onwards.least + 1
        values = [here.get(day - pad, FAR) for day in range(pad + most_days)]
        expected = [min(cost + price(link, day - other) for other, cost in here.items() if allowed(link, day - other)) for day in there]

        told = send(onwards, values, [day + pad for day in there])

        assert told == expected, seed
        for day, least in zip(there, expected, strict=True):
            first, costs = offers(onwards, values, day + pad)
            other = first + costs.index(min(costs)) - pad
            assert (allowed(link, day - other), here[other] + price(link, day - other)) == (True, least), seed
        wide += onwards.is_wide
    assert wide >= 30 or most_days < 60
