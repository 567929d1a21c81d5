"""The years ahead as a tree: the first purchase, and behind it the steps of each future."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from optimizer.errors import InputError
from optimizer.growth.sourced import of_one_year
from optimizer.inputs.growth import Growth
from optimizer.inputs.problem import Problem

FIRST = 0
"""Number of the first purchase."""


@dataclass(frozen=True)
class Node:
    """One date of one future, with what the site asks for from then on. The first purchase belongs to every future."""

    number: int
    parent: int | None
    year: float
    future: str
    stage: str
    problem: Problem

    @property
    def name(self) -> str:
        """What a person calls it."""
        return "first purchase" if self.parent is None else f"{self.future}, year {self.year:g}"


@dataclass(frozen=True)
class Purchase:
    """What is bought on a date: pieces of every item, and kits."""

    bought: Mapping[str, int]
    kits: Mapping[str, int]


@dataclass(frozen=True)
class Tree:
    """Nodes, parents first; the futures' probabilities can be changed without touching the nodes."""

    growth: Growth
    asked: Problem
    nodes: tuple[Node, ...]
    chance: Mapping[str, float]
    """Probability of each future."""
    given: Purchase | None = None
    """The first purchase, where it is known already."""

    def of_future(self, name: str) -> tuple[Node, ...]:
        """The nodes of a future in the order of their years, the first purchase before them."""
        return tuple(node for node in self.nodes if node.parent is None or node.future == name)

    def weight(self, node: Node) -> float:
        """Probability that a node is reached."""
        return 1.0 if node.parent is None else self.chance[node.future]

    def path(self, node: Node) -> tuple[Node, ...]:
        """From the first purchase to a node, both among them."""
        return (node,) if node.parent is None else (*self.path(self.nodes[node.parent]), node)

    def children(self, node: Node) -> tuple[Node, ...]:
        """The nodes that come next, one a future."""
        return tuple(other for other in self.nodes if other.parent == node.number)

    def last(self, future: str) -> Node:
        """The last node of a future."""
        return self.of_future(future)[-1]

    def ending_at(self, node: Node) -> float:
        """Probability that a future ends at a node."""
        return sum(chance for future, chance in self.chance.items() if self.last(future).number == node.number)

    def later(self, years: float) -> Tree:
        """The same tree with every step so many years later."""
        moved = tuple(node if node.parent is None else replace(node, year=node.year + years) for node in self.nodes)
        return replace(self, nodes=moved)

    @property
    def steps(self) -> int:
        """Most steps that a future has."""
        return max(len(self.path(node)) for node in self.nodes) - 1

    def up_to(self, steps: int) -> tuple[Tree, tuple[int, ...]]:
        """The tree without what comes after so many steps, and the numbers that its nodes have here."""
        kept = tuple(node.number for node in self.nodes if len(self.path(node)) <= steps + 1)
        place = {number: at for at, number in enumerate(kept)}
        nodes = tuple(
            replace(node, number=place[node.number], parent=None if node.parent is None else place[node.parent])
            for node in self.nodes if node.number in place
        )
        return replace(self, nodes=nodes), kept

    def with_chance(self, chance: Mapping[str, float]) -> Tree:
        """The same tree with other probabilities."""
        return replace(self, chance=dict(chance))


def tree_of(problem: Problem) -> Tree:
    """The tree of a problem with a [growth] section; raises InputError where it has none."""
    growth = problem.growth
    if growth is None:
        raise InputError("the problem has no [growth] section: docs/problem-file.md says how stages and futures are written")
    nodes = [Node(FIRST, None, 0.0, "", "", _bare(problem, first=True))]
    for future in growth.futures:
        parent, here = FIRST, problem.model_copy(update={"growth": None})
        for step in future.steps:
            here = here.at_stage(growth.stage(step.stage)) if step.stage else here
            nodes.append(Node(len(nodes), parent, step.year, future.name, step.stage, _bare(here, first=False)))
            parent = len(nodes) - 1
    return Tree(growth, problem, tuple(nodes), {future.name: future.probability for future in growth.futures})


def _bare(problem: Problem, *, first: bool) -> Problem:
    """What a node asks of its design: owned parts, stock and the budget are matters of the purchases, not of one design.

    Parts that must be used are a demand on the first design only.
    """
    demanded = dict(problem.locks.at_least) if first else {}
    if first:
        for own in problem.owned:
            if own.must_use:
                there = sum(other.quantity for other in problem.owned if other.part == own.part)
                demanded[own.part] = max(demanded.get(own.part, 0), there)
    return of_one_year(problem).model_copy(update={
        "growth": None, "owned": (), "locks": problem.locks.model_copy(update={"at_least": demanded}),
        "limits": problem.limits.model_copy(update={"budget": None}), "rules": {**problem.rules, "stock": "off"},
    })
