"""Every write about people, their codes, their passwords and their sessions."""

from lab.accounts.services.people import create_person

__all__ = ["create_person"]
