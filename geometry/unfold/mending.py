"""Fewer patches: what is in the way is moved to where it is not.

A patch that fits beside its neighbour nowhere is hung there all the same, and the few facets that overlap are taken off
and hung elsewhere, whatever is in their way likewise, a few steps deep; or the patch is taken apart and its facets are
hung on its neighbours one by one. What does not come out with fewer patches is undone.

Source: ejection chains, F. Glover (1996), and tabu search over unfoldings, L. Zawallich (2024), both recalled.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from .patches import Patches

__all__ = ["Mending"]


#: A patch of more facets is not taken apart at once, nor a branch of more hung elsewhere.
_SMALL, _BRANCH = 60, 30
#: More overlaps than this are too many to be cleared away one by one.
_HITS = 16
#: How deep things are moved out of the way, in how many ways at each step, and with how many tests for a patch.
_EFFORTS = ((1, 3, 300), (2, 4, 600), (3, 6, 1500), (4, 10, 4000))


class Mending:
    """Takes patches away one by one.

    Parameters
    ----------
    patches : is changed
    wishes : what it costs to cut at each hinge; 0 or less where a fold must not be, infinite where one must stay
    """

    def __init__(self, patches: Patches, wishes: Sequence[float]) -> None:
        self.patches = patches
        self.wishes = wishes
        self.pending: set[int] = set()

    def fewer(self, goal: int, tests: int) -> None:
        """Take patches away until so few are left, or for about so many tested placements."""
        pile = self.patches
        end = pile.tests + tests
        for depth, ways, each in _EFFORTS:
            before: tuple[int, int] | None = None
            while len(pile.members) > goal and before != (before := self._state()):
                largest = max(len(facets) for facets in pile.members.values())
                for patch in sorted(pile.members, key=lambda one: (len(pile.members[one]), one)):
                    if pile.tests > end or len(pile.members) <= goal:
                        return
                    if patch in pile.members and not self.absorb(patch, depth, ways, pile.tests + each):
                        pile.forget()
                        if len(pile.members[patch]) < largest:
                            self.shrink(patch, depth - 1, ways, pile.tests + each)
                    pile.forget()

    def _state(self) -> tuple[int, int]:
        """How many patches, and how uneven: both only ever get better."""
        return len(self.patches.members), sum(len(facets) ** 2 for facets in self.patches.members.values())

    def absorb(self, patch: int, depth: int, ways: int, stop: int) -> bool:
        """Hang a patch, whole or in parts, on others; whether nothing of it is left over."""
        pile = self.patches
        mark = pile.mark()
        self.pending = set()
        if self._all([patch], depth, ways, stop):
            return True
        members = list(pile.members[patch])
        if 1 < len(members) <= _SMALL and pile.tests <= stop:
            for hinge in self._folds(members):
                pile.cut(hinge)
            if self._all(sorted({pile.patch[facet] for facet in members}), depth, ways, stop):
                return True
            pile.undo(mark)
        return False

    def shrink(self, patch: int, depth: int, ways: int, stop: int) -> bool:
        """Hang the outermost facets of a patch on others one by one; whether any was."""
        pile, changed = self.patches, False
        leaves = [facet for facet in pile.members[patch] if self._leaf(facet)]
        while leaves and pile.tests <= stop and len(pile.members[patch]) > 1:
            facet = leaves.pop()
            if pile.patch[facet] != patch or not self._leaf(facet):
                continue
            mark = pile.mark()
            fold = next(hinge for hinge in pile.around[facet] if pile.folded[hinge])
            if self.wishes[fold] == inf:
                continue
            inner = pile.other(fold, facet)
            pile.cut(fold)
            if pile.patch[facet] == patch:
                pile.undo(mark)
                continue
            self.pending = {patch}
            if self._all([pile.patch[facet]], depth, ways, stop):
                changed = True
                leaves.append(inner)
            else:
                pile.undo(mark)
            if patch not in pile.members:
                break
        self.pending = set()
        return changed

    def _leaf(self, facet: int) -> bool:
        return [self.patches.folded[hinge] for hinge in self.patches.around[facet]].count(True) == 1

    def _push_in(self, patch: int, hinges: Sequence[int], depth: int, ways: int, stop: int) -> bool:
        """Hang a patch where the least is in the way, and that elsewhere."""
        pile = self.patches
        tries = []
        for hinge in hinges:
            inner = pile.first[hinge] if pile.patch[pile.first[hinge]] == patch else pile.second[hinge]
            outer = pile.other(hinge, inner)
            if len(pile.members[pile.patch[outer]]) < len(pile.members[patch]):
                inner, outer = outer, inner
            placement = pile.beside(hinge, inner)
            pairs = pile.in_the_way(pile.members[pile.patch[inner]], placement, pile.patch[outer], _HITS)
            hit = len(set(zip(*pairs, strict=True)))
            if hit <= _HITS and pile.may_hang(hinge, inner, placement):
                tries.append((hit, hinge, inner, placement, pairs))
            if pile.tests > stop:
                break
        tries.sort(key=lambda one: one[:2])
        for _, hinge, inner, placement, pairs in tries[:ways]:
            if pile.tests > stop:
                break
            mark = pile.mark()
            before = set(self.pending)
            pile.hang(hinge, inner, placement)
            self.pending.discard(patch)
            taken = self._take_off(hinge, set(zip(*pairs, strict=True)))
            if taken is not None and self._all(taken, depth - 1, ways, stop):
                return True
            self.pending = before
            pile.undo(mark)
        return False

    def _take_off(self, hinge: int, pairs: set[tuple[int, int]]) -> list[int] | None:
        """Cut off what overlaps after hanging at a hinge; the patches that it makes, None if too much would."""
        pile = self.patches
        taken = []
        pairs = set(pairs)
        while pairs:
            count: dict[int, int] = {}
            for pair in pairs:
                for facet in pair:
                    count[facet] = count.get(facet, 0) + 1
            best = None
            for facet in sorted(count):
                found = self._branch(facet, hinge)
                if found is not None:
                    fold, size = found
                    score = (size / count[facet], facet)
                    if best is None or score < best[0]:
                        best = (score, fold)
            if best is None:
                return None
            fold = best[1]
            fresh = pile.cut(fold)
            taken.append(fresh)
            pairs = {pair for pair in pairs if pile.patch[pair[0]] == pile.patch[pair[1]]}
        return taken

    def _branch(self, facet: int, hinge: int) -> tuple[int, int] | None:
        """The fold towards a hinge that a facet hangs on, and how much hangs there; None if too much."""
        pile = self.patches
        if facet in (pile.first[hinge], pile.second[hinge]):
            return None
        best = None
        for fold in pile.around[facet]:
            if not pile.folded[fold] or self.wishes[fold] == inf:
                continue
            side = pile.smaller_side(fold)
            if (
                facet in side
                and len(side) <= _BRANCH
                and pile.first[hinge] not in side
                and pile.second[hinge] not in side
                and (best is None or len(side) < best[1])
            ):
                best = (fold, len(side))
        return best

    def _all(self, patches: Sequence[int], depth: int, ways: int, stop: int) -> bool:
        """Hang all of several patches on those that are not to be hung themselves."""
        pile, before, mark = self.patches, set(self.pending), self.patches.mark()
        self.pending.update(patches)
        left = list(patches)
        while left:
            rest = [patch for patch in left if not self._hung(patch)]
            if len(rest) == len(left):
                if depth <= 0 or pile.tests > stop or not self._push_in(rest[0], self._rim(rest[0]), depth, ways, stop):
                    self.pending = before
                    pile.undo(mark)
                    return False
                rest = rest[1:]
            left = rest
        return True

    def _hung(self, patch: int) -> bool:
        if any(self.patches.join(hinge) for hinge in self._rim(patch)):
            self.pending.discard(patch)
            return True
        return False

    def _rim(self, patch: int) -> list[int]:
        """Hinges between a patch and others, the ones wished for most first."""
        pile = self.patches
        found = [
            hinge
            for facet in pile.members[patch]
            for hinge in pile.around[facet]
            if self.wishes[hinge] > 0
            and (other := pile.patch[pile.other(hinge, facet)]) != patch
            and other not in self.pending
        ]
        return sorted(found, key=lambda hinge: (-self.wishes[hinge], hinge))

    def _folds(self, facets: Sequence[int]) -> list[int]:
        pile = self.patches
        found = {hinge for facet in facets for hinge in pile.around[facet] if pile.folded[hinge]}
        return sorted(hinge for hinge in found if self.wishes[hinge] < inf)
