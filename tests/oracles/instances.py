"""Made-up planning problems in the published JSON shape, the same for the same seed. None describes a real animal."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random

MONDAY = date(2027, 3, 1)


def random_problem(seed: int, least: int = 6, most: int = 25) -> dict:
    """Chains, cross and negative lags, history, pins, closed days and a previous plan, in a mix that the seed picks."""
    rng = Random(f"plan {seed}")
    size = rng.randint(least, most)
    today = MONDAY + timedelta(rng.randint(0, 6))
    horizon = rng.randint(14, 42)
    events = [{"id": f"e{n}", "place": rng.choice(["clinic", "clinic", "home"])} for n in range(size)]
    for n in range(rng.randint(1, 3)):
        events[n]["done"] = str(today - timedelta(rng.randint(0, 12)))
    hidden = [rng.randint(0, horizon) for _ in events]
    for n, event in enumerate(events):
        if "done" in event:
            hidden[n] = (date.fromisoformat(event["done"]) - today).days
    lags = [_random_lag(rng, n, hidden) for n in range(rng.randint(size - 2, size + size // 2))]
    problem = {
        "today": str(today),
        "horizon_days": horizon,
        "events": events,
        "lags": lags,
        "closed": _random_closed(rng, today, horizon),
        "previous": {},
        "costs": {"visit": rng.choice([0, 3, 10, 30]), "move": rng.choice([0, 2, 5])},
    }
    if rng.random() < 0.35:
        event = rng.choice(events[1:])
        event["pinned"] = str(today + timedelta(rng.randint(-1, horizon)))
    if rng.random() < 0.5:
        problem["previous"] = {e["id"]: str(today + timedelta(rng.randint(0, horizon))) for e in events if rng.random() < 0.7}
    rng.shuffle(events)
    return problem


def _random_lag(rng: Random, n: int, hidden: list[int]) -> dict:
    """Mostly a tree growing from the first events, then some cross lags; nearly all of them fit a hidden plan."""
    size = len(hidden)
    end = n + 1 if n + 1 < size else rng.randrange(1, size)
    start = rng.choice([max(end - 1, 0), rng.randrange(end)])
    if rng.random() < 0.2:
        start, end = end, start
    gap = hidden[end] - hidden[start] + (rng.randint(-20, 20) if rng.random() < 0.03 else 0)
    least, most = gap - rng.randint(0, 6), gap + rng.randint(0, 6)
    keep = rng.random
    return {
        "id": f"L{n}",
        "from": f"e{start}",
        "to": f"e{end}",
        "min": least if keep() < 0.85 else None,
        "usual": rng.randint(least, most) if keep() < 0.7 else None,
        "max": most if keep() < 0.6 else None,
        "weight": rng.randint(0, 4),
    }


def _random_closed(rng: Random, today: date, horizon: int) -> dict:
    closed: dict = {}
    if rng.random() < 0.7:
        closed["clinic"] = {
            "weekdays": rng.choice([[5, 6], [6], [1, 3, 5, 6], []]),
            "dates": [str(today + timedelta(rng.randint(0, horizon))) for _ in range(rng.randint(0, 4))],
        }
    if rng.random() < 0.2:
        closed["home"] = {"weekdays": [rng.randint(0, 6)], "dates": []}
    if rng.random() < 0.5:
        away = today + timedelta(rng.randint(0, horizon))
        closed["carer"] = {"spans": [[str(away), str(away + timedelta(rng.randint(2, 10)))]]}
    return closed


def care_case(seed: int, size: int, with_previous: bool = False) -> dict:
    """A repaired animal with its carer: weekly rechecks until release, a weekly bandage change, sutures, pictures.

    `size` counts the events that are still to come. The intervals are of a usual order of size (common practice, no
    source); the instance is invented.
    """
    rng = Random(f"care {seed} {size}")
    today = MONDAY + timedelta(rng.randint(0, 13))
    surgery = today - timedelta(rng.randint(0, 4))
    events: list[dict] = [{"id": "surgery", "place": "clinic", "done": str(surgery)}]
    lags: list[dict] = []

    def add(name: str, place: str, *links: tuple):
        events.append({"id": name, "place": place})
        for start, least, usual, most, weight in links:
            lags.append({"id": f"R{len(lags) + 1}", "from": start, "to": name, "min": least, "usual": usual,
                         "max": most, "weight": weight})  # fmt: skip

    left = size
    rechecks = 7 if size >= 10 else size - 1
    for n in range(rechecks):
        add(f"recheck:{n + 1}", "clinic", (f"recheck:{n}" if n else "surgery", 3, 7, 10, rng.randint(1, 3)))
    left -= rechecks
    if left >= 3:
        add("sutures", "clinic", ("surgery", 28, 42, 42, rng.randint(1, 4)))
        add("full_water", "home", ("sutures", 0, 0, None, 1))
        add("release", "clinic", (f"recheck:{rechecks}", 3, 7, 10, 2), ("full_water", 14, None, None, 1))
        left -= 3
    for n, name in enumerate(("radiograph", "first_water")[: max(0, min(2, left))]):
        least, usual, most = ((28, 42, 56), (5, 7, 14))[n]
        add(name, ("clinic", "home")[n], ("surgery", least, usual, most, rng.randint(1, 3)))
        left -= 1
    bandages = min(left, 6)
    for n in range(bandages):
        add(f"bandage:{n + 1}", "clinic", (f"bandage:{n}" if n else "surgery", 3, 6, 7, rng.randint(1, 3)))
    left -= bandages
    for n in range(left):  # more animals of the same carer share the visits
        site, step = divmod(n, 4)
        start = f"site{site}:{step - 1}" if step else "surgery"
        add(f"site{site}:{step}", "clinic" if n % 2 else "home", (start, 4, rng.randint(6, 12), 16, rng.randint(1, 3)))
    away = today + timedelta(rng.randint(10, 40))
    problem = {
        "today": str(today),
        "horizon_days": 84,
        "events": events,
        "lags": lags,
        "closed": {
            "clinic": {"weekdays": [5, 6], "dates": [str(today + timedelta(rng.randint(5, 60))) for _ in range(3)]},
            "carer": {"spans": [[str(away), str(away + timedelta(rng.randint(3, 5)))]]},
        },
        "previous": {},
        "costs": {"visit": 30, "move": 5},
    }
    if with_previous:
        problem["previous"] = {e["id"]: str(surgery + timedelta(rng.randint(0, 60))) for e in events[1:] if rng.random() < 0.6}
    return problem


def long_case(seed: int, size: int = 40, visits: int = 9, horizon: int = 240) -> dict:
    """Five chains over most of a year, of whose events some are visits and the rest are done at home.

    Some events have a usual day of their own, four lags cross the chains, weekends and five holidays are closed, and the
    carer is away for 7 to 11 days; every second course has an older plan. A visit is cheap beside the lags, so that each
    is a choice. Invented throughout.
    """
    rng = Random(f"long {seed} {size} {horizon} {visits}")
    places = ["clinic"] * visits + ["home"] * (size - visits)
    rng.shuffle(places)
    events: list[dict] = [{"id": "surgery", "place": "clinic", "done": str(MONDAY)}]
    lags: list[dict] = []
    usual_day = {"surgery": 0}

    def link(start: str, end: str, least: int | None, usual: int | None, most: int | None, weight: int) -> None:
        limits = {"min": least, "usual": usual, "max": most, "weight": weight}
        lags.append({"id": f"R{len(lags) + 1}", "from": start, "to": end, **limits})

    for chain in range(5):
        before = "surgery"
        members = range(chain, size, 5)
        step = max(2, round(horizon * rng.uniform(0.6, 0.85) / len(members)))
        for n in members:
            events.append({"id": f"e{n}", "place": places[n]})
            usual = max(1, step + rng.randint(-3, 3))
            slack = max(1, round(usual * rng.uniform(0.15, 0.45)))
            link(before, f"e{n}", usual - slack, usual, usual + slack, rng.randint(1, 3))
            usual_day[f"e{n}"] = usual_day[before] + usual
            before = f"e{n}"
    for n in rng.sample(range(size), 6):
        link("surgery", f"e{n}", None, usual_day[f"e{n}"] + rng.randint(-5, 5), None, 1)
    for _ in range(4):
        early, late = sorted((f"e{n}" for n in rng.sample(range(size), 2)), key=usual_day.__getitem__)
        gap = usual_day[late] - usual_day[early]
        usual = rng.choice([None, gap])
        link(early, late, max(0, gap - rng.randint(5, 20)), usual, rng.choice([None, gap + rng.randint(5, 20)]), rng.randint(1, 2))
    away = MONDAY + timedelta(rng.randint(5, horizon - 20))
    older = rng.sample(range(size), size // 2) if seed % 2 else []
    return {
        "today": str(MONDAY),
        "horizon_days": horizon,
        "events": events,
        "lags": lags,
        "closed": {
            "clinic": {"weekdays": [5, 6], "dates": [str(MONDAY + timedelta(rng.randint(1, horizon))) for _ in range(5)]},
            "carer": {"spans": [[str(away), str(away + timedelta(rng.randint(7, 11)))]]},
        },
        "previous": {f"e{n}": str(MONDAY + timedelta(min(horizon, max(0, usual_day[f"e{n}"] + rng.randint(-3, 3))))) for n in older},
        "costs": {"visit": 6, "move": 2},
    }
