"""Proof of plans whose futures have one step at most: with the first design known, the futures no longer hang together.

What a later date costs beside a first design is then counted without a program: pieces that stand already are kept or sold, the rest is
bought. So every first design within the gap is held against every later design within the gap, future by future; the least that a first
design costs with all that follows is the sum of the least of each future. First designs that may still be cheaper than the known plan are
the few that a program of whole numbers has to look at.

The count is never above the cost of a plan: pieces of packs are counted one by one, all that kits could save is taken off, and stock and
budget are left to the program.
Buying ahead, more at first than the first design uses, is in it. Where what a piece saves later is more than its price, the later price is
taken lower. Modules and batteries bought ahead may stand with the first ones where later ones may not, so each date may have as many of
them as it likes, and bears a share of their price, by what they save it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.design import Design
from optimizer.growth.followers import Followers, Trackers
from optimizer.growth.ledger import Ledger, Lot
from optimizer.growth.offers import Listed, Priced
from optimizer.growth.plan_program import Column
from optimizer.growth.sourced import RUNNING
from optimizer.growth.tree import FIRST, Node
from optimizer.inputs.kits import Kit

AT_ONCE = 300_000
"""First designs by later ones that are looked at in one step."""

FIRSTS_AT_ONCE = 10_000
"""First designs whose pieces are counted in one step."""

FEW_NUMBERS = 32
"""Different numbers of an item's pieces up to which what each saves is counted once; those of cables and mounts, in cents, are more."""

WAYS_MOST = 2 ** 40
"""Numbers that ways to use items may have before only those that there are keep one."""

FIRST_LOT = Lot(FIRST, 0.0)


@dataclass(frozen=True)
class Near:
    """A first design that may be that of a better plan."""

    least_cents: float
    """The least that a plan with it costs."""
    design: Design
    _later: Mapping[int, tuple[Followers, np.ndarray, np.ndarray]]
    """By later date: its designs, the rows of those that may follow, and what plans with them cost at least, the cheapest first."""

    def columns(self, number: int, most: int | None, below: float) -> list[Column]:
        """Designs that may follow at a date, at most so many cheapest, in plans that cost less."""
        followers, rows, cents = self._later[number]
        return [followers.column(row) for row in rows[:max(1, int(np.searchsorted(cents, below)))][:most].tolist()]


def is_one_step(ledger: Ledger, nodes: Sequence[Node]) -> bool:
    """Whether every later date comes right after the first purchase, and no battery was there before it: an owned one has an age of its own."""
    return all(node.parent in (None, FIRST) for node in nodes) and not any(ledger.kind(item) == "battery" for item in +ledger.owned)


class OneStep:
    """Every first design beside the later ones of each future; money in cents, present and expected."""

    def __init__(self, ledger: Ledger, nodes: Sequence[Node], items: Sequence[str], later: Mapping[int, Followers], bound: float) -> None:
        """items: all that designs may use.
        later: designs of each later date that a better plan may have.
        bound: what every plan costs at least, by the prices at which designs are listed.
        """
        self.below_cents = np.inf
        """Only plans that cost less are looked for."""
        self._bound = bound
        first, horizon = nodes[0], ledger.discount(ledger.growth.horizon_years)
        self.items = tuple(items)
        self._pack = np.array([ledger.pack(item) for item in items])
        self._running_x = ledger.price(RUNNING, first)
        self._owned = np.array([ledger.owned[item] for item in items], dtype=float)
        self.dates = [_Date(ledger, node, self.items, later[node.number]) for node in nodes[1:]]
        # What a first piece costs where no later design uses it: it is sold, or kept to the horizon.
        price = np.array([ledger.price(item, first) for item in items])
        self._fixed_cents = ledger.prices.fixed_freight_cents * ledger.on_top - float(self._owned @ price)
        left = ledger.tree.ending_at(first) * horizon * np.array([ledger.end_value(item, FIRST_LOT) for item in items])
        self._cents = price - left - sum(date.idle_worth for date in self.dates)
        self._has_lots = np.array([ledger.has_lots(item) for item in items])
        self._ahead_cents = self._buying_ahead()
        used = np.max([np.zeros(len(self.items)), *(date.used.max(axis=0) for date in self.dates)], axis=0)
        self._no_kits = _Kits(np.zeros(len(self.items)))
        self._kits = [_FirstKit(ledger, kit, first, self.items, price, used) for kit in ledger.kits]

    def _buying_ahead(self) -> np.ndarray:
        """Take savings lower where a piece bought ahead would save more than it costs; what a piece then costs more than it saves."""
        saving = sum((date.saving for date in self.dates), np.zeros(len(self.items)))
        with np.errstate(divide="ignore", invalid="ignore"):
            less = np.where(saving > self._cents, np.clip(self._cents / saving, 0.0, 1.0), 1.0)
            ahead_x = np.where(saving > 0, np.maximum(1.0, self._cents / saving), 1.0)
        for date in self.dates:
            date.save_less(less, ahead_x)
        return np.asarray(self._cents - less * saving)

    def near(self, search: Priced, listed: Listed, least: float) -> Iterator[list[Near]]:
        """First designs of a core that may be those of a plan that costs less than what is known, some at a time.

        listed: designs at the prices, of which the cheapest of all cores costs `least`.
        """
        order = np.argsort(listed.cents, kind="stable")
        volts, at = search.cores.classes[listed.number].volts, 0
        while at < len(order):
            left = self.below_cents - self._bound - (float(listed.cents[order[at]]) - least)
            longest = max((date.count(left) for date in self.dates), default=1)
            rows = order[at:at + min(FIRSTS_AT_ONCE, max(1, AT_ONCE // longest))]
            at += len(rows)
            some = listed.take(rows)
            usage, running = self._there(search.usage(some, self.items)), self._running_x * search.yearly_cents(some)
            yield [Near(cents, search.design(some, row), later) for row, cents, later in self._of_rows(usage, running, volts, left, self._no_kits)]

    def near_one(self, column: Column) -> list[Near]:
        """The same of the one first design that there is."""
        usage = self._there(np.array([[column.usage.get(item, 0) for item in self.items]], dtype=float))
        running = np.array([self._running_x * column.yearly_cents])
        found = self._of_rows(usage, running, column.volts, self.below_cents - self._bound, self._no_kits)
        return [Near(cents, column.design, later) for _, cents, later in found]

    def _there(self, usage: np.ndarray) -> np.ndarray:
        """Pieces that are there at first: those that were there, and whole packs of what designs use beyond them."""
        return np.asarray(self._owned + np.ceil(np.maximum(0.0, usage - self._owned) / self._pack) * self._pack)

    def _of_rows(
        self, usage: np.ndarray, running: np.ndarray, volts: int, left: float, ahead: _Kits,
    ) -> Iterator[tuple[int, float, dict[int, tuple[Followers, np.ndarray, np.ndarray]]]]:
        """Rows of first designs that may be those of a better plan, the least that one costs, and what may follow.

        usage: pieces that are there, shape (designs, items).
        running: what the designs' sources burn until the next dates, shape (designs,).
        left: what designs may cost more than the cheapest of their date.
        ahead: kits that bring batteries or modules beyond the designs; what they bring is in the usage.
        """
        first, below = self._fixed_cents + usage @ self._cents + running - ahead.save_cents, self.below_cents
        free = first + sum((date.least(usage, volts, date.count(left)) for date in self.dates), np.zeros(len(first)))
        saved = [kit.saved(usage - self._owned, self._ahead_cents, self._has_lots) for kit in self._kits]
        within_all = sum((_most(within) for within, _ in saved), np.zeros(len(usage)))
        # The rules between purchases cost more to count, and few designs are left for them.
        left_over = np.nonzero(free - within_all < below)[0]
        beside = [date.beside(usage[left_over], volts, date.count(left)) for date in self.dates] if len(left_over) else []
        by_rules = (first - within_all)[left_over] + sum((ways.min(axis=1) for ways in beside), np.zeros(len(left_over)))
        for at in np.nonzero(by_rules < below)[0].tolist():
            cents = [by_rules[at] - ways[at].min() + ways[at] for ways in beside]
            later = {date.node.number: date.cheapest(one, below) for date, one in zip(self.dates, cents, strict=True)}
            yield int(left_over[at]), float(by_rules[at]), later
        # Kits that bring batteries or modules beyond the design are looked at where they may pay were no rules between purchases.
        rest = free - sum((np.maximum(_most(within), _most(beyond)) for within, beyond in saved), np.zeros(len(usage)))
        for number in range(ahead.next, len(self._kits)):
            kit, (within, beyond) = self._kits[number], saved[number]
            others = rest + np.maximum(_most(within), _most(beyond))
            for kits, (_, one) in enumerate(zip(within, beyond, strict=True), start=1):
                for row in np.nonzero(others - one < below)[0].tolist():
                    taken = ahead.with_kit(kit, kits, number)
                    more = np.maximum(usage[[row]], self._owned + taken.pieces)
                    yield from ((row, least, later) for _, least, later in self._of_rows(more, running[[row]], volts, left, taken))


def _most(saved: np.ndarray) -> np.ndarray:
    """Most that any number of kits saves, none among them; saved of shape (numbers, designs)."""
    return np.asarray(np.maximum(0.0, saved.max(axis=0)))


@dataclass(frozen=True)
class _Kits:
    """Kits that are taken as bought at first: what they bring, what they save, and the number of the next that may be taken."""

    pieces: np.ndarray
    save_cents: float = 0.0
    next: int = 0

    def with_kit(self, kit: _FirstKit, kits: int, number: int) -> _Kits:
        """So many kits of a sort more."""
        return _Kits(self.pieces + kits * kit.pieces, self.save_cents + kits * kit.save_cents, number + 1)


class _FirstKit:
    """A kit in the first purchase."""

    def __init__(self, ledger: Ledger, kit: Kit, first: Node, items: Sequence[str], price: np.ndarray, used: np.ndarray) -> None:
        """price, used: of each item, at first, and the most that a later design uses."""
        self.pieces = np.array([kit.contents.get(item, 0) for item in items], dtype=float)
        self.save_cents = float(self.pieces @ price) - ledger.kit_price(kit, first)
        self._those = np.nonzero(self.pieces)[0]
        self._used = used[self._those]

    def saved(self, usage: np.ndarray, ahead_cents: np.ndarray, has_lots: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Most that kits save where so much is bought at first, shape (numbers of kits, designs): where they bring no batteries or
        modules beyond the design, and where they do; -inf where it is the other way.
        """
        those, within, beyond = self._those, [], []
        most = np.maximum(usage[:, those].max(axis=0), self._used) / self.pieces[those]
        for kits in range(1, max(1, int(np.ceil(most.max()))) + 1):
            ahead = np.maximum(0.0, kits * self.pieces[those] - usage[:, those])
            saved = kits * self.save_cents - ahead @ ahead_cents[those]
            with_lots = ahead[:, has_lots[those]].any(axis=1)
            within.append(np.where(with_lots, -np.inf, saved))
            beyond.append(np.where(with_lots, saved, -np.inf))
        return np.array(within), np.array(beyond)


class _Date:
    """The designs of one later date, and what they cost beside first ones."""

    def __init__(self, ledger: Ledger, node: Node, items: Sequence[str], designs: Followers) -> None:
        self.node, self._designs, self.used, self._volts = node, designs, designs.used, designs.volts
        self._slack = designs.cents - designs.cents[0]
        weight = ledger.tree.weight(node) * ledger.discount(node.year)
        self._running = weight * ledger.price(RUNNING, node) * designs.yearly_cents
        ends = ledger.tree.ending_at(node) * ledger.discount(ledger.growth.horizon_years)
        kept_worth = ends * np.array([ledger.end_value(item, FIRST_LOT) for item in items])
        new_worth = ends * np.array([ledger.end_value(item, Lot(node.number, node.year)) for item in items])
        self.idle_worth = np.maximum(kept_worth, weight * np.array([ledger.resale(item, node, FIRST_LOT) for item in items]))
        """What a first piece is worth that the date does not use: sold, or kept."""
        self._bought = weight * np.array([ledger.price(item, node) for item in items]) - new_worth
        self.saving = np.maximum(0.0, self._bought + kept_worth - self.idle_worth)
        """What a first piece saves that the date uses instead of a new one."""
        self._kits = [(np.array([kit.contents.get(item, 0) for item in items], dtype=float), weight * ledger.kit_price(kit, node)) for kit in ledger.kits]
        self._changeover_cents = weight * ledger.changeover_cents
        self._batteries = [at for at, item in enumerate(items) if ledger.kind(item) == "battery"]
        self._mixes = {at: any(FIRST_LOT in group and len(group) > 1 for group in ledger.together(items[at], node)) for at in self._batteries}
        self._worn = {at: ledger.worn(items[at], FIRST_LOT, node.year) for at in self._batteries}
        self._modules_used = {at: item for at, item in enumerate(items) if ledger.kind(item) == "module" and self.used[:, at].any()}
        models = (self.used[:, list(self._modules_used)] > 0).sum(axis=1)
        self._of_two_models = np.nonzero(models > 1)[0]
        self._is_module = np.array([ledger.kind(item) == "module" for item in items])

    def save_less(self, share: np.ndarray, ahead_x: np.ndarray) -> None:
        """Take what first pieces save down to so large a share, by as much lower prices of new ones.

        ahead_x: what a piece bought ahead costs, as times of what it saves all dates together.
        """
        self._bought = self._bought - (1 - share) * self.saving
        self.saving = share * self.saving
        self._ahead_x = ahead_x
        self._modules = {at: _Kept(self._designs.trackers, item, ahead_x[at]) for at, item in self._modules_used.items()}
        self._saves = (self.saving > 0) & self.used.any(axis=0)
        self._base = self.used @ self._bought + self._running
        for pieces, cents in self._kits:
            self._base -= self._saved_by(pieces, cents)

    def _saved_by(self, pieces: np.ndarray, cents: float) -> np.ndarray:
        """Most that kits of one sort save to the designs, were all of their parts new."""
        those = np.nonzero(pieces)[0]
        saved, most = np.zeros(len(self.used)), self.used[:, those].max(axis=0) / pieces[those]
        for kits in range(1, int(np.ceil(most.max())) + 1):
            saved = np.maximum(saved, np.minimum(self.used[:, those], kits * pieces[those]) @ self._bought[those] - kits * cents)
        return saved

    def count(self, slack: float) -> int:
        """How many designs are so near to the cheapest."""
        return max(1, int(np.searchsorted(self._slack, slack, side="right")))

    def cheapest(self, cents: np.ndarray, below: float) -> tuple[Followers, np.ndarray, np.ndarray]:
        """Designs in plans that cost less, the cheapest first; cents: what plans with its first designs cost."""
        those = np.nonzero(cents < below)[0]
        those = those[np.argsort(cents[those], kind="stable")]
        return self._designs, those, cents[those]

    def least(self, first: np.ndarray, volts: int, count: int) -> np.ndarray:
        """The least that the date costs with any of its first `count` designs, were there no rules between purchases, shape (first designs,)."""
        items = np.nonzero(self._saves & first.any(axis=0))[0]
        pieces, of_module = first[:, items], self._is_module[items]
        few = np.array([len(np.unique(column)) <= FEW_NUMBERS for column in pieces.T], dtype=bool)
        # Almost every first design is one of its own, but there are few ways in modules, and few in the rest: what each saves is counted once.
        rest, rest_way = self._shared_by_way(pieces, items, few & ~of_module, count)
        modules, modules_way = self._shared_by_way(pieces, items, few & of_module, count)
        cents = (self._anew(volts, count) - rest)[rest_way] - modules[modules_way]
        for at, column in zip(items[~few].tolist(), pieces[:, ~few].T, strict=True):
            those = np.nonzero(self.used[:count, at])[0]
            saved = self.saving[at] * np.minimum(column[:, None], self.used[those, at])
            if len(those) == count:
                cents -= saved
            else:
                cents[:, those] -= saved
        return np.asarray(cents.min(axis=1))

    def _anew(self, volts: int, count: int) -> np.ndarray:
        """What the first `count` designs cost where nothing is there but a bank of some voltage."""
        return np.asarray(self._base[:count] + self._changeover_cents * (self._volts[:count] != volts))

    def _shared_by_way(self, pieces: np.ndarray, items: np.ndarray, some: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
        """What each way to use some of the items saves, shape (ways, count), and the way of every first design."""
        rows, way = _ways(pieces[:, some])
        return self._shared(pieces[rows][:, some], items[some], count), way

    def _shared(self, first: np.ndarray, items: np.ndarray, count: int) -> np.ndarray:
        """What pieces of some items save that first designs and the first `count` designs both use, shape (first designs, count)."""
        has, saved = [np.zeros((len(first), 0))], [np.zeros((0, count))]
        for at, column in zip(items.tolist(), first.T, strict=True):
            numbers = np.unique(column[column > 0])
            has.append((column[:, None] == numbers).astype(float))
            saved.append(self.saving[at] * np.minimum(numbers[:, None], self.used[:count, at]))
        return np.asarray(np.concatenate(has, axis=1) @ np.concatenate(saved))

    def beside(self, first: np.ndarray, volts: int, count: int) -> np.ndarray:
        """What the date costs with each of its first `count` designs by the rules between purchases, shape (first designs, count)."""
        used = self.used[:count]
        rest = np.nonzero(self._saves & ~self._is_module & first.any(axis=0))[0]
        held = self._anew(volts, count) + self._apart(first[0], used) - self._shared(first[:, rest], rest, count)
        for at, kept in self._modules.items():
            rows, those = np.nonzero(first[:, at])[0], np.nonzero(used[:, at])[0]
            if len(rows) and len(those):
                held[np.ix_(rows, those)] -= self.saving[at] * kept.pieces(first[rows, at], those)
        self._one_model(first, held)
        return np.asarray(held)

    def _apart(self, first: np.ndarray, used: np.ndarray) -> np.ndarray:
        """What it costs more that batteries of different ages may not stand in one bank: the first ones, with such bought ahead, carry all of it."""
        more = np.zeros(len(used))
        for at in self._batteries:
            if not self._mixes[at] and self.saving[at] > 0:
                asked = used[:, at]
                ahead = np.maximum(0.0, asked - first[at])
                kept = np.where(ahead > 0, np.maximum(0.0, asked - self._ahead_x[at] * ahead), asked)
                more += self.saving[at] * (np.minimum(first[at], asked) - (0.0 if self._worn[at] else kept))
        return more

    def _one_model(self, first: np.ndarray, held: np.ndarray) -> None:
        """One new kind of array is installed: of two models all of one are first ones, or bought ahead with them."""
        those = self._of_two_models[self._of_two_models < held.shape[1]]
        least = np.full((len(first), len(those)), np.inf)
        for at, kept in self._modules.items():
            here = np.nonzero(self.used[those, at])[0]
            pieces, row = np.unique(first[:, at], return_inverse=True)
            asked = self.used[those[here], at]
            ahead = np.maximum(0.0, asked - pieces[:, None])
            lost = self.saving[at] * (kept.pieces(pieces, those[here]) - asked + self._ahead_x[at] * ahead)
            least[:, here] = np.minimum(least[:, here], lost[row])
        held[:, those] += least


def _ways(pieces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A row of each way to use items, and the way of every row; pieces of shape (rows, items)."""
    way, ways = np.zeros(len(pieces), dtype=int), 1
    for column in pieces.T:
        numbers, number = np.unique(column, return_inverse=True)
        if ways * len(numbers) > WAYS_MOST:
            way, ways = np.unique(way, return_inverse=True)[1], len(way)
        way, ways = way * len(numbers) + number, ways * len(numbers)
    rows, way = np.unique(way, return_index=True, return_inverse=True)[1:]
    return rows, way


class _Kept:
    """How many modules of a model designs can take from first ones: those of a controller are all first ones, or all new.

    More may be bought ahead, at `ahead_x` times of what they save: what they cost is taken off as pieces.
    """

    def __init__(self, designs: Sequence[Trackers], module: str, ahead_x: float) -> None:
        trackers = [tuple(sorted((each, n) for model, each, n in one if model == module)) for one in designs]
        kinds = sorted(set(trackers))
        self._most = max(sum(each * n for each, n in kind) for kind in kinds)
        self._table = np.array([[_most_of(kind, pieces) for pieces in range(self._most + 1)] for kind in kinds], dtype=float)
        for pieces in range(self._most - 1, -1, -1):
            self._table[:, pieces] = np.maximum(self._table[:, pieces], self._table[:, pieces + 1] - ahead_x)
        place = {kind: at for at, kind in enumerate(kinds)}
        self._kind = np.array([place[one] for one in trackers])

    def pieces(self, first: np.ndarray, columns: np.ndarray) -> np.ndarray:
        """Modules that columns take from so many first ones, shape (first, columns)."""
        return np.asarray(self._table[self._kind[columns]][:, np.minimum(first, self._most).astype(int)].T)


def _most_of(trackers: tuple[tuple[int, int], ...], pieces: int) -> int:
    """Most modules that fill some of these controllers, given as modules on each and their number, out of so many."""
    if not trackers:
        return 0
    (each, n), rest = trackers[0], trackers[1:]
    return max(each * filled + _most_of(rest, pieces - each * filled) for filled in range(min(n, pieces // each) + 1))
