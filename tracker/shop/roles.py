"""Who may do what: five roles, each with what the one before it may do."""

from enum import StrEnum


class Role(StrEnum):
    """The roles, the least first."""

    STATION = "station"
    PACKER = "packer"
    FOREMAN = "foreman"
    OFFICE = "office"
    ADMIN = "admin"

    def includes(self, needed: "Role") -> bool:
        """Say whether this role may do what ``needed`` may."""
        ranks = list(Role)
        return ranks.index(self) >= ranks.index(needed)
