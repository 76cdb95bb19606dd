"""What counts as a reaction: the policy's definition, and others to set beside it."""

from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from analysis.policy import Policy
from analysis.terms import RemovalReason, SiteSign

POLICY: Final = "policy"

_EVERY_SIGN = frozenset(str(sign) for sign in SiteSign if sign is not SiteSign.NONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """One definition of a site reaction.

    Attributes
    ----------
    name, words : str
        As it stands in tables, and as it is read.
    reaction_signs : frozenset of str
        Any one of them is a reaction.
    minor_signs : frozenset of str
        So many different ones at one check are a reaction.
    minor_needed : int
        How many.
    removal_reasons : frozenset of str
        A cannula removed for one of them had a reaction.
    """

    name: str
    words: str
    reaction_signs: frozenset[str]
    minor_signs: frozenset[str]
    minor_needed: int
    removal_reasons: frozenset[str]

    @property
    def reads_signs(self) -> bool:
        """Whether signs can be a reaction.

        Returns
        -------
        bool
            False where removals alone are counted.
        """
        return bool(self.reaction_signs) or (len(self.minor_signs) >= self.minor_needed)

    @property
    def is_empty(self) -> bool:
        """Whether nothing at all can be a reaction.

        Returns
        -------
        bool
            True where neither a sign nor a removal counts.
        """
        return not (self.reads_signs or self.removal_reasons)

    def is_reaction(self, signs: pd.Series) -> pd.Series:
        """Tell for each row whether what was seen is a reaction.

        Parameters
        ----------
        signs : Series of str, shape (n,)
            Signs of a check, several with ``;``; empty where not recorded.

        Returns
        -------
        Series of bool, shape (n,)
            False where nothing is recorded.
        """
        codes, different = pd.factorize(signs)
        found = [self._is_one(set(str(cell).split(";"))) for cell in different]
        flags = pd.Series([*found, False], dtype=bool).take(codes)
        return flags.set_axis(signs.index)

    def _is_one(self, seen: set[str]) -> bool:
        return bool(seen & self.reaction_signs) or (
            len(seen & self.minor_signs) >= self.minor_needed
        )


def definition_of(policy: Policy) -> Definition:
    """Give the definition that the policy sets.

    Parameters
    ----------
    policy : Policy
        The limits in force.

    Returns
    -------
    Definition
        Named ``policy``.
    """
    return Definition(
        name=POLICY,
        words="the policy's: " + _in_words(policy),
        reaction_signs=frozenset(policy.reaction_signs),
        minor_signs=frozenset(policy.minor_signs),
        minor_needed=policy.minor_signs_needed,
        removal_reasons=frozenset(policy.reaction_removal_reasons),
    )


def _in_words(policy: Policy) -> str:
    parts = []
    if policy.reaction_signs:
        parts.append("any of " + ", ".join(policy.reaction_signs))
    if policy.minor_signs and policy.minor_signs_needed <= len(policy.minor_signs):
        parts.append(
            f"{policy.minor_signs_needed} of {', '.join(policy.minor_signs)} at one "
            "check"
        )
    if policy.reaction_removal_reasons:
        parts.append("removal for " + ", ".join(policy.reaction_removal_reasons))
    return "; or ".join(parts) or "nothing is a reaction"


def definitions(policy: Policy) -> tuple[Definition, ...]:
    """Give the policy's definition and those in use elsewhere, each by one change.

    Parameters
    ----------
    policy : Policy
        The limits in force.

    Returns
    -------
    tuple of Definition
        The policy's first. By the signs required (any at all, two at one check), each
        with removals for a reaction and without; and removals alone.
    """
    own = definition_of(policy)
    none: frozenset[str] = frozenset()
    removals = own.removal_reasons or frozenset({str(RemovalReason.REACTION)})
    any_sign = replace(
        own,
        name="any sign",
        words="any sign, minor ones too; or such a removal",
        reaction_signs=_EVERY_SIGN,
        removal_reasons=removals,
    )
    two_signs = replace(
        any_sign,
        name="two signs",
        words="two signs or more at one check; or such a removal",
        reaction_signs=none,
        minor_signs=_EVERY_SIGN,
        minor_needed=2,
    )
    with_removals = (replace(own, removal_reasons=removals), any_sign, two_signs)
    without = [
        replace(
            each,
            name=f"{each.name}, no removals",
            words=f"{words}, removals not counted",
            removal_reasons=none,
        )
        for each, words in zip(
            with_removals,
            (
                "the policy's signs",
                "any sign, minor ones too",
                "two signs at one check",
            ),
            strict=True,
        )
    ]
    alone = replace(
        any_sign,
        name="removals alone",
        words="removal for a reaction, whatever signs are charted",
        reaction_signs=none,
        minor_signs=none,
        minor_needed=1,
    )
    return (own, without[0], any_sign, without[1], two_signs, without[2], alone)
